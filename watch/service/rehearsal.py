"""(I/O) A rehearsal: the invented demo's weather, dated so that its evening is this evening, in a home of its own, ready to be stood."""

import shutil
from datetime import datetime, timedelta
from pathlib import Path

import eccodes

from watch.faults import BadInputError
from watch.ready import ready
from watch.service.give_out import write_whole
from watch.when import parse_utc

DEMO_NOW = parse_utc("2026-05-16T12:00Z")
DEMO_POSITION = "36 30.0 N, 52 00.0 W"
DEMO_STATE = "main: reef 1"
GRIBS = ("kittiwake-2026051612.grib2", "kittiwake-2026051600.grib2", "kittiwake-2026051612-ensemble.grib2")
MADE = "rehearsal.txt"

SETTINGS = """\
# A rehearsal: boat, passage, shelters and weather are invented. Made {now:%Y-%m-%d %H:%M} UTC.
[stand]
boat = "boat-sloop.toml"
route = "passage.toml"
shelters = ["shelters-north-atlantic.toml"]
rig_state = "main: reef 1"
write = ["txt", "json", "html", "ics", "short"]

[page]
port = 8470

[[alerts.terminal]]
name = "terminal"
"""


def rehearsal(home: Path, now: datetime) -> Path:
    """Makes the files of a rehearsal in a folder -> its settings. The demo's 16 May 12:00 UTC becomes the last full hour.

    Raises BadInputError when the folder holds something else, or cannot be written.
    """
    if home.exists() and any(home.iterdir()) and not (home / MADE).exists():
        raise BadInputError(home, ["is not empty and no rehearsal; name a folder of its own"])
    try:
        (home / "inbox").mkdir(parents=True, exist_ok=True)
        later = now.replace(minute=0, second=0, microsecond=0) - DEMO_NOW
        write_whole(home / MADE, f"A rehearsal with invented weather, made {now:%Y-%m-%d %H:%M} UTC.\n".encode())
        shutil.copy(ready("config", "boat-sloop.toml"), home)
        shutil.copy(ready("config", "shelters-north-atlantic.toml"), home)
        route = ready("config", "passage-bermuda-horta.toml").read_text(encoding="utf-8")
        undated = [line for line in route.splitlines() if not line.startswith("departure")]
        write_whole(home / "passage.toml", "\n".join([*undated, ""]).encode())
        for name in GRIBS:
            write_whole(home / "inbox" / f"rehearsal-{name.removeprefix('kittiwake-')}", later_by(ready("fixtures", name), later))
        write_whole(home / "watch.toml", SETTINGS.format(now=now).encode())
    except OSError as error:
        raise BadInputError(home, [f"cannot be written ({error.strerror}); name a folder you may write to"]) from None
    return home / "watch.toml"


def later_by(grib: Path, later: timedelta) -> bytes:
    """A GRIB 2 file of ours with all its times moved by whole hours."""
    whole = []
    with grib.open("rb") as stream:
        while (message := eccodes.codes_grib_new_from_file(stream)) is not None:
            try:
                date, clock = (eccodes.codes_get_long(message, key) for key in ("dataDate", "dataTime"))
                steps = eccodes.codes_get_string(message, "stepRange")
                run = parse_utc(f"{date // 10000:04}-{date // 100 % 100:02}-{date % 100:02}T{clock // 100:02}:{clock % 100:02}Z") + later
                eccodes.codes_set_long(message, "dataDate", int(f"{run:%Y%m%d}"))
                eccodes.codes_set_long(message, "dataTime", int(f"{run:%H%M}"))
                eccodes.codes_set_string(message, "stepRange", steps)  # sets the ends of intervals anew
                whole.append(eccodes.codes_get_message(message))
            finally:
                eccodes.codes_release(message)
    return b"".join(whole)
