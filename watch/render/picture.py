"""The night and the track on one A4 sheet for the chart table: PNG, SVG or PDF, in black, white and grey, told apart by line and hatch."""

import io
import textwrap
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import date2num
from matplotlib.figure import Figure
from matplotlib.markers import MarkerStyle

from watch.orders.document import JobOrder, Orders
from watch.passage.land import Land
from watch.passage.position import show_position
from watch.render.glance import closing, is_hard_close, margin_words, turn_by
from watch.render.margins import OVER, UNKNOWN, Marked, marked
from watch.render.night_span import night_end, shown_jobs
from watch.render.page_parts import Place
from watch.render.picture_track import draw_track
from watch.render.text import when

A4_INCH = (8.27, 11.69)
DOTS_PER_INCH = 150
MARGIN_GREY = {"m0": "0.25", "m1": "0.42", "m2": "0.60", "m3": "0.78", "m4": "0.95", OVER: "1.0", UNKNOWN: "1.0"}
MARGIN_HATCH = {OVER: "xxxx", UNKNOWN: "...."}
SKY_GREY = {"day": "1.0", "civil": "0.8", "nautical": "0.55", "astronomical": "0.25", "night": "0.25"}
SETTINGS: Any = {
    "font.family": "DejaVu Sans", "font.size": 8, "svg.fonttype": "none", "svg.hashsalt": "nightorders", "hatch.linewidth": 0.6,
    "axes.linewidth": 0.6, "pdf.fonttype": 42,
}  # fmt: skip
MOST_JOBS = 12
METADATA: dict[str, dict[str, Any]] = {"svg": {"Date": None}, "pdf": {"CreationDate": None, "ModDate": None}, "png": {}}


def picture(orders: Orders, kind: str, *, places: tuple[Place, ...] = (), land: Land | None = None, invented: bool = False) -> bytes:
    """Orders -> the sheet as 'png', 'svg' or 'pdf'; the same orders give the same bytes. places: besides their shelters."""
    with mpl.rc_context(SETTINGS):
        figure = Figure(figsize=A4_INCH, dpi=DOTS_PER_INCH)
        FigureCanvasAgg(figure)
        _sheet(figure, orders, places, land, invented)
        out = io.BytesIO()
        figure.savefig(out, format=kind, metadata=METADATA[kind])
    return out.getvalue()


def _sheet(figure: Figure, orders: Orders, places: tuple[Place, ...], land: Land | None, invented: bool) -> None:
    end = night_end(orders)
    steps = marked(orders, end)
    jobs = shown_jobs(orders)
    rows = figure.add_gridspec(
        5, 1, left=0.12, right=0.96, top=0.865, bottom=0.06, hspace=0.0,
        height_ratios=[0.35, 5.2, 0.75, 0.6 + 0.34 * max(1, len(jobs)), 8.6 - 0.34 * len(jobs)],
    )  # fmt: skip
    light = figure.add_subplot(rows[0])
    wind = figure.add_subplot(rows[1], sharex=light)
    sails = figure.add_subplot(rows[2], sharex=light)
    work = figure.add_subplot(rows[3], sharex=light)
    below = rows[4].subgridspec(1, 2, width_ratios=[1.25, 1], wspace=0.12)
    track, words = figure.add_subplot(below[0]), figure.add_subplot(below[1])
    _head(figure, orders, invented)
    _light(light, steps)
    _wind(wind, orders, steps)
    _sails(sails, orders, steps, end)
    _work(work, orders, jobs, end)
    _time_axis([light, wind, sails, work], orders, end)
    draw_track(track, orders, places, land)
    _words(words, orders)
    foot = "Forecast against this boat's own limits. No warning service; no chart. If the sky says otherwise, act on the sky."
    figure.text(0.5, 0.02, foot, ha="center", fontsize=7)


def _number(instant: datetime) -> float:
    made: float = date2num(instant)  # type: ignore[no-untyped-call]
    return made


def _head(figure: Figure, orders: Orders, invented: bool) -> None:
    ship = orders.ship_time
    said = "INVENTED BOAT, INVENTED WEATHER. " if invented else ""
    figure.text(0.06, 0.965, f"Night orders for {orders.boat}", fontsize=15, fontweight="bold")
    figure.text(0.96, 0.968, f"{ship.local(orders.made_at):%a %d %b %Y %H:%M} ship's time ({ship.name})", ha="right", fontsize=9)
    ages = ", ".join(f"{f.age_hours:.0f} h" for f in orders.forecasts)
    lines = [
        *textwrap.wrap(" ".join([orders.verdict, *orders.verdict_more]), 105)[:3],
        f"{said}Up now: {orders.sail_plan}. Forecast {ages} old. At {show_position(orders.latitude_deg, orders.longitude_deg)}.",
    ]
    if orders.missing:
        lines += textwrap.wrap(f"NOT KNOWN: {'; '.join(orders.missing)}", 112, max_lines=2, placeholder=" ... and more")
    figure.text(0.06, 0.956, "\n".join(lines), fontsize=8.5, va="top", linespacing=1.35)


