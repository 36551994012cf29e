"""How often would she have been called? The watch kept through invented storms, against the published alarm rates (source alarm-rate-1).

Run: python -m tests.bench.bench_calls [SEEDS] [FIRST] [said]. Passes every hour and at each new run; her own wind from the truth; she
acknowledges within ten minutes, and does each job of the orders when its time has come and the deck allows.
"""

import sys
import time
from collections import Counter
from datetime import timedelta

import numpy as np

from tests.watchkeeping import BOAT, Trial
from watch.alerts.known import Aboard
from watch.boat.boat_file import read_boat
from watch.boat.rig import parse_state
from watch.faults import BadInputError
from watch.passage.route import Route, Waypoint
from watch.service.one_pass import Asked, one_pass
from watch.service.replay.invented import storms
from watch.service.replay.outside import Outside
from watch.service.replay.passages import Asking, outside_of, storm_passage
from watch.service.stand.passing import Outcome
from watch.when import STEP, STEPS_PER_HOUR, from_np

HOURS = 72.0
FRONT_H = 12.0  # one front, from the first call for it to when it has gone by
NIGHT = range(22, 24), range(6)


class Kept:
    """The watch kept through one storm."""

    def __init__(self, seed: int) -> None:
        self.boat = read_boat(BOAT)
        self.passage = storm_passage(storms(), seed, 6, 5.0)
        self.outside: Outside = outside_of(self.passage, Asking(boat=self.boat, state=parse_state(self.boat, ""), policies=("ours",)))
        way = self.passage.truth.way
        self.start = from_np(way.time[0])
        ends = (0, len(way.latitude) - 1)
        self.route = Route(name="invented", waypoints=tuple(
            Waypoint(name=str(i), latitude=float(way.latitude[i]), longitude=float(way.longitude[i])) for i in ends))
        self.trial = Trial(self.start)
        self.trial.begin(told="")
        self.states = [str(state) for state in self.outside.ship.rig.states]
        self.raised: Counter[str] = Counter()
        self.sounded: list[tuple[float, str, bool]] = []
        self.said: list[str] = []
        self.busy_until = -1
        self.jobs = 0

    @property
    def state(self) -> int:
        return self.states.index(str(parse_state(self.boat, self.trial.keeper.vitals(self.trial.now).rig_state)))

    def live(self) -> "Kept":
        arrived = -1
        for step in range(1, self.outside.met.steps):
            self.trial.now += STEP
            self.trial.steady_s += STEP.total_seconds()
            here = sum(at <= step for at, _ in self.passage.arrivals())
            if here != arrived or step % STEPS_PER_HOUR == 1 or self.trial.keeper.next_pass_why == "the rig is changed":
                arrived = here
                self.trial.keeper.passed(self._outcome(step), self.trial.now)
            self._look(step)
            self._do(step)
        return self

    def _outcome(self, step: int) -> Outcome:
        way, here = self.passage.truth.way, [f for at, f in self.passage.arrivals() if at <= step]
        runs = sorted(here, key=lambda f: f.run, reverse=True)[:3]
        asked = Asked(
            boat=self.boat, route=self.route, forecasts=tuple(runs), now=self.trial.now, state=parse_state(self.boat, self.states[self.state]),
            latitude=float(way.latitude[step]), longitude=float(way.longitude[step]), hours=HOURS,
        )  # fmt: skip
        try:
            return Outcome(orders=one_pass(asked).orders)
        except BadInputError as error:
            return Outcome(orders=None, why=str(error))

    def _look(self, step: int) -> None:
        felt, state = self.outside.felt, self.state
        self.trial.aboard = Aboard(
            mean_kn=float(felt.mean_kn[state, step - 1]), gust_kn=float(felt.gust_kn[state, step - 1]),
            gust_before_kn=float(felt.gust_kn[state, step - 2]) if step >= 2 else None,
            working_kn=float(felt.working_kn[state, step - 1]), hard_kn=float(felt.hard_kn[state, step - 1]),
            position_at=self.trial.now, wind_at=self.trial.now, expects_position=True, expects_wind=True,
        )  # fmt: skip
        self.trial.keeper.look(self.trial.now, self.trial.steady_s)
        hour = self.outside.ship.ship_time.local(self.trial.now).hour
        for call in self.trial.post.calls:
            if call.reason.value == "new":
                self.raised[call.alert.split(".")[0]] += 1
            if call.sounds and call.reason.is_news:
                self.sounded.append((step / STEPS_PER_HOUR, call.alert.split(".")[0], any(hour in part for part in NIGHT)))
                self.said.append(f"{step / STEPS_PER_HOUR:6.1f} h {call.reason.value:8} {call.title} | {'; '.join(call.news)}")
        self.trial.post.calls.clear()
        self.trial.acknowledge_all()

    def _do(self, step: int) -> None:
        orders = self.trial.keeper.orders
        if orders is None or step < self.busy_until:
            return
        for job in orders.jobs[:1]:
            edges = [i for i, e in enumerate(self.outside.ship.rig.edges) if e.job.name == job.job and e.origin == self.state]
            if job.start <= self.trial.now and edges and self.outside.can[step, edges[0]]:
                begun = self.trial.now
                self.trial.memory.write_log(f"{begun:%Y-%m-%dT%H:%MZ} {job.job} {max(1, int(job.minutes))} min", begun)
                self.busy_until = step + max(1, int(np.ceil(job.minutes / 10))) + 1
                self.jobs += 1
                self.trial.keeper.look(self.trial.now, self.trial.steady_s + 11)


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word != "said"]
    seeds, first = (numbers[i] if len(numbers) > i else usual for i, usual in ((0, 8), (1, 0)))
    days, began = 0.0, time.perf_counter()
    raised: Counter[str] = Counter()
    heard: Counter[str] = Counter()
    nights, floods, most, jobs, in_a_front = 0, 0, 0, 0, 0
    for seed in range(first, first + seeds):
        kept = Kept(seed).live()
        days += kept.outside.met.steps * STEP / timedelta(days=1)
        raised += kept.raised
        heard += Counter(name for _, name, _ in kept.sounded)
        nights += sum(at_night for *_, at_night in kept.sounded)
        hours = np.array([at for at, *_ in kept.sounded])
        in_ten = [int(((hours >= at) & (hours < at + 1 / 6)).sum()) for at in hours]
        by_front = int(max((((hours >= at) & (hours < at + FRONT_H)).sum() for at in hours), default=0))
        in_a_front = max(in_a_front, by_front)
        floods, most, jobs = floods + sum(n > 10 for n in in_ten), max([most, *in_ten]), jobs + kept.jobs
        print(f"seed {seed}: {len(kept.sounded)} calls that bring news, at most {by_front} in {FRONT_H:.0f} hours, {kept.jobs} jobs done, "
              f"{time.perf_counter() - began:.0f} s", flush=True)
        print("\n".join(kept.said) if "said" in sys.argv else "", end="\n" if "said" in sys.argv else "", flush=True)
    calls = sum(heard.values())
    print(f"{days:.0f} days of storms: {calls / days:.1f} calls that bring news a day, {nights / days:.1f} of them from 22 to 6, {jobs / days:.1f} jobs a day; "
          f"most in {FRONT_H:.0f} hours {in_a_front}, in ten minutes {most}, floods (over 10 in 10 min) {floods}")
    print(f"heard, by kind: {dict(heard.most_common())}")
    print(f"raised, cautions among them: {dict(raised.most_common())}")


if __name__ == "__main__":
    main()
