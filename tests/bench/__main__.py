"""The table of ratios: what the parts cost beside a bare decode of the same files, in one run on this machine.

    python -m tests.bench

About three minutes on two slow cores, and fairest with nothing else at work. What takes longer has a script of its own, named at the end.
"""

import tempfile
from pathlib import Path

from tests.bench import bench_brief, bench_shelter
from tests.page_demo import among_islands
from watch.render.page import render_page
from watch.service.map_land import land_of_map

DATA = bench_brief.ROOT.parent / "shared" / "data"
LONGER = {
    "bench_replay": "what looking ahead is worth: the share of the gap closed", "bench_reliability": "do the stated chances come true",
    "bench_coverage": "do 90 in 100 stay below the wind planned for", "bench_fronts": "fronts found, and fronts that were none",
    "bench_squalls": "squalls found", "bench_compare": "what the instruments teach", "bench_calls": "calls a day in storms",
    "bench_fault_days": "a thousand days of faults", "bench_month": "a month of passes: memory and the store",
    "bench_storm": "three days of a whole watch in minutes", "bench_store_kill": "a writer killed thousands of times",
    "bench_members": "how the cost grows with members and steps", "bench_page": "the page in a browser", "bench_read": "reading, file by file",
    "fuzz_doors": "every door against spoiled input", "fuzz_instruments": "both readers of instruments for an hour",
}  # fmt: skip


def brief_rows() -> list[tuple[str, str, str]]:
    """A whole brief beside the decode of its own files: by the clock, in processor time, and in memory."""
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        for name, arguments, gribs in bench_brief.cases(DATA if DATA.exists() else None, Path(scratch)):
            bare, whole = bench_brief.by_turns(3, (bench_brief.DECODE, *gribs), (bench_brief.BRIEF, *arguments, *gribs))
            wall, cpu = (bench_brief.least(whole, key) / bench_brief.least(bare, key) for key in ("s", "cpu"))
            seconds, memory = bench_brief.least(whole, "s"), bench_brief.middle(whole, "mb")
            asked = "2" if "members" in name else ""
            rows.append((f"whole brief / bare decode: {name}", f"{wall:.2f} ({cpu:.2f} in processor time; {seconds:.1f} s, {memory:.0f} MB)", asked))
    return rows


def shelter_rows() -> list[tuple[str, str, str]]:
    took = bench_shelter.measure()
    what = f"shelter: {bench_shelter.SHELTERS} x {took.hours} hours x {bench_shelter.MEMBERS} weathers / bare decode, processor time"
    alone, with_land = (seconds / took.decode_s for seconds in (took.question_s, took.question_s + took.land_s))
    return [(what, f"{alone:.2f} ({with_land:.2f} with the mask of land)", "below 2")]


def page_rows() -> list[tuple[str, str, str]]:
    orders = among_islands()
    page = render_page(orders, now=orders.made_at, land=land_of_map(orders))
    return [("page with coast and shelters", f"{len(page.encode()) / 1000:.0f} kB", "150 kB")]


def main() -> None:
    print("| what | measured | asked |\n| --- | --- | --- |", flush=True)
    for rows in (brief_rows, shelter_rows, page_rows):
        for row in rows():
            print("| " + " | ".join(row) + " |", flush=True)
    print("\nLonger ones, each `python -m tests.bench.NAME`:")
    for name, what in LONGER.items():
        print(f"  {name:<18} {what}")


if __name__ == "__main__":
    main()