def _light(axes: Any, steps: tuple[Marked, ...]) -> None:
    for light, group in groupby(steps, key=lambda m: m.row.light):
        a, b = _ends(list(group))
        axes.axvspan(a, b, facecolor=SKY_GREY.get(light, "1.0"), hatch=None if light in SKY_GREY else "....", edgecolor="0.3", linewidth=0)
    axes.set_yticks([])
    axes.set_ylabel("light", rotation=0, ha="right", va="center")


def _ends(rows: list[Marked]) -> tuple[float, float]:
    return _number(rows[0].row.time), _number(rows[-1].row.time + timedelta(minutes=10))


def _wind(axes: Any, orders: Orders, steps: tuple[Marked, ...]) -> None:
    """The wind and the limits; where the wind is not known, dots and the words."""
    times = np.array([_number(m.row.time) for m in steps])
    names = ("median_mean_kn", "planning_mean_kn", "planning_gust_kn", "worst_gust_kn")
    median, mean, gust, worst = (np.array([_nan(getattr(m.row, n)) for m in steps]) for n in names)
    hard, working = (np.array([float(getattr(m, n)) for m in steps]) for n in ("hard_kn", "working_kn"))
    axes.fill_between(times, gust, worst, facecolor="0.85", linewidth=0)
    axes.fill_between(times, median, mean, facecolor="0.65", linewidth=0)
    axes.plot(times, gust, color="0", linewidth=1.4)
    axes.fill_between(times, hard, gust, where=gust > hard, facecolor="none", edgecolor="0", hatch="xxxx", linewidth=0)
    axes.step(times, hard, where="post", color="0", linewidth=2.6)
    axes.step(times, working, where="post", color="0", linewidth=1, linestyle=(0, (5, 3)))
    for unknown, group in groupby(steps, key=lambda m: m.row.planning_gust_kn is None):
        if unknown:
            a, b = _ends(list(group))
            axes.axvspan(a, b, facecolor="none", edgecolor="0", hatch="....", linewidth=0)
            axes.text((a + b) / 2, 12, "NOT KNOWN", ha="center", rotation=90, backgroundcolor="1")
    top = max(40.0, float(np.nanmax(np.concatenate([worst, hard]))) + 12)
    axes.set_ylim(0, top)
    axes.set_ylabel("knots")
    axes.grid(axis="y", color="0.85", linewidth=0.5)
    _barbs(axes, orders, steps, top)
    _features(axes, orders, steps, top)


def _nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _barbs(axes: Any, orders: Orders, steps: tuple[Marked, ...], top: float) -> None:
    shown = [m.row for m in steps if orders.ship_time.local(m.row.time).minute == 0 and orders.ship_time.local(m.row.time).hour % 2 == 0]
    rows = [r for r in shown if r.forecast_mean_kn is not None and r.forecast_from_deg is not None]
    if not rows:
        return
    angle = np.radians([float(r.forecast_from_deg or 0.0) for r in rows])
    speed = np.array([float(r.forecast_mean_kn or 0.0) for r in rows])
    east, north = -speed * np.sin(angle), -speed * np.cos(angle)
    south = orders.latitude_deg < 0
    axes.barbs([_number(r.time) for r in rows], np.full(len(rows), top - 4), east, north, length=5, linewidth=0.6, flip_barb=south)


def _features(axes: Any, orders: Orders, steps: tuple[Marked, ...], top: float) -> None:
    start, end = _ends(list(steps))
    for feature in orders.outlook:
        a, b, x = (_number(t) for t in (feature.early, feature.late, feature.likely))
        if feature.kind == "glass" or a >= end or b <= start:
            continue
        label = f"{feature.kind} {when(orders, feature.likely)}"
        if feature.kind == "squalls":
            axes.fill_between([max(a, start), min(b, end)], 0, 2.2, facecolor="none", edgecolor="0", hatch="////", linewidth=0.5)
            axes.text(max(a, start), 3, f" {label}{'' if feature.gust_kn is None else f', to {feature.gust_kn} kn'}", fontsize=7.5)
        else:
            marks = {"cold front": MarkerStyle(">"), "warm front": MarkerStyle("o", fillstyle="right")}.get(feature.kind)
            style = "-" if marks else (0, (6, 3))
            axes.plot([x] * 5, np.linspace(10, top - 14, 5), color="0", linewidth=0, marker=marks, markersize=6, markerfacecoloralt="none")
            axes.plot([x, x], [0, top - 9], color="0", linewidth=1.2, linestyle=style)
            axes.annotate("", (a, top - 9), (b, top - 9), arrowprops={"arrowstyle": "|-|,widthA=0.25,widthB=0.25", "linewidth": 0.8})
            axes.text(x, 6.5, f" {label}", fontsize=7.5)


