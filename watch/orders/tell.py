"""The numbers behind an order, in words: why a window shuts, why a job is wanted, what it shuts in turn."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from watch.boat.model import Job
from watch.orders.document import IfMissed, WindowOrder
from watch.orders.met import quantile
from watch.orders.reasons import Reason
from watch.orders.schedule import Judged, Risk, Schedule, Task, risk_between
from watch.orders.solve import Move
from watch.orders.windows import DeckWindow, deck_windows
from watch.units import limit_down_kn, wind_up_kn
from watch.when import STEPS_PER_HOUR, ShipTime, from_np

Floats = NDArray[np.float64]
TOLD = 0.005  # so much more chance is told
AFTER_STEPS = 12 * STEPS_PER_HOUR


class Teller:
    """Words for one schedule: its times in ship's time, its winds rounded up, its limits down."""

    def __init__(self, schedule: Schedule, ship: ShipTime):
        self.schedule, self.ship = schedule, ship
        self.judged: Judged = schedule.judged
        self.night = schedule.judged.night
        self.met = self.night.met

    def at(self, step: int) -> datetime:
        return from_np(self.met.time[min(step, self.met.steps)])

    def clock(self, step: int) -> str:
        """'18:40' within a day of the start, 'Mon 18:40' beyond."""
        when = self.at(step)
        near = self.ship.local(when).date() == self.ship.local(self.at(0)).date()
        return self.ship.clock(when) if near else self.ship.day_clock(when)

    def window_words(self, job: Job, window: DeckWindow) -> str:
        """What shuts a window, with the number against the limit."""
        if window.reason in (Reason.OPEN, Reason.FORECAST_ENDS) or window.last + 1 >= self.met.steps:
            return Reason.FORECAST_ENDS.words
        return self.shut_words(job, window.last + 1, window.reason)

    def shut_words(self, job: Job, step: int, reason: Reason) -> str:
        """Why a start at `step` is not inside the job's limits, with the number."""
        span = slice(step, step + self.judged.chance_of(job).steps)
        share = self.night.aims.window_chance
        if reason is Reason.DARK:
            need = {"day": "daylight", "moon": "day or a bright moon"}.get(str(job.light), "light")
            return f"dark: it needs {need} to the end of its reserve"
        if reason is Reason.MEAN:
            return self._against("mean wind", self.met.mean_kn[:, span], job.mean_kn, self._failing(job, step))
        if reason is Reason.GUST:
            return self._against("gusts", self.met.gust_kn[:, span], job.gust_kn, self._failing(job, step))
        if reason is Reason.SEA and job.sea_m is not None:
            high = self._high(self.met.sea_m[:, span], share)
            return f"sea to {_tenth_up(high)} m; the job's limit is {job.sea_m:g} m" if np.isfinite(high) else "sea not known"
        if reason is Reason.STEEPNESS and job.steepness is not None:
            return f"sea too steep for the job (limit {job.steepness:g})"
        return reason.words

    def _failing(self, job: Job, step: int) -> float:
        """The share of the weathers in which a start at this step does not stay inside the job's limits."""
        return 1.0 - float(self.judged.chance_of(job).chance[step])

    def _against(self, what: str, winds: Floats, limit: float, failing: float) -> str:
        """A wind against a limit; where no single limit is passed often enough, all of them together, and which most."""
        high = self._high(winds, self.night.aims.window_chance)
        if not np.isfinite(high):
            return f"{what} not known"
        if wind_up_kn(high) <= limit:
            return f"its limits are passed in {of_weathers(failing)}, most of all by {what} over {limit_down_kn(limit)} kn"
        return f"{what} to {wind_up_kn(high)} kn; the job's limit is {limit_down_kn(limit)}"

    def _high(self, values: Floats, share: float) -> float:
        worst = np.where(np.isnan(values).any(axis=1), np.nan, np.max(np.nan_to_num(values, nan=0.0), axis=1, initial=0.0))
        return float(quantile(worst[:, None], self.met.weight, share)[0])

    def closes_words(self, task: Task) -> str:
        if task.closes_reason is Reason.TOO_LATE:
            return Reason.TOO_LATE.words
        return "" if task.window is None else self.window_words(task.job, task.window)

    def window_order(self, job: Job, window: DeckWindow) -> WindowOrder:
        return WindowOrder(
            job=job.name, first_start=self.at(window.first), last_start=self.at(window.last), chance=round(window.least, 3),
            reason=window.reason.name.lower(), words=self.window_words(job, window),
        )  # fmt: skip

    def if_missed(self, task: Task) -> IfMissed:
        missed = task.if_missed
        assert missed is not None
        risk, rig = missed.risk, self.night.rig
        names = [f"{rig.edges[m.edge].job.name} at {self.clock(m.begins)}" for m in missed.moves]
        instead = tuple(names[:3]) + (("…",) if len(names) > 3 else ())
        hard_chance, unforecast_chance = risk.rounded(3)
        if risk.hard_first_step is None or risk.forecast_chance <= self.schedule.risk.forecast_chance + TOLD:
            hours = risk.working_hours - self.schedule.risk.working_hours
            words = f"about {_hours(hours)} longer above a working limit" if hours > 0.2 else "nothing worse than slower sailing"
            words = self._by_squalls(task) or words
            return IfMissed(
                hard_chance=hard_chance, sail_plan=None, when=None, gust_kn=None, hard_kn=None, instead=instead, words=words,
                unforecast_chance=unforecast_chance,
            )  # fmt: skip
        state = int(missed.carried[risk.hard_first_step])
        plan, gust, hard = self.caught(missed.carried, risk)
        words = (
            f"caught under {plan}: gusts to {gust} kn against its hard limit of {hard}, "
            f"about {self.clock(risk.hard_first_step)}; chance {percent(risk.forecast_chance)}"
        )
        return IfMissed(
            hard_chance=hard_chance, unforecast_chance=unforecast_chance, sail_plan=rig.plan_name(state), when=self.at(risk.hard_first_step),
            gust_kn=gust, hard_kn=hard, instead=instead, words=words,
        )  # fmt: skip

    def _by_squalls(self, task: Task) -> str:
        """What squalls that no forecast shows would do without the job; nothing when that is no matter."""
        missed, moves = task.if_missed, [m for m in self.schedule.moves if m.begins >= task.begins]
        assert missed is not None
        ordered = risk_between(self.judged, self.schedule.carried, moves, task.begins, self.met.steps)
        if missed.risk.unforecast_chance <= ordered.unforecast_chance + TOLD:
            return ""
        found, instead = percent(ordered.unforecast_chance), percent(missed.risk.unforecast_chance)
        return f"without it a squall that no forecast shows finds too much up with chance {instead}, with it {found}"

    def _after_it(self, task: Task) -> str:
        """What the job takes from the chance of squalls that no forecast shows in the hours after it; nothing when that is no matter."""
        after = [risk_between(self.judged, np.full(self.met.steps, state), (), task.ends, task.ends + AFTER_STEPS).unforecast_chance
                 for state in (task.origin, task.target)]  # fmt: skip
        if after[0] <= after[1] + TOLD:
            return ""
        return (f"in the {AFTER_STEPS // STEPS_PER_HOUR} h after it a squall that no forecast shows would find too much up with chance "
                f"{percent(after[0])}; with this done {percent(after[1])}")  # fmt: skip

    def caught_in(self, carried: NDArray[np.int64], risk: Risk, moves: Sequence[Move] = ()) -> int:
        """The rig state in which a hard limit is first likely met; while a job is in hand, the one it leads to when that bears less."""
        assert risk.hard_first_step is not None
        step = risk.hard_first_step
        state = int(carried[step])
        for move in moves:
            target = int(self.judged.problem.target[move.edge])
            over = [np.nan_to_num(self.judged.carriage[s].over_hard_kn[:, step], nan=np.inf).max(initial=-np.inf) for s in (state, target)]
            if move.begins <= step < move.done and over[1] > over[0]:
                state = target
        return state

    def caught(self, carried: NDArray[np.int64], risk: Risk, moves: Sequence[Move] = ()) -> tuple[str, int, int]:
        """The sail plan in which a hard limit is first likely met, the worst planning gust under it, and the limit."""
        assert risk.hard_first_step is not None
        state = self.caught_in(carried, risk, moves)
        on = (carried == state) | (np.arange(len(carried)) == risk.hard_first_step)
        gusts = self.judged.carriage[state].gust_kn[:, on]
        gust = self._high(gusts, self.night.aims.planning_share)
        hard = float(np.nanmin(self.judged.carriage[state].hard_kn[:, on]))
        if not np.isfinite(gust) or gust <= hard:
            gust = float(np.nanmax(gusts))
        return self.night.rig.plan_name(state), wind_up_kn(gust), limit_down_kn(hard)

    def because(self, task: Task) -> str:
        """The number that decided the job."""
        missed = self.if_missed(task)
        if missed.sail_plan is not None:
            return f"without it she is {missed.words}"
        before, after = self.judged.carriage[task.origin], self.judged.carriage[task.target]
        span = slice(task.ends, task.ends + 36)
        over_before = float(np.nan_to_num(before.over_working_kn[:, span]).max(initial=0.0))
        over_after = float(np.nan_to_num(after.over_working_kn[:, span]).max(initial=0.0))
        if over_before > over_after + 0.05:
            mean = self._high(before.mean_kn[:, span], self.night.aims.planning_share)
            limit = float(np.nanmin(before.working_kn[:, span])) if before.working_kn[:, span].size else np.nan
            return f"mean wind to {wind_up_kn(mean)} kn against the working limit of {limit_down_kn(limit)} of what is up now"
        squalls = self._after_it(task)
        if squalls:
            return squalls
        gained = float(np.nanmean(after.made_good_kn[span] - before.made_good_kn[span])) if task.ends < self.met.steps else 0.0
        if gained > 0.05:
            return f"the wind allows it, and she makes {gained:.1f} kn more"
        return "it opens the way to what follows"

    def shuts(self, task: Task) -> tuple[str, ...]:
        """What can no longer be done once this job is done: the jobs that would undo it, and when they are possible again."""
        rig, aims = self.night.rig, self.night.aims
        words = []
        for edge in rig.edges:
            back = edge.origin == task.target and edge.job.element == task.job.element
            if not back or self.night.rig.states[edge.target].by_element[task.job.element] not in task.job.from_positions:
                continue
            windows = deck_windows(self.judged.chance_of(edge.job), aims.window_chance)
            ahead = [w for w in windows if w.last >= task.ends]
            if not ahead:
                words.append(f"“{edge.job.name}” cannot be done again as far as the forecast reaches")
            elif ahead[0].first > task.ends + 6:
                words.append(f"“{edge.job.name}” cannot be done before {self.clock(ahead[0].first)}")
            elif len(ahead) > 1 or ahead[0].reason is not Reason.FORECAST_ENDS:
                again = f" and not again before {self.clock(ahead[1].first)}" if len(ahead) > 1 else ""
                words.append(f"“{edge.job.name}” only until {self.clock(ahead[0].last)}{again}")
        return tuple(dict.fromkeys(words))


