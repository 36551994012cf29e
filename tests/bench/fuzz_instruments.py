"""A long fuzz of both readers, the judge and the store. By hand: python tests/bench/fuzz_instruments.py --seconds 300 [--seed 1].

Good lines and messages are cut, spliced, flipped, repeated and given right checksums again; what comes out goes through the store
with a clock that jumps. Anything raised, any unsound reading, any growth beyond the bounds ends it with the input that did it.
"""

import argparse
import json
import random
import resource
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from watch.instruments.nmea0183 import LONGEST_LINE, Nmea0183, checksum
from watch.instruments.readings import BOUNDS, Reading
from watch.instruments.sentences import READERS
from watch.instruments.series import MOST_READINGS, MOST_STREAMS, Observed
from watch.instruments.signal_k import USED, SignalK, own_time
from watch.instruments.simulate import SENTENCES, Script, nmea0183_pieces, signal_k_pieces

START = datetime(2026, 5, 14, 12, tzinfo=UTC)
GOOD = [
    b"$WIMWV,214.8,R,0.1,K,A*28", b"$WIMWD,270.0,T,265.0,M,25.0,N,12.9,M*53", b"$IIVHW,245.1,T,245.1,M,006.0,N,011.1,K*52",
    b"$WIMDA,29.9900,I,1.0156,B,18.3,C,,,65.2,,11.6,C,270.0,T,265.0,M,25.0,N,12.9,M*65", b"$IIXDR,P,1.01325,B,BARO*68",
    b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", b"$HCHDG,100.0,2.0,E,15.0,W*00",
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", b"$IIVWR,75.0,L,10.0,N,,M,,K*00",
    b"\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\$IIVWT,110.0,R,,N,,M,36.0,K*00",
    b"$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K,A*00",
]
SCRAPS = [b"$", b"!", b"*", *[b","] * 8, b"\\", b"\r\n", b"\n", b"\x00", b"\xff", b"NaN", b"inf", b"-", b".", b"9", b"0",
          b"9" * 40, b"A" * 1500, b"$GPRMC", b"V", b"A", b"T", b"N"]
VALUES = [None, True, 0, -1, 1e308, -1e308, 10**30, "x", [], {}, {"latitude": 91, "longitude": None}, 3.2,
          {"latitude": 1, "longitude": 2}]


def seeds() -> tuple[list[bytes], list[str]]:
    """Good lines of every kind, and good deltas."""
    script = Script(start=START, mean_ms=np.array([9.0]), gust_ms=np.array([14.0]), from_deg=np.array([355.0]),
                    heading_deg=np.array([80.0]), pressure_pa=np.array([101200.0, 101100.0]),
                    latitude_deg=np.array([-0.001, 0.001]), longitude_deg=np.array([179.999, -179.999]))
    lines = [line for _, piece in list(nmea0183_pieces(script, what=tuple(SENTENCES)))[::60] for line in piece.splitlines()]
    return GOOD + lines, [text for _, text in list(signal_k_pieces(script))[::60]]


def spoiled(rng: random.Random, data: bytes, others: list[bytes]) -> bytes:
    """The data with one to six things done to it."""
    for _ in range(rng.randint(1, 6)):
        at, end = sorted((rng.randint(0, len(data)), rng.randint(0, len(data))))
        match rng.randrange(6):
            case 0:
                data = data[:at] + bytes([rng.randrange(256) if rng.random() < 0.05 else rng.randrange(32, 127)]) + data[at + 1 :]
            case 1:
                data = data[:at] + data[end:]
            case 2:
                data = data[:at] + rng.choice(SCRAPS) + data[at:]
            case 3:
                data = data[:at] + rng.choice(others)[rng.randint(0, 40) :]
            case 4:
                data = data[:end] + data[at:end] * rng.randint(1, 3) + data[end:]
            case _:
                fields = data.split(b",")
                rng.shuffle(fields)
                data = b",".join(fields)
    return data


def righted(data: bytes) -> bytes:
    """The same with a right checksum, so that the damage gets past it."""
    start = data.rfind(b"$") + 1
    body = data[start:].partition(b"*")[0].decode("latin-1")
    return data[:start] + body.encode("latin-1") + b"*" + checksum(body).encode()


def spoiled_delta(rng: random.Random, text: str, others: list[bytes]) -> str:
    if rng.random() < 0.4:
        return spoiled(rng, text.encode(), others).decode("utf-8", "surrogateescape")
    content = json.loads(text)
    update = content["updates"][0]
    for _ in range(rng.randint(1, 5)):
        update["values"].append({"path": rng.choice([*USED, "", "navigation"]), "value": rng.choice(VALUES)})
    for key in ("timestamp", "$source", "values", "source"):
        if rng.random() < 0.1:
            update[key] = rng.choice(VALUES)
    if rng.random() < 0.1:
        content["context"] = rng.choice(["vessels.self", "vessels.other", *VALUES])
    return json.dumps(content)


def sound(readings: list[Reading]) -> None:
    for reading in readings:
        low, high = BOUNDS[reading.quantity]
        assert low <= reading.value <= high, reading
        assert reading.source.isascii(), reading
        assert reading.source.isprintable(), reading


def fuzz(seconds: float, seed: int) -> Counter[str]:
    rng = random.Random(seed)
    lines, deltas = seeds()
    nmea, signal_k, store, now, done = Nmea0183(), SignalK(), Observed(keep_hours=6.0), START, Counter[str]()
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        data = spoiled(rng, rng.choice(lines), lines) if rng.random() < 0.98 else rng.randbytes(rng.randint(0, 3000))
        data = (righted(data) if rng.random() < 0.6 else data) + rng.choice([b"\r\n", b"\n", b""])
        text = spoiled_delta(rng, rng.choice(deltas), lines)
        try:
            cut = rng.randint(0, len(data))
            readings = nmea.feed(data[:cut], now) + nmea.feed(data[cut:], now) + signal_k.feed(text, now)
            own_time(text)
            sound(readings)
            store.add(readings, now)
            assert len(nmea._lines.held) <= LONGEST_LINE
            assert len(store._columns) <= MOST_STREAMS
            assert all(len(column.values) <= MOST_READINGS for column in store._columns.values())
            if rng.random() < 0.002:
                steps = store.steps(now)
                assert steps.start.size <= 36
                assert not (steps.gust_ms < steps.mean_ms - 1e-9).any()
                assert (np.isnan(steps.mean_ms) | (steps.wind_coverage >= 2 / 3)).all()
                done["steps with a wind"] += int(np.isfinite(steps.mean_ms).sum() > 0)
        except BaseException:
            print(f"seed {seed}: {data!r}\n{text!r}", file=sys.stderr)
            raise
        now += timedelta(seconds=rng.choice([0, 1, 1, 1, 2, 5])) if rng.random() < 0.999 else timedelta(hours=rng.uniform(-3, 3))
        done["lines"] += 1
        done["readings"] += len(readings)
    for name, tally in (("NMEA 0183", nmea.tally), ("Signal K", signal_k.tally)):
        done.update({f"{name} {reason}": count for reason, count in tally.counts.items()})
    return done + Counter({f"store: {why}": count for why, count in store.left_out.items()})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    done = fuzz(given.seconds, given.seed)
    after_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for what, count in sorted(done.items()):
        print(f"{count:>12} {what}")
    memory = f"memory {before_kb // 1024} MB before, at most {after_kb // 1024} MB after"
    print(f"{len(READERS)} kinds of sentence; {memory}; nothing raised")


if __name__ == "__main__":
    main()
