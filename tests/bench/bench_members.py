"""How the cost of a whole pass grows with members and with forecast steps: ratios within one run, and a straight line through them.

    python -m tests.bench.bench_members

Four fields on 41 x 41 points, made here; 31 members stand for 1. Each case runs in processes of its own, the least time of two counts.
"""

import tempfile
from pathlib import Path

import numpy as np

from tests.bench.bench_brief import BRIEF, DECODE, ROOT, by_turns, least, made_ensemble

MEMBERS, STEPS = (8, 16, 31, 62), (11, 21, 41, 61, 81)
PLACE = ("2026-05-16T12:00Z", "36 30.0 N, 52 00.0 W")


def line(x: list[int], y: list[float]) -> str:
    """Least-squares line through points, and how far they lie from it at most, as a share of the largest."""
    slope, start = np.polyfit(x, y, 1)
    off = np.abs(np.polyval((slope, start), x) - y).max() / max(y)
    return f"{start:.2f} + {slope:.4f} each; nowhere more than {100 * off:.0f} % of the largest off the line"


def measured(folder: Path, cases: list[tuple[int, int]]) -> list[tuple[float, float, float, float]]:
    boat, route = str(ROOT / "config" / "boat-sloop.toml"), str(ROOT / "config" / "passage-bermuda-horta.toml")
    found = []
    for members, steps in cases:
        path = str(made_ensemble(folder, members, steps))
        bare, whole = by_turns(2, (DECODE, path), (BRIEF, boat, route, *PLACE, path))
        found.append((least(bare, "s"), least(whole, "read"), least(whole, "s"), least(whole, "mb")))
        Path(path).unlink()
    return found


def show(title: str, counts: tuple[int, ...], found: list[tuple[float, float, float, float]], one: float) -> None:
    print(title)
    print(f"{'count':>8}{'bare decode':>13}{'read':>8}{'whole brief':>13}{'brief/decode':>14}{'MB':>7}")
    for count, (bare, read, whole, mb) in zip(counts, found, strict=True):
        print(f"{count:>8}{bare / one:>13.2f}{read / one:>8.2f}{whole / one:>13.2f}{whole / bare:>14.2f}{mb:>7.0f}")
    for what, column in (("bare decode", 0), ("whole brief", 2)):
        print(f"  {what}: {line(list(counts), [row[column] / one for row in found])}")


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        by_members = measured(Path(scratch), [(m, 41) for m in MEMBERS])
        one = by_members[MEMBERS.index(31)][0]
        show("by members, 41 steps (the bare decode of 31 is 1)", MEMBERS, by_members, one)
        by_steps = measured(Path(scratch), [(31, s) for s in STEPS])
        show("by forecast steps, 31 members", STEPS, by_steps, by_steps[STEPS.index(41)][0])


if __name__ == "__main__":
    main()
