"""Doors through which GRIB comes: the framing alone, the reader in this process, the reader apart, and packed files."""

import bz2
import gzip
import io
import lzma
import shutil
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.bench.fuzz.door import Door, Try, hold, refused, said
from tests.bench.fuzz.spoil import bytes_spoiled, grib_spoiled, mixed
from tests.made_gribs import Message, wind
from watch.faults import BadInputError
from watch.forecast.contract import Forecast
from watch.forecast.framing import State, walk
from watch.forecast.grib import read
from watch.forecast.guarded import read_guarded
from watch.forecast.inbox import InboxRules, look
from watch.forecast.trial import Trial, hold_down
from watch.forecast.unpack import UnpackLimits

SMALL = Path(__file__).resolve().parents[3] / "fixtures" / "small"
NOON = datetime(2026, 5, 16, 12, tzinfo=UTC)
MOST_POINTS = 40_000_000  # of one field read from a file of a few kilobytes


def _seeds(_: Path) -> list[bytes]:
    made = [
        wind(), wind(step=12, member=1), wind(step=12, packing="grid_simple"), [Message(what="gust", step=(0, 6), statistic="max")],
        [Message(what="tp", step=(0, 6), statistic="accum")], [Message(what="swh"), Message(what="mwd")], wind(edition=1),
        [Message(what="tp", edition=1, step=(0, 6))], [Message(what="10u", values=np.full((5, 6), np.nan), missing=True)],
        [Message(what="prmsl", values=101_000.0, packing="grid_second_order")] if False else [Message(what="prmsl", values=101_000.0)],
    ]
    small = [path.read_bytes() for path in sorted(SMALL.iterdir())]
    return [b"".join(m.bytes() for m in messages) for messages in made] + [data[:6000] for data in small] + [d for d in small if len(d) < 9000]


def _framing(_: Path) -> Try:
    def one(data: bytes) -> str:
        found, at = walk(data), 0
        for start, length in zip(found.starts, found.lengths, strict=True):
            hold(at <= start and length > 0 and start + length <= len(data), "a message outside its file")
            hold(data[start : start + 4] == b"GRIB" and data[start + length - 4 : start + length] == b"7777", "no message")
            at = start + length
        return "accepted" if found.state == State.WHOLE else said(f"it {found.fault}")

    return one


def whole(forecasts: tuple[Forecast, ...]) -> str:
    """What a Forecast promises, whatever it was read from."""
    for forecast in forecasts:
        hold(forecast.run.tzinfo is not None, "a naive run")
        for name, field in forecast.fields.items():
            time, latitude, longitude = (field[axis].values for axis in ("time", "latitude", "longitude"))
            for what, axis in (("time", time.astype("int64")), ("latitude", latitude), ("longitude", longitude)):
                hold(axis.size > 0 and bool((np.diff(axis) > 0).all()), f"{name}: {what} does not rise")
            hold(bool((np.abs(latitude) <= 90.001).all()) and longitude[-1] - longitude[0] <= 360.001, f"{name}: off the earth")
            hold(field.values.dtype == np.float32 and not np.isinf(field.values).any(), f"{name}: no float32, or without bounds")
            hold(field.size <= MOST_POINTS, f"{name}: {field.size} values")
        for note in forecast.notes:
            said(note)
    return f"accepted: {sorted({name for forecast in forecasts for name in forecast.fields})}"


def _read(reads: Callable[[list[Path]], tuple[Forecast, ...]]) -> Callable[[Path], Try]:
    def opens(folder: Path) -> Try:
        path = folder / "fetched.grib2"

        def one(data: bytes) -> str:
            path.write_bytes(data)
            try:
                return whole(reads([path]))
            except BadInputError as error:
                return refused(error)

        return one

    return opens


def _held_down(folder: Path) -> Try:
    hold_down()
    return _read(read)(folder)


def _apart(folder: Path) -> Try:
    trial, path = Trial(seconds=20.0), folder / "fetched.grib2"

    def one(data: bytes) -> str:
        path.write_bytes(data)
        found = trial.of(path)
        hold(bool(found.holds) != bool(found.faults), "neither read nor refused")
        return "accepted" if found.holds else said("; ".join(found.faults))

    return one


def _packed_seeds(folder: Path) -> list[bytes]:
    plain = _seeds(folder)[0]
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("../a.grib2", plain)
        packed.writestr("b/b.grib2", gzip.compress(plain))
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("bomb.grib2", bytes(3_000_000))
    return [gzip.compress(plain), bz2.compress(plain), lzma.compress(plain), stream.getvalue(), bomb.getvalue(), gzip.compress(gzip.compress(plain)),
            gzip.compress(plain) + gzip.compress(plain), lzma.compress(bytes(5_000_000)), plain]


def _packed(folder: Path) -> Try:
    rules = InboxRules(settle=timedelta(0), unpack=UnpackLimits(total_bytes=4_000_000))

    def one(data: bytes) -> str:
        inbox, cache = folder / "inbox", folder / "cache"
        for place in (inbox, cache):
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()
        (inbox / "came").write_bytes(data)
        first = look(inbox, {}, NOON, cache=cache, rules=rules)
        found = look(inbox, first.seen, NOON + timedelta(hours=2), cache=cache, rules=rules)
        hold((inbox / "came").read_bytes() == data, "the file in the inbox was changed")
        hold(len(list(folder.iterdir())) <= 3, "something was put outside the folders given")
        hold(sum(p.stat().st_size for p in cache.rglob("*") if p.is_file()) <= 4_100_000, "more was unpacked than may be")
        for _, sentence in (*found.refused, *found.waiting):
            return said(sentence)
        return f"accepted: {sum(len(one.paths) for one in found.ready)} files"

    return one


DOORS = [
    Door(name="GRIB, framing", seeds=_seeds, opens=_framing, spoil=mixed(grib_spoiled, bytes_spoiled), weight=12),
    Door(name="GRIB, reader", seeds=_seeds, opens=_held_down, spoil=grib_spoiled, weight=10),
    Door(name="GRIB, guarded", seeds=_seeds, opens=_read(read_guarded), spoil=grib_spoiled, weight=1, limit_s=20.0),
    Door(name="GRIB, read apart", seeds=_seeds, opens=_apart, spoil=grib_spoiled, weight=2, limit_s=20.0),
    Door(name="packed files", seeds=_packed_seeds, opens=_packed, spoil=bytes_spoiled, weight=4),
]
