"""(I/O) The forecast files that the watch knows."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from watch.service.store.memory import Memory
from watch.service.store.times import instant_of, text_of

_COLUMNS = "path, checksum, centre, run, kind, arrived, size_bytes"


@dataclass(frozen=True, kw_only=True)
class ForecastKnown:
    """One forecast file: where it lies, its checksum as it was computed, whose it is, its base time, when it came; times aware UTC."""

    path: Path
    checksum: str
    centre: str
    run: datetime
    kind: str
    arrived: datetime
    size_bytes: int


class Forecasts(Memory):
    """Keeps which forecast files there are."""

    def keep_forecast(
        self, path: Path, checksum: str, centre: str, run: datetime, kind: str, arrived: datetime, bytes_: int
    ) -> None:
        """Keeps what is known of the file at `path`, in place of what was known of it before."""
        row = (str(path), checksum, centre, text_of(run), kind, text_of(arrived), bytes_)
        self._write(lambda db: db.execute(
            f"INSERT INTO forecast ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (path) DO UPDATE SET checksum = excluded.checksum,"
            " centre = excluded.centre, run = excluded.run, kind = excluded.kind, arrived = excluded.arrived,"
            " size_bytes = excluded.size_bytes", row,
        ))  # fmt: skip

    def forecasts(self) -> list[ForecastKnown]:
        """All that are known, the newest run first; of one run the last to come first."""
        rows = self._read(lambda db: db.execute(f"SELECT {_COLUMNS} FROM forecast ORDER BY run DESC, arrived DESC, path").fetchall())
        return self._each(rows, _known, "forecast")

    def forget_forecast(self, path: Path) -> None:
        """The file is gone; nothing when it was not known."""
        self._write(lambda db: db.execute("DELETE FROM forecast WHERE path = ?", (str(path),)))


def _known(path: str, checksum: str, centre: str, run: str, kind: str, arrived: str, size_bytes: int) -> ForecastKnown:
    return ForecastKnown(path=Path(path), checksum=checksum, centre=centre, run=instant_of(run), kind=kind, arrived=instant_of(arrived),
                         size_bytes=int(size_bytes))  # fmt: skip
