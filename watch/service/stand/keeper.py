"""The one who keeps the watch: what is known now, and what follows from each thing that happens. Time is always told, never read.

Everything that must outlast a loss of power goes through the store before it counts; when the store itself fails, that is said on
every channel and the watch goes on from memory.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from sqlite3 import Error as StoreError
from threading import RLock

from watch.alerts.book import Acknowledge, AlertBook, Call, Event
from watch.alerts.known import Aboard, Known, Machine
from watch.alerts.rules import situations
from watch.alerts.situation import Situation
from watch.alerts.spells import in_standing_spells
from watch.alerts.states import State
from watch.alerts.step import next_step, step
from watch.faults import BadInputError
from watch.instruments.series import Observed
from watch.orders.document import Orders
from watch.service.stand.baseline import told_of
from watch.service.stand.clock import Clock
from watch.service.stand.memory import AckWish, Memory, Post
from watch.service.stand.passing import KnownRun, Outcome, PassInputs
from watch.service.stand.reckoning import BY_HAND, Place, place_now
from watch.service.stand.rigged import Rigged
from watch.service.stand.vitals import Settings, Vitals
from watch.service.stand.wake import next_wake
from watch.weather.own_errors import OwnWidths
from watch.when import ShipTime

RULES_EVERY = timedelta(seconds=10)  # judgement: how soon a passed limit is noticed
SHOWN_EVERY = timedelta(seconds=25)  # a display that hears nothing for 30 s goes stale
FIRST_PASS = timedelta(minutes=2)  # judgement: so long the first pass may take before it is said that there are no orders
TRACK_EVERY = timedelta(minutes=10)  # one position of so many is kept
GIVEN_PLACE_OLD = timedelta(hours=12)  # judgement: a place the skipper gave himself is asked for again


class Keeper:
    """Keeps the watch. All methods may be called from any thread; one at a time gets through."""

    def __init__(
        self, settings: Settings, memory: Memory, post: Post, rigged: Rigged, *, now: datetime, steady_s: float,
        aboard: Callable[[datetime, str], Aboard] = lambda now, rig_state: Aboard(),
        disk_free_mb: Callable[[], float | None] = lambda: None,
    ) -> None:
        self.settings, self.memory, self.post = settings, memory, post
        self._rigged, self._aboard, self._disk_free_mb = rigged, aboard, disk_free_mb
        self._lock = RLock()
        self._clock = Clock(wall=now, steady_s=steady_s)
        self.begun_at = now
        self.failures: dict[str, str] = {}
        self.why = "no forecast has been read yet"
        self.pass_at: datetime | None = None
        self.runs: tuple[KnownRun, ...] = ()
        self.book = self._remembered(memory.book, "book") or AlertBook()
        self.orders: Orders | None = self._remembered(memory.latest_orders, "book")
        self.told = self.orders
        self.place: Place | None = self._remembered(memory.last_place, "book")
        self.next_pass_at, self.next_pass_why = now, "the watch has just begun"
        self._widths: OwnWidths | None = None
        self._begun: datetime | None = None  # the time of the pass under way
        self._changed = ""  # what came about since its inputs were taken, so that it cannot know of it
        self._pending: list[Event] = []
        self._place_kept = self.place is not None
        self._in_track = self.place  # the latest that went to the track
        self._rules_at: datetime | None = None
        self._shown_at: datetime | None = None
        self._outside = Aboard()
        for words in memory.said:
            self.failures[f"book.{len(self.failures)}"] = words

    # ---- passes ----------------------------------------------------------------------------------------------------------------

    def inputs(self, now: datetime, gribs: Sequence[Path], observed: Observed | None = None) -> PassInputs:
        """What the next pass is made from."""
        with self._lock:
            place, s = place_now(self.place, self.orders, now), self.settings
            self._begun, self._changed = now, ""
            return PassInputs(
                boat=s.boat, route=s.route, shelters=s.shelters, gribs=tuple(gribs), now=now, rig_state=self._rigged.state,
                latitude=None if place is None else place.latitude, longitude=None if place is None else place.longitude,
                ship=s.ship, hours=s.hours, sea_room_nm=s.sea_room_nm, observed=observed,
                widths=self._widths,
            )  # fmt: skip

    def passed(self, outcome: Outcome, now: datetime) -> list[Call]:
        """A pass is made: its orders stand, or why there are none; the rules are looked at, and who must be called is called."""
        with self._lock:
            self.pass_at, self.runs = now, outcome.runs or self.runs
            self._failure("unread", "; ".join(words for _, words in outcome.unread))
            self._failure("spared", outcome.spared)
            self._failure("faults", "" if not outcome.faults else f"the orders fail their own check: {'; '.join(outcome.faults)}")
            if outcome.orders is None:
                self.why = outcome.why
                self._failure("pass", "" if self.orders is None else f"no new orders could be made: {outcome.why}")
            else:
                self._failure("pass", "")
                self.orders = outcome.orders
                self.told = told_of(self.told, outcome.orders, heard=self._worse_heard())
            self._wake(now, self._begun)
            made = outcome.orders
            if made is not None:
                self._keep(lambda: self.memory.keep_pass(made, now, self.next_pass_at, self._pass_words()))
            else:
                self._keep_in_vain(now)
            return self._step(now, rules=True)

    def pass_died(self, words: str, now: datetime) -> list[Call]:
        """A pass came to no end: the orders that stand stand on, which is said, and the next one is made in its time."""
        with self._lock:
            if self.orders is None:
                self.why = words
            self._wake(now, None)
            self._keep_in_vain(now)
            return self.failed("pass", f"no new orders could be made: {words}", now)

    def failed(self, what: str, words: str, now: datetime) -> list[Call]:
        """Part of the watch failed (words), or works again (""): it is said on the channels until it works."""
        with self._lock:
            if self.failures.get(what, "") == words:
                return []
            self._failure(what, words)
            return self._step(now, rules=True)

    # ---- between passes --------------------------------------------------------------------------------------------------------

    def look(self, now: datetime, steady_s: float) -> bool:
        """To be called every second: the clock, what was acknowledged, the rules when they are due. -> whether the clock jumped."""
        with self._lock:
            self._clock = self._clock.looked(now, steady_s)
            jumped = self._clock.jumped_now
            wishes = self._remembered(self.memory.acks_wanted, "book") or []
            due = self._rules_at is None or now - self._rules_at >= RULES_EVERY or now < self._rules_at
            if due or jumped or wishes or self._pending or self._speaks(now):
                if due or jumped:
                    self._look_at_log(now)
                self._step(now, rules=due or jumped, wishes=wishes)
            elif self._shown_at is None or now - self._shown_at >= SHOWN_EVERY or now < self._shown_at:
                self._shown_at = now
                self.post.show(self.book)
            if jumped:
                self._pass_wanted(now, "the clock jumped")
            return jumped

    def learnt(self, widths: OwnWidths) -> None:
        """What the passage taught of its forecasts: for the passes from now on."""
        with self._lock:
            self._widths = widths

    def heard(self, place: Place) -> None:
        """A position: from a receiver, or given by the skipper."""
        with self._lock:
            self.place, last = place, self._in_track
            by_other = last is not None and (last.source == BY_HAND) != (place.source == BY_HAND)  # two receivers may take turns every second
            if last is None or by_other or not timedelta(0) <= place.at - last.at < TRACK_EVERY:
                self._place_kept = self._keep(lambda: self.memory.add_position(place.at, place.latitude, place.longitude, place.source))
                self._in_track = place

    def keeps(self, write: Callable[[], object]) -> bool:
        """Writes something else to the store -> whether it is kept; what cannot be written is said."""
        with self._lock:
            return self._keep(write)

    def acknowledge(self, alert: str, revision: int | None, who: str, where: str, now: datetime) -> str | None:
        """Acknowledges an alert as it was read in that revision; a sentence when that cannot be, else None. It counts when it is kept."""
        with self._lock:
            self._pending.append(Acknowledge(alert=alert, who=who, where=where, revision=revision))
            self._step(now, rules=False)
            return self._refusal(where) or None

    def vitals(self, now: datetime) -> Vitals:
        """How the watch is."""
        with self._lock:
            awaiting = tuple(f"{alert.number} “{alert.title}”" for alert in self.book.alerts if alert.state.awaits)
            return Vitals(
                now=now, begun_at=self.begun_at, pass_at=self.pass_at, pass_words=self._pass_words(), next_pass_at=self.next_pass_at,
                next_pass_why=self.next_pass_why, orders=self.orders, place=place_now(self.place, self.orders, now),
                rig_state=self._rigged.state, aboard=self._outside, failures=self._failed(), disk_free_mb=self._disk_free_mb(),
                awaiting=awaiting,
            )  # fmt: skip

    # ---- inside ----------------------------------------------------------------------------------------------------------------

    def _step(self, now: datetime, *, rules: bool, wishes: Sequence[AckWish] = ()) -> list[Call]:
        too_soon = self.pass_at is None and now - self.begun_at < FIRST_PASS
        found = self._situations(now) if rules and not too_soon else None
        heard = self.post.events(self.book)
        asked = [Acknowledge(alert=wish.alert, who=wish.by, where=f"command {wish.id}", revision=wish.revision) for wish in wishes]
        events, self._pending = [*heard, *self._pending, *asked], []
        before = self.book
        ship = ShipTime() if self.orders is None else self.orders.ship_time
        self.book, calls = step(before, found, events, now, timing=self.settings.timing, ship=ship)
        if self.book.alerts != before.alerts or events:
            kept = self._keep(lambda: self.memory.keep_book(self.book))
            for wish in wishes if kept else ():
                self._keep(partial(self.memory.acks_taken, [wish.id], now, self._refusal(f"command {wish.id}")))
            told = [*events, *(call for call in calls if call.reason.is_news or call.reason.is_upkeep)]
            if told:
                self._keep(lambda: self.memory.keep_events(told, now))
        self.post.deliver(calls, self.book)
        if calls:
            self._shown_at = now
        return calls

    def _refusal(self, where: str) -> str:
        """Why the last step did not follow what was asked there; "" when it did."""
        return next((refused.why for refused in self.book.refused if refused.event.where == where), "")

    def _look_at_log(self, now: datetime) -> None:
        changed = self._remembered(self._rigged.look, "book")
        self._failure("log", self._rigged.said)
        if changed:
            self._pass_wanted(now, "the rig is changed")
        told = self._remembered(self.memory.last_place, "book")
        if told is not None and told != self.place and self._counts(told):
            self.place, self._place_kept, self._in_track = told, True, told
            self._pass_wanted(now, "where she is was told")

    def _pass_wanted(self, now: datetime, why: str) -> None:
        self.next_pass_at, self.next_pass_why, self._changed = now, why, why

    def _wake(self, now: datetime, begun: datetime | None) -> None:
        """When the next pass is due, after one that began then. What it could not know of asks for another at once."""
        self.next_pass_at, self.next_pass_why = (now, self._changed) if self._changed else next_wake(self.orders, now, begun)
        self._begun, self._changed = None, ""

    def _counts(self, told: Place) -> bool:
        """Whether the latest place of the track, which is not the one gone by, counts over it: it was given by hand and is newer, or the one
        gone by was given by hand itself and has been put right."""
        if self.place is None or (self.place.source == BY_HAND and self._place_kept):
            return True
        return told.source == BY_HAND and told.at >= self.place.at

    def _situations(self, now: datetime) -> list[Situation]:
        self._rules_at = now
        self._outside = self._aboard(now, self._rigged.state)
        known = Known(
            now=now, orders=self.orders, before=self.told, done=self._rigged.done_since(None if self.orders is None else self.orders.made_at),
            aboard=self._with_place(now), why_no_orders=self.why[:1].upper() + self.why[1:],
            machine=Machine(
                disk_free_mb=self._disk_free_mb(), clock_jump_s=self._clock.remembered_s(self._clock.steady_s), failures=self._failed()
            ),
        )
        return in_standing_spells([*situations(known), *self.post.situations()], self.book)

    def _with_place(self, now: datetime) -> Aboard:
        if self.settings.has_instruments or self.place is None:
            return self._outside
        return replace(self._outside, position_at=self.place.at, expects_position=now - self.place.at > GIVEN_PLACE_OLD)

    def _speaks(self, now: datetime) -> bool:
        due = next_step(self.book, self.settings.timing)
        as_of = self.book.as_of
        return (due is not None and due <= now) or (as_of is not None and now < as_of)

    def _worse_heard(self) -> bool:
        alert = self.book.find("orders.worse")
        return alert is not None and alert.state is State.ACKNOWLEDGED

    def _pass_words(self) -> str:
        if self.orders is None:
            return f"There are no orders: {self.why}."
        return self.failures.get("pass") or self.orders.verdict

    def _failed(self) -> tuple[str, ...]:
        return tuple(words for words in self.failures.values() if words)

    def _failure(self, what: str, words: str) -> None:
        if words:
            self.failures[what] = words
        else:
            self.failures.pop(what, None)

    def _keep(self, write: Callable[[], object]) -> bool:
        """Writes to the store; what cannot be written is said, and the watch goes on."""
        try:
            write()
        except (StoreError, OSError, BadInputError) as error:
            self._failure("book", f"the watch cannot write its book ({error}); what is acknowledged now may be lost if the power goes")
            return False
        self._failure("book", "")
        return True

    def _keep_in_vain(self, now: datetime) -> None:
        """A pass without orders is written down too: else a store that cannot be written stays unsaid as long as no pass succeeds."""
        self._keep(lambda: self.memory.put("pass_in_vain", now.isoformat()))

    def _remembered(self, read, what: str):  # type: ignore[no-untyped-def]
        try:
            return read()
        except (StoreError, OSError, BadInputError) as error:
            self._failure(what, f"the watch cannot read its book ({error})")
            return None
