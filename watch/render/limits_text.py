"""What the boat file claims beside what was experienced, as plain text: 80 columns, suggestions last."""

import textwrap
from collections.abc import Iterator, Sequence

import numpy as np

from watch.instruments.beside_record import LimitRow
from watch.units import limit_down_kn, wind_up_kn

WIDTH = 80


def limits_text(rows: Sequence[LimitRow], notes: Sequence[str]) -> str:
    """Rows of `limits_beside_record`, notes of the record -> text ending in a newline."""
    return "\n".join(line.rstrip() for line in _lines(rows, notes)) + "\n"


def _lines(rows: Sequence[LimitRow], notes: Sequence[str]) -> Iterator[str]:
    yield "LIMITS: what the boat file says, and what was sailed. This changes nothing."
    for kind, title in (("sail plan", "SAIL PLANS"), ("job", "JOBS")):
        yield ""
        yield title
        for row in (r for r in rows if r.kind == kind):
            yield from _wrap(f"{row.name}{', ' + row.sector if row.sector else ''}", "", "  ")
            yield from _wrap(f"says: {_claimed(row)}", "   ", "         ")
            yield from _wrap(f"was:  {_experienced(row)}", "   ", "         ")
            if row.suggestion:
                yield from _wrap(f"ask:  {row.suggestion}", "   ", "         ")
    if notes:
        yield ""
        yield "NOT KNOWN"
        for note in notes:
            yield from _wrap(f"- {note}", "", "  ")


def _claimed(row: LimitRow) -> str:
    rests = f"practised to {row.practised_to_kn:g} kn" if row.rests_on == "practised" and row.practised_to_kn else {
        "practised": "practised", "estimated": "an estimate", "maker": "the maker's figure"}.get(row.rests_on, row.rests_on)  # fmt: skip
    time = "" if np.isnan(row.claimed_minutes) else f"; {row.claimed_minutes:g} min with its reserve"
    return f"mean {row.claimed_mean_kn:g}, gusts {row.claimed_gust_kn:g} kn{time} ({rests})"


def _experienced(row: LimitRow) -> str:
    if row.times == 0:
        return "never carried in a known wind" if row.kind == "sail plan" else "never logged"
    gust = "gusts not known" if np.isnan(row.gust_kn) else f"gusts to {wind_up_kn(row.gust_kn)} kn"
    if row.kind == "job":
        mean = "wind not known" if np.isnan(row.sustained_kn) else f"in up to {limit_down_kn(row.sustained_kn)} kn, {gust}"
        return f"done {row.times} time{'s' if row.times > 1 else ''}, usually {row.typical_minutes:g} min, at most {row.longest_minutes:g}; {mean}"
    mean = "less than an hour in all" if np.isnan(row.sustained_kn) else f"an hour in all in {limit_down_kn(row.sustained_kn)} kn or more"
    return f"carried {row.hours:.1f} h; {mean}; {gust}"


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False) or [""]