def percent(chance: float) -> str:
    """A chance for people: in whole parts of 100, rounded up; never '0' for what can happen, never 'certain'.

    >>> percent(0.004), percent(0.5), percent(0.999)
    ('1 in 100', '50 in 100', 'over 99 in 100')
    """
    if chance <= 0:
        return "none seen"
    if chance > 0.99:
        return "over 99 in 100"
    return f"{int(-(-chance * 100 // 1))} in 100"


def chance_words(hard: float, squalls: float) -> str:
    """The chance of a hard limit, and the part of it by squalls that no forecast shows, for people.

    >>> chance_words(0.035, 0.029), chance_words(0.05, 0.05), chance_words(0.02, 0.001)
    ('4 in 100, 3 of them by squalls no forecast shows', '5 in 100, all by squalls no forecast shows', '2 in 100')
    """
    said, part = percent(hard), round(100 * squalls)
    if hard <= 0 or (part == 0 and squalls < hard):
        return said
    return f"{said}, all by squalls no forecast shows" if squalls >= hard - 1e-9 else f"{said}, {part} of them by squalls no forecast shows"


def of_weathers(share: float) -> str:
    """A share of the weathers for people.

    >>> of_weathers(0.144)
    '15 of 100 weathers'
    """
    return f"{percent(share).replace(' in ', ' of ')} weathers"


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 1.5 else f"{max(10, round(hours * 6) * 10)} min"


def _tenth_up(value: float) -> str:
    return f"{np.ceil(value * 10 - 1e-9) / 10:.1f}"


def call_time(task: Task, at: datetime) -> datetime:
    """When the sailor is called: the start less the minutes to get ready, down to the ten-minute grid (the safe side)."""
    early = at - timedelta(minutes=task.job.ready_minutes)
    return early.replace(minute=early.minute // 10 * 10, second=0, microsecond=0)
