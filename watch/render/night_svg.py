"""The night on a time axis, as SVG: a page of the log, the hours running down it. Light and moon, wind and gust with their spread
against the limits of what is carried, the sail plan by its margin, deck windows that end where they close, fronts and squalls.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from watch.orders.document import Feature, JobOrder, Orders, PlanSpan
from watch.render.glance import is_hard_close
from watch.render.margins import Marked, marked
from watch.render.night_span import MOST_HOURS, SKY, night_end, shown_jobs
from watch.render.symbols import barb, front_line, number, path, squall_mark, tag
from watch.when import ShipTime

WIDTH, TOP, HOUR = 360, 44, 24.0
LIGHT_X, MOON_X, BARB_X = 42, 54, 72
WIND_X0, WIND_X1 = 92, 220
SPREAD_X = 225
SAIL_X, SAIL_W = 230, 24
JOBS_X0, JOBS_X1 = 260, 350


@dataclass(frozen=True, kw_only=True)
class Scale:
    """From times and knots to places on the picture."""

    start: datetime
    end: datetime
    most_kn: int
    ship: ShipTime

    @property
    def bottom(self) -> float:
        return self.y(self.end)

    def y(self, when: datetime) -> float:
        """A time, held inside the picture -> pixels from its top."""
        inside = min(max(when, self.start), self.end)
        return TOP + (inside - self.start) / timedelta(hours=1) * HOUR

    def x(self, knots: float) -> float:
        return WIND_X0 + min(knots / self.most_kn, 1.0) * (WIND_X1 - WIND_X0)


def night_svg(orders: Orders) -> str:
    """Orders -> an <svg> for inside a page, without colours of its own: classes only."""
    scale, steps = _scale(orders)
    height = scale.bottom + 20
    inside = [
        _defs(), tag("title", f"The night for {orders.boat}"), tag("desc", describe(orders)), _light(scale, steps),
        _moon(scale, orders), _panel(scale), _wind(scale, steps), _features(scale, orders), _sails(scale, orders, steps),
        _jobs(scale, orders), _barbs(scale, orders, steps), _hours(scale), _captions(),
    ]  # fmt: skip
    return (
        f'<svg class="night" role="img" aria-label="The night on a time axis; the same is said in words below" '
        f'viewBox="0 0 {WIDTH} {number(height)}" xmlns="http://www.w3.org/2000/svg">{"".join(inside)}</svg>'
    )


def describe(orders: Orders) -> str:
    """What the picture shows, in a sentence or two."""
    ship, end = orders.ship_time, night_end(orders)
    gusts = [s.planning_gust_kn for s in orders.steps if s.time < end]
    known = [g for g in gusts if g is not None]
    most = f"gusts planned for up to {-int(-max(known) // 1)} kn" if known else "gusts not known"
    also = "" if len(known) == len(gusts) else ", part of it not known"
    return f"{ship.day_clock(orders.steps[0].time)} to {ship.day_clock(end)}: {most}{also}; {len(shown_jobs(orders))} jobs."


def _scale(orders: Orders) -> tuple[Scale, tuple[Marked, ...]]:
    end = night_end(orders)
    steps = marked(orders, end)
    tops = [value for m in steps for value in (m.row.worst_gust_kn, m.row.planning_gust_kn, float(m.hard_kn)) if value is not None]
    most = max(40, -int(-(max(tops) + 2) // 10) * 10)
    return Scale(start=orders.steps[0].time, end=end, most_kn=most, ship=orders.ship_time), steps


def _defs() -> str:
    hatch = tag("path", d="M-1,1l2,-2M0,6l6,-6M5,7l2,-2", klass="hatch")
    dots = tag("circle", cx=2, cy=2, r=0.9, klass="hatch-dot")
    return (
        f'<defs><pattern id="over" width="6" height="6" patternUnits="userSpaceOnUse">{hatch}</pattern>'
        f'<pattern id="unknown" width="5" height="5" patternUnits="userSpaceOnUse">{dots}</pattern></defs>'
    )


def _light(scale: Scale, steps: tuple[Marked, ...]) -> str:
    parts = []
    for sky, group in groupby(steps, key=lambda m: SKY.get(m.row.light, "unknown")):
        rows = list(group)
        y0, y1 = scale.y(rows[0].row.time), scale.y(rows[-1].row.time + timedelta(minutes=10))
        parts.append(tag("rect", x=LIGHT_X, y=y0, width=9, height=y1 - y0, klass=f"sky-{sky}"))
        if sky == "dark":
            parts.append(tag("rect", x=WIND_X0, y=y0, width=WIND_X1 - WIND_X0, height=y1 - y0, klass="panel-dark"))
    return "".join(parts)


def _moon(scale: Scale, orders: Orders) -> str:
    """A bar while the moon is above the horizon."""
    events = [(when, what) for when, what in orders.light_events if what in ("moonrise", "moonset")]
    if not events:
        return ""
    up: datetime | None = scale.start if events[0][1] == "moonset" else None
    parts = []
    for when, what in [*events, (scale.end, "moonset")]:
        if what == "moonrise":
            up = when
        elif up is not None:
            y0, y1 = scale.y(up), scale.y(when)
            if y1 > y0:
                parts.append(tag("rect", x=MOON_X, y=y0, width=4, height=y1 - y0, rx=2, klass="moon"))
            up = None
    return "".join(parts)


def _panel(scale: Scale) -> str:
    step = 20 if scale.most_kn > 40 else 10
    parts = [tag("rect", x=WIND_X0, y=TOP, width=WIND_X1 - WIND_X0, height=scale.bottom - TOP, klass="panel")]
    for knots in range(0, scale.most_kn + 1, step):
        x = scale.x(knots)
        parts.append(tag("path", d=path([(x, TOP), (x, scale.bottom)]), klass="grid"))
        parts += [tag("text", str(knots), x=x, y=y, klass="mid small") for y in (TOP - 5, scale.bottom + 13)]
    return "".join(parts)


def _wind(scale: Scale, steps: tuple[Marked, ...]) -> str:
    parts = []
    for known, group in groupby(steps, key=lambda m: m.row.planning_gust_kn is not None and m.row.worst_gust_kn is not None):
        rows = list(group)
        if known:
            parts.append(_known_wind(scale, rows))
        else:
            y0, y1 = scale.y(rows[0].row.time), scale.y(rows[-1].row.time + timedelta(minutes=10))
            parts.append(tag("rect", x=WIND_X0, y=y0, width=WIND_X1 - WIND_X0, height=y1 - y0, fill="url(#unknown)"))
            parts.append(tag("text", "not known", x=(WIND_X0 + WIND_X1) / 2, y=(y0 + y1) / 2 + 4, klass="mid halo"))
    for name, get in (("working", lambda m: m.working_kn), ("hard", lambda m: m.hard_kn)):
        parts.append(tag("path", d=_steps_path(scale, steps, get), klass=name))
    return "".join(parts)


def _known_wind(scale: Scale, rows: list[Marked]) -> str:
    def line(name: str) -> list[tuple[float, float]]:
        points = [(scale.x(getattr(m.row, name) or 0.0), scale.y(m.row.time)) for m in rows]
        return [*points, (points[-1][0], scale.y(rows[-1].row.time + timedelta(minutes=10)))]

    median, mean, gust, worst = (line(n) for n in ("median_mean_kn", "planning_mean_kn", "planning_gust_kn", "worst_gust_kn"))
    parts = [
        tag("path", d=path(gust + worst[::-1], close=True), klass="gust-spread"),
        tag("path", d=path(median + mean[::-1], close=True), klass="mean-spread"),
        _over(scale, rows), tag("path", d=path(mean), klass="mean"), tag("path", d=path(gust), klass="gust"),
        tag("path", d=path(worst), klass="worst"),
    ]  # fmt: skip
    return "".join(parts)


def _over(scale: Scale, rows: list[Marked]) -> str:
    """Hatching where the planning gust lies over the hard limit."""
    parts = []
    for over, group in groupby(rows, key=lambda m: m.level == "over"):
        part = list(group)
        if over:
            edge = [(scale.x(m.hard_kn), scale.y(m.row.time)) for m in part]
            gust = [(scale.x(m.row.planning_gust_kn or 0.0), scale.y(m.row.time)) for m in part]
            parts.append(tag("path", d=path(edge + gust[::-1], close=True), klass="over-area"))
    return "".join(parts)


def _steps_path(scale: Scale, steps: tuple[Marked, ...], get: object) -> str:
    assert callable(get)
    points: list[tuple[float, float]] = []
    for value, group in groupby(steps, key=get):
        rows = list(group)
        x = scale.x(float(value))
        points += [(x, scale.y(rows[0].row.time)), (x, scale.y(rows[-1].row.time + timedelta(minutes=10)))]
    return path(points)


def _features(scale: Scale, orders: Orders) -> str:
    inside = [f for f in orders.outlook if f.early < scale.end and f.late > scale.start]
    return "".join(_squalls(scale, f) if f.kind == "squalls" else _front(scale, f) for f in inside if f.kind != "glass")


def _squalls(scale: Scale, feature: Feature) -> str:
    y0, y1 = scale.y(feature.early), scale.y(feature.late)
    parts = [tag("rect", x=WIND_X0, y=y0, width=7, height=y1 - y0, klass="squalls"), squall_mark(WIND_X0 + 14, y0 + 8)]
    parts.append(tag("text", f"squalls {scale.ship.clock(feature.early)}", x=WIND_X0 + 22, y=y0 + 12, klass="halo"))
    if feature.gust_kn is not None:
        x, y = scale.x(feature.gust_kn), y0 + HOUR / 2
        while y < y1:
            parts.append(squall_mark(x, y, 8))
            y += 2 * HOUR
    return "".join(parts)


def _front(scale: Scale, feature: Feature) -> str:
    y0, y1, y = scale.y(feature.early), scale.y(feature.late), scale.y(feature.likely)
    spread = tag("path", d=f"M{SPREAD_X - 3},{number(y0)}h6m-3,0V{number(y1)}m-3,0h6", klass="front-spread")
    said = tag("text", f"{feature.kind} {scale.ship.clock(feature.likely)}", x=WIND_X1 - 3, y=y - 5, klass="end halo")
    return spread + front_line(feature.kind, WIND_X0, WIND_X1, y) + said


def _sails(scale: Scale, orders: Orders, steps: tuple[Marked, ...]) -> str:
    parts = []
    for name, group in groupby(steps, key=lambda m: m.level):
        rows = list(group)
        y0, y1 = scale.y(rows[0].row.time), scale.y(rows[-1].row.time + timedelta(minutes=10))
        parts.append(tag("rect", x=SAIL_X, y=y0, width=SAIL_W, height=y1 - y0, klass=f"fill-{name}"))
        if name in ("over", "unknown"):
            parts.append(tag("rect", x=SAIL_X, y=y0, width=SAIL_W, height=y1 - y0, fill=f"url(#{name})"))
    parts += [_sail_name(scale, span, number_) for number_, span in enumerate(orders.plans) if span.start < scale.end]
    parts.append(tag("rect", x=SAIL_X, y=TOP, width=SAIL_W, height=scale.bottom - TOP, klass="frame"))
    return "".join(parts)


def _sail_name(scale: Scale, span: PlanSpan, place: int) -> str:
    y0, y1 = scale.y(span.start), scale.y(span.end)
    parts = [tag("path", d=path([(SAIL_X - 3, y0), (SAIL_X + SAIL_W + 3, y0)]), klass="change")] if place else []
    middle = SAIL_X + SAIL_W / 2
    words = span.sail_plan if span.margin_kn is None else f"{span.sail_plan} · least {span.margin_kn} kn"
    room = y1 - y0
    for text in (words, span.sail_plan):
        if len(text) * 6.2 < room:
            turn = f"rotate(-90 {number(middle)} {number((y0 + y1) / 2)})"
            parts.append(tag("text", text, x=middle, y=(y0 + y1) / 2 + 4, transform=turn, klass="mid halo strong"))
            break
    return "".join(parts)


def _jobs(scale: Scale, orders: Orders) -> str:
    jobs = shown_jobs(orders)
    if not jobs:
        return tag("text", "no jobs", x=(JOBS_X0 + JOBS_X1) / 2, y=TOP + 16, klass="mid")
    wide = min(30.0, (JOBS_X1 - JOBS_X0) / len(jobs))
    return "".join(_job(scale, orders, job, JOBS_X0 + wide * (k + 0.5)) for k, job in enumerate(jobs))


def _job(scale: Scale, orders: Orders, job: JobOrder, x: float) -> str:
    parts = [tag("path", d=path([(x, TOP), (x, scale.bottom)]), klass="grid")]
    for window in orders.windows:
        if window.job == job.job and window.first_start < scale.end:
            y0, y1 = scale.y(window.first_start), scale.y(window.last_start + timedelta(minutes=10))
            parts.append(tag("rect", x=x - 5, y=y0, width=10, height=y1 - y0, klass="window"))
    if job.window is not None:
        y0, y1 = scale.y(job.window.first_start), scale.y(job.closes)
        parts.append(tag("rect", x=x - 5, y=y0, width=10, height=max(0.0, y1 - y0), klass="window-good"))
        if job.closes < scale.end:
            parts.append(tag("path", d=path([(x - 11, y1), (x + 11, y1)]), klass="closes"))
            if is_hard_close(job):
                parts.append(tag("text", scale.ship.clock(job.closes), x=x + 11, y=y1 + 13, klass="end halo strong"))
    y = scale.y(job.start)
    parts.append(tag("circle", cx=x, cy=y, r=8, klass="job-spot"))
    parts.append(tag("text", str(job.number), x=x, y=y + 4, klass="mid job-number"))
    return "".join(parts)


def _barbs(scale: Scale, orders: Orders, steps: tuple[Marked, ...]) -> str:
    parts = []
    for m in steps:
        local = scale.ship.local(m.row.time)
        come, mean = m.row.forecast_from_deg, m.row.forecast_mean_kn
        if local.minute == 0 and local.hour % 2 == 0 and come is not None and mean is not None:
            parts.append(barb(BARB_X, scale.y(m.row.time), come, mean, south=orders.latitude_deg < 0, length=17))
    return "".join(parts)


def _hours(scale: Scale) -> str:
    parts = []
    first = scale.start.replace(minute=0, second=0, microsecond=0)
    hours = [first + timedelta(hours=k) for k in range(MOST_HOURS + 2)]
    for when in (h for h in hours if scale.start <= h <= scale.end):
        local, y = scale.ship.local(when), scale.y(when)
        parts.append(tag("path", d=path([(LIGHT_X - 3, y), (LIGHT_X, y)]), klass="tick"))
        if local.hour == 0:
            parts.append(tag("path", d=path([(0, y), (JOBS_X1, y)]), klass="midnight"))
        text = f"{local:%a}" if local.hour == 0 else f"{local.hour}"
        parts.append(tag("text", text, x=LIGHT_X - 6, y=y + 4, klass="end strong" if local.hour % 6 == 0 else "end"))
    return "".join(parts)


def _captions() -> str:
    heads = ((LIGHT_X - 6, "end", "hour"), (LIGHT_X + 8, "mid", ""), (BARB_X, "mid", "wind"), ((WIND_X0 + WIND_X1) / 2, "mid", "knots"),
             (SAIL_X + SAIL_W / 2, "mid", "sails"), ((JOBS_X0 + JOBS_X1) / 2, "mid", "jobs"))  # fmt: skip
    return "".join(tag("text", text, x=float(x), y=16, klass=f"{where} caption") for x, where, text in heads if text)
