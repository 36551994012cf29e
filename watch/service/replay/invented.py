"""(I/O) Finds the invented storms beside the package, or inside it as installed; and plays the one of a seed."""

import importlib
import sys
from dataclasses import dataclass
from typing import cast

from watch.ready import ready
from watch.service.replay.passages import DELAY_H, RUNS_EVERY_H, Asking, Storms, play_all, storm_passage
from watch.service.replay.results import Result


def storms() -> Storms:
    """The module of the invented storms."""
    folder = str(ready("fixtures", "storms.py").resolve().parents[1])
    if folder not in sys.path:
        sys.path.append(folder)
    return cast(Storms, importlib.import_module("fixtures.storms"))


@dataclass(frozen=True, kw_only=True)
class InventedStorms:
    """Plays the invented storm of a seed under every policy asked for; can be sent to another process."""

    asking: Asking
    every_h: int = RUNS_EVERY_H
    delay_h: float = DELAY_H

    def key(self) -> dict[str, object]:
        return {"weather": "invented storms", "every_h": self.every_h, "delay_h": self.delay_h, **self.asking.key()}

    def __call__(self, seed: str) -> Result:
        passage = storm_passage(storms(), int(seed), self.every_h, self.delay_h)
        return Result(name=seed, tallies=play_all(passage, self.asking))
