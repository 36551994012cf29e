"""A replay told: the table by policy in plain words, what the orders are worth between thresholds and foresight, and the same as JSON."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from watch.service.replay.gap import Gap, gap_closed
from watch.service.replay.results import Result
from watch.service.replay.tally import NOTHING, Tally

CALLED = {"ours": "these orders", "reactive": "by thresholds", "never": "no change", "foresight": "foresight"}
EXPLAINED = {
    "ours": "the orders, renewed at each new forecast; they never see the weather to come.",
    "reactive": "acts when a limit is passed, if the job can still be done; makes sail again when it has eased.",
    "never": "what was up at the start stays up.",
    "foresight": "the best that could have been done by one who knew the weather to come: nobody can, it is the bound.",
}
ROWS: tuple[tuple[str, Callable[[Tally], str]], ...] = (
    ("hours over a hard limit", lambda t: f"{t.hard_hours:.1f}"),
    ("hours over a working limit", lambda t: f"{t.working_hours:.1f}"),
    ("changes made", lambda t: f"{t.changes:d}"),
    ("changes to less sail wanted in vain", lambda t: f"{t.impossible:d}"),
    ("jobs the weather overtook", lambda t: f"{t.overtaken:d}"),
    ("minutes on the foredeck in the dark", lambda t: f"{t.dark_foredeck_minutes:.0f}"),
    ("times woken", lambda t: f"{t.wakes:d}"),
    ("miles lost", lambda t: f"{t.lost_nm:.0f}"),
)
GAPS = {"hard_hours": "hours over hard limits", "impossible": "changes to less sail wanted in vain"}
WIDE = 36
COLUMN = 15


def totals(results: Sequence[Result]) -> dict[str, Tally]:
    """Results -> the sum of each policy."""
    found: dict[str, Tally] = {}
    for result in results:
        for name, tally in result.tallies.items():
            found[name] = found.get(name, NOTHING) + tally
    return found


def as_table(results: Sequence[Result], about: str) -> str:
    """Results of one passage or more -> the table and the sentences under it. about: which passages these are, in a sentence."""
    added = totals(results)
    hours = next(iter(added.values())).hours
    lines = [about, f"{len(results)} {'passage' if len(results) == 1 else 'passages'}, {hours:.0f} hours in all.", ""]
    lines.append(" " * WIDE + "".join(f"{CALLED[name]:>{COLUMN}}" for name in added))
    lines += [f"{label:<{WIDE}}" + "".join(f"{show(tally):>{COLUMN}}" for tally in added.values()) for label, show in ROWS]
    lines.append("")
    lines += [f"{CALLED[name].capitalize()}: {EXPLAINED[name]}" for name in added]
    said = _gap_words(results, added)
    lines += ["", *said] if said else []
    lines += ["", "A replay shows what was, not what will be. Official warnings and your own judgement come first."]
    return "\n".join(lines) + "\n"


def _gap_words(results: Sequence[Result], added: Mapping[str, Tally]) -> list[str]:
    if not {"ours", "reactive", "foresight"} <= set(added):
        return []
    lines = [_one_gap(GAPS[what], gap, getattr(added["ours"], what) > getattr(added["reactive"], what)) for what, gap in gaps(results).items()]
    times = change_ratio(added)
    if times is not None:
        lines.append(f"They make {times:.2f} times the changes that acting by thresholds makes.")
    return lines


def _one_gap(called: str, gap: Gap, worse: bool) -> str:
    if worse:
        return f"In {called} these orders did worse than acting by thresholds."
    if np.isnan(gap.share):
        return f"In {called} there is nothing between thresholds and foresight: nothing to be gained."
    said = f"Of what foresight would save in {called}, these orders save {100 * gap.share:.0f} in 100"
    return said + (f" ({100 * gap.low:.0f} to {100 * gap.high:.0f}, were the passages drawn again)." if gap.low < gap.high else ".")


def gaps(results: Sequence[Result]) -> dict[str, Gap]:
    """The share of the gap closed in each of GAPS."""
    tallies = [result.tallies for result in results]
    return {what: gap_closed(tallies, what) for what in GAPS}


def change_ratio(added: Mapping[str, Tally]) -> float | None:
    """The orders' changes over those by thresholds; None when there are none of these."""
    return added["ours"].changes / added["reactive"].changes if added["reactive"].changes else None


def as_data(results: Sequence[Result], about: str) -> dict[str, Any]:
    """The same as plain values for JSON: each passage, the sums, the gaps; what is not known is null."""
    added = totals(results)
    data: dict[str, Any] = {
        "about": about,
        "policies": {name: {"about": EXPLAINED[name], "sum": asdict(tally)} for name, tally in added.items()},
        "passages": [{"passage": r.name, "policies": {n: asdict(t) for n, t in r.tallies.items()}} for r in results],
    }
    if {"ours", "reactive", "foresight"} <= set(added):
        data["gap_closed"] = {what: {k: None if np.isnan(v) else v for k, v in asdict(gap).items()} for what, gap in gaps(results).items()}
        data["changes_times_reactive"] = change_ratio(added)
    return data