def _sails(axes: Any, orders: Orders, steps: tuple[Marked, ...], end: datetime) -> None:
    for name, group in groupby(steps, key=lambda m: m.level):
        a, b = _ends(list(group))
        axes.axvspan(a, b, facecolor=MARGIN_GREY[name], hatch=MARGIN_HATCH.get(name), edgecolor="0", linewidth=0)
    for span in orders.plans:
        if span.start >= end:
            continue
        a, b = _number(span.start), _number(min(span.end, end))
        axes.axvline(a, color="0", linewidth=0.8)
        label = f"{span.sail_plan}: {margin_words(span.margin_kn)}"
        if (b - a) * 24 * 4 > len(label) * 0.95:
            axes.text((a + b) / 2, 0.5, label, ha="center", va="center", fontsize=7.5,
                      bbox={"facecolor": "1", "edgecolor": "none", "pad": 1})  # fmt: skip
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.set_ylabel("sails", rotation=0, ha="right", va="center")


def _work(axes: Any, orders: Orders, jobs: tuple[JobOrder, ...], end: datetime) -> None:
    """A line a job: its deck windows, heavy until it closes, the number where it is begun."""
    for k, job in enumerate(jobs):
        y = -k
        for window in (w for w in orders.windows if w.job == job.job and w.first_start < end):
            left = _number(window.first_start)
            axes.barh(y, _number(window.last_start) - left, left=left, height=0.34, color="0.8")
        if job.window is not None:
            left = _number(job.window.first_start)
            axes.barh(y, _number(job.closes) - left, left=left, height=0.34, color="0.45")
        closes, begins = _number(job.closes), _number(job.start)
        if job.closes < end:
            axes.plot([closes, closes], [y - 0.38, y + 0.38], color="0", linewidth=2.4)
        axes.text(begins, y, str(job.number), ha="center", va="center", fontweight="bold", fontsize=7.5,
                  bbox={"boxstyle": "circle,pad=0.2", "facecolor": "1", "edgecolor": "0", "linewidth": 0.8})  # fmt: skip
        shut = f" {closing(job)} {when(orders, job.closes)}" if is_hard_close(job) and job.closes < end else ""
        last = max([closes, *(_number(w.last_start) for w in orders.windows if w.job == job.job and w.first_start < end)])
        axes.text(min(last, _number(end) - 0.42), y, f"   {job.job}{shut}", va="center", fontsize=7.5,
                  bbox={"facecolor": "1", "edgecolor": "none", "pad": 0.5})  # fmt: skip
    axes.set_ylim(-max(1, len(jobs)) + 0.3, 0.7)
    axes.set_yticks([])
    axes.set_ylabel("jobs", rotation=0, ha="right", va="center")


def _time_axis(panels: list[Any], orders: Orders, end: datetime) -> None:
    first = orders.steps[0].time
    hours = [first + timedelta(minutes=10 * k) for k in range(int((end - first) / timedelta(minutes=10)) + 1)]
    marks = [h for h in hours if (local := orders.ship_time.local(h)).minute == 0 and local.hour % 3 == 0]
    labels = [f"{local:%a}\n0" if local.hour == 0 else f"{local.hour}" for local in map(orders.ship_time.local, marks)]
    for panel in panels:
        panel.set_xlim(_number(first), _number(end))
        panel.set_xticks([_number(m) for m in marks], labels)
        panel.grid(axis="x", color="0.85", linewidth=0.5)
        panel.set_axisbelow(True)
        panel.tick_params(labelbottom=panel is panels[-1], length=2)


def _words(axes: Any, orders: Orders) -> None:
    """The jobs in order, and what turns the orders, as text."""
    axes.axis("off")
    lines: list[str] = []
    for job in orders.jobs[:MOST_JOBS]:
        head = f"{job.number}. {when(orders, job.start)} {job.job}."
        said = f"{head} {closing(job)} {when(orders, job.closes)}." if is_hard_close(job) else head
        lines += textwrap.wrap(said, 46, subsequent_indent="    ")
    if len(orders.jobs) > MOST_JOBS:
        lines.append(f"... and {len(orders.jobs) - MOST_JOBS} more")
    if not orders.jobs:
        lines.append(f"No jobs before {when(orders, orders.ends_at)}.")
    turn = turn_by(orders)
    if turn is not None and turn.turn_by is not None:
        lines += ["", f"TURN BY {when(orders, turn.turn_by)} for {turn.name}"]
    lines += ["", "Heavy line: hard limit of what is up; broken:", "working limit. Black: gust planned for, shaded",
              "to the worst seen. Grey: mean wind. Crossed:", "over the limit. Sails: darker is less in hand."]  # fmt: skip
    axes.text(0.0, 0.9, "\n".join(lines), va="top", fontsize=8, linespacing=1.4, transform=axes.transAxes)
