"""Fetches one run of one source for a piece of sea and so many hours; every file is read in a process apart before it counts (I/O)."""

import random as chance
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from watch.forecast.box import Box
from watch.forecast.budget import LATER, Budget, Clock, Reason, StopError
from watch.forecast.catalogue import Source
from watch.forecast.contract import Name
from watch.forecast.download import Fetched, Partial, Progress, fetch
from watch.forecast.errands import Had
from watch.forecast.runs import held_runs
from watch.forecast.sources import Plan, lacks, plan, steps_to
from watch.forecast.trial import Trial, TrialError

NEEDED = (Name.U10_MS, Name.V10_MS, Name.GUST_MS, Name.PRESSURE_PA, Name.CAPE_JKG, Name.RAIN_KGM2S, Name.SEA_M, Name.PERIOD_S,
          Name.WAVE_FROM_DEG)
ALOFT = (Name.T850_K, Name.Q850_KGKG, Name.U925_MS, Name.V925_MS, Name.U850_MS, Name.V850_MS, Name.U500_MS, Name.V500_MS)
EVERY_H = 3
TRIAL_S = 60.0


def plan_run(
    source: Source, run: datetime, box: Box, hours: int, *, every_h: int = EVERY_H, fields: Sequence[Name] = NEEDED,
    members: int | None = None,
) -> Plan:
    """What a fetch of a run would ask for; fields that the source does not have are left out. ValueError for a run that it has not."""
    there = [name for name in fields if name not in lacks(source, fields)]
    return plan(source, run, box, steps_to(source, run, hours, every_h), there, members)


def fetch_run(
    source: Source, run: datetime, box: Box, hours: int, to: Path, *, budget: Budget, clock: Clock, every_h: int = EVERY_H,
    fields: Sequence[Name] = NEEDED, members: int | None = None, progress: Callable[[Progress], None] = lambda _: None,
    random: Callable[[], float] = chance.random,
) -> Fetched | Partial:
    """A run -> to/<source>-<run>/, only the fields, steps and (of a query) the box asked for; goes on from where it broke off.

    Never raises for what a server, a link, a disk, a file or this computer does: that is Partial, with the reason and when to try
    again. Raises ValueError for a run that the source does not have.
    """
    made = plan_run(source, run, box, hours, every_h=every_h, fields=fields, members=members)
    with Trial(TRIAL_S) as trial:

        def fault(path: Path) -> str | None:
            try:
                return trial.fault(path)
            except TrialError as error:
                raise StopError(Reason.COMPUTER, f"{error.strerror or error}: end other programs on this computer", clock.now() + LATER) from None

        return fetch(made, to, budget, clock, progress, is_readable=fault, random=random)


def had_in(folder: Path) -> tuple[Had, ...]:
    """What a folder of fetched runs says of them, for `due`: failures and waits are not in it, those the caller remembers."""
    held = held_runs(folder)
    whole = {(one.source, one.run) for one in held if one.whole}
    return tuple(Had(source=source, run=run, whole=(source, run) in whole) for source, run in dict.fromkeys((h.source, h.run) for h in held))
