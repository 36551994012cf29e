"""Keeping the watch, second by second: who is called when, what outlasts a loss of power, and what is said when the watch itself fails."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.watchkeeping import HandMemory, HandPost, Trial, made_at, orders_at
from watch.alerts.book import Call
from watch.alerts.known import Aboard
from watch.alerts.situation import Priority
from watch.alerts.states import State
from watch.orders.document import JobOrder
from watch.service.stand.passing import Outcome
from watch.service.stand.reckoning import Place
from watch.when import parse_utc

NOON = parse_utc("2026-05-16T12:00Z")


def trial() -> Trial:
    return Trial(NOON)


def later_job(t: Trial) -> JobOrder:
    return next(job for job in t.keeper.orders.jobs if job.call > t.now + timedelta(minutes=1))


def told_of(t: Trial, job: str) -> list[Call]:
    """The calls that name a job."""
    return [c for c in t.post.sounded() if job.lower() in " ".join([c.title, c.text, *c.news]).lower()]


def test_nothing_is_said_of_missing_orders_until_the_first_pass_had_its_time():
    t = trial()
    t.goes_on(115)
    assert not t.post.sounded()
    t.goes_on(15)
    assert [call.title for call in t.post.sounded()] == ["The watch is blind: there are no orders"]
    assert t.post.sounded()[0].priority is Priority.ALARM


def test_a_first_pass_without_a_forecast_is_an_alarm_at_once():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="there is no forecast on board"), t.now)
    assert t.post.sounded()[0].why == "There is no forecast on board"


def test_an_alarm_is_called_again_every_thirty_seconds_until_it_is_acknowledged():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="there is no forecast on board"), t.now)
    t.goes_on(95)
    assert [(call.at - NOON).total_seconds() for call in t.post.sounded()] == [0, 30, 60, 90]
    t.acknowledge_all()
    t.goes_on(300)
    assert len(t.post.sounded()) == 4


def test_a_job_is_called_at_its_call_time_though_no_pass_is_made_then():
    t = trial()
    t.passes()
    job = later_job(t)
    t.acknowledge_all()
    t.goes_on((job.call - NOON).total_seconds() - 1, every_s=1)
    assert not told_of(t, job.job)
    t.goes_on(12)
    called = told_of(t, job.job)
    assert called
    assert called[0].at - job.call <= timedelta(seconds=10)


def test_a_job_that_is_logged_as_done_is_not_called():
    t = trial()
    t.passes()
    job = later_job(t)
    t.memory.write_log(f"{NOON:%Y-%m-%dT%H:%MZ} {job.job} 20 min", t.now)
    t.goes_on(15)
    assert t.keeper.next_pass_why == "the rig is changed"
    t.goes_on((job.call - t.now).total_seconds() + 15, every_s=5)
    assert not told_of(t, job.job)


def test_a_line_of_the_log_put_right_counts_as_if_it_had_been_right_at_once():
    t = trial()
    t.memory.write_log("2026-05-16T12:00Z rig main: reef 9", t.now)
    t.goes_on(11)
    assert "reef 9" in t.keeper.failures["log"]
    t.memory.log[0] = type(t.memory.log[0])(id=1, at=t.now, line="2026-05-16T12:00Z rig main: reef 2")
    t.goes_on(11)
    assert "log" not in t.keeper.failures
    assert "main: reef 2" in t.keeper.vitals(t.now).rig_state


def test_gusts_above_the_hard_limit_are_called_within_ten_seconds_and_not_only_at_the_next_pass():
    t = trial()
    t.passes()
    t.goes_on(60)
    t.aboard = Aboard(gust_kn=50.0, mean_kn=30.0, hard_kn=44.0, working_kn=34.0)
    at = t.now
    t.goes_on(15, until=lambda: any(c.alert == "limit" for c in t.post.sounded()))
    assert t.now - at <= timedelta(seconds=11)


def test_the_rig_as_logged_outlasts_a_restart_and_a_rig_told_at_the_start_counts_over_it():
    t = trial()
    t.memory.write_log("2026-05-16T12:00Z rig main: reef 3", t.now)
    t.goes_on(11)
    t.begin(told=None)
    assert "reef 3" in t.keeper.vitals(t.now).rig_state
    t.begin(told="main: reef 2")
    assert t.keeper.vitals(t.now).rig_state.startswith("main: reef 2")


def test_acknowledged_alerts_and_orders_outlast_a_loss_of_power():
    t = trial()
    t.passes()
    t.keeper.failed("page", "the page ended", t.now)
    t.acknowledge_all()
    known = {a.name: a.state for a in t.keeper.book.alerts}
    t.begin(told=None)
    assert {a.name: a.state for a in t.keeper.book.alerts} == known
    assert t.keeper.orders == t.memory.orders


def test_an_acknowledgement_by_command_is_followed_within_a_second_and_only_then_taken():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="nothing"), t.now)
    number = t.memory.ask("watch", t.now)
    t.goes_on(1)
    assert t.memory.outcomes[number] == ""
    assert t.memory.kept_book.find("watch").state is State.ACKNOWLEDGED


def test_an_acknowledgement_of_what_was_read_before_it_got_worse_is_refused_and_says_so():
    t = trial()
    t.passes()
    t.aboard = Aboard(mean_kn=30.0, working_kn=25.0, gust_kn=34.0, hard_kn=44.0)
    t.goes_on(11)
    revision = t.keeper.book.find("limit").revision
    t.aboard = Aboard(mean_kn=30.0, working_kn=25.0, gust_kn=50.0, hard_kn=44.0)
    t.goes_on(11)
    number = t.memory.ask("limit", t.now, revision=revision)
    t.goes_on(1)
    assert "worse" in t.memory.outcomes[number]


def test_an_acknowledgement_that_cannot_be_kept_is_asked_for_again_when_the_disk_has_room():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="nothing"), t.now)
    t.memory.broken = True
    number = t.memory.ask("watch", t.now)
    t.goes_on(15)
    assert number not in t.memory.outcomes
    assert "cannot write its book" in t.keeper.failures["book"]
    t.memory.broken = False
    t.goes_on(15)
    assert number in t.memory.outcomes
    assert "book" not in t.keeper.failures


def test_a_pass_that_dies_leaves_the_orders_standing_says_so_and_is_made_again():
    t = trial()
    t.passes()
    standing = t.keeper.orders
    t.keeper.pass_died("the pass died (signal 11)", t.now)
    assert t.keeper.orders is standing
    assert any("died (signal 11)" in a.text for a in t.keeper.book.alerts)
    assert t.now < t.keeper.next_pass_at <= t.now + timedelta(minutes=10)
    t.now += timedelta(minutes=10)
    t.passes()
    assert "pass" not in t.keeper.failures


def test_a_clock_set_back_silences_nothing():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="nothing"), t.now)
    t.goes_on(5)
    t.now -= timedelta(days=2)
    before = len(t.post.sounded())
    t.goes_on(65)
    again = t.post.sounded()[before:]
    assert any(c.alert == "watch" for c in again)
    assert any(a.title == "The clock jumped" for a in t.keeper.book.alerts)
    assert t.keeper.next_pass_at <= t.now + timedelta(minutes=10)


def test_a_clock_set_forward_is_said_and_calls_no_less():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="nothing"), t.now)
    t.now += timedelta(days=30)
    t.goes_on(35)
    assert any(a.title == "The clock jumped" for a in t.keeper.book.alerts)
    assert len([c for c in t.post.sounded() if c.alert == "watch"]) >= 2


def test_what_the_channels_heard_is_followed():
    t = trial()
    t.keeper.passed(Outcome(orders=None, why="nothing"), t.now)
    from tests.watchkeeping import wish

    t.post.heard.append(wish("watch"))
    t.goes_on(11)
    assert t.keeper.book.find("watch").state is State.ACKNOWLEDGED


def test_small_worsenings_add_up_to_one_that_is_said():
    """Ten steps of four minutes, each too small to tell: against the orders last told of they are told."""
    t = trial()
    t.passes()
    first = t.keeper.orders
    grave = [j for j in first.jobs if j.if_missed.hard_chance > first.hard_ceiling]
    assert grave, "the demo has a job on which a hard limit hangs"
    for step in range(1, 11):
        t.now += timedelta(minutes=10)
        earlier = timedelta(minutes=4 * step)
        jobs = tuple(replace(j, start=j.start - earlier, closes=j.closes - earlier) for j in first.jobs)
        t.keeper.passed(Outcome(orders=replace(first, made_at=t.now, jobs=jobs)), t.now)
    assert any(a.name == "orders.worse" for a in t.keeper.book.alerts)


def test_where_she_is_is_reckoned_on_when_the_receiver_is_silent():
    t = Trial(NOON)
    t.keeper.heard(Place(at=NOON, latitude=36.5, longitude=-52.0, source="gps"))
    made = made_at(NOON)
    from tests.page_demo import demo_orders

    whole = replace(made.orders, steps=demo_orders().steps)
    t.keeper.passed(replace(made, orders=whole), NOON)
    assert t.keeper.inputs(NOON + timedelta(minutes=10), []).longitude == -52.0
    later = t.keeper.inputs(NOON + timedelta(hours=3), [])
    assert -52.0 < later.longitude < -51.0, "she makes five to eight knots eastward"
    assert t.keeper.inputs(NOON + timedelta(hours=60), []).longitude == -52.0, "beyond two days nothing is reckoned"


def test_a_memory_that_had_to_be_mended_is_said():
    t = Trial(NOON, memory=HandMemory(said=("the book was damaged; 4 of 5 alerts were saved",)))
    t.passes()
    assert any("4 of 5" in a.text or "4 of 5" in " ".join(a.news) for a in t.keeper.book.alerts)


@pytest.mark.parametrize("hours", [12.9, 13.1, 26.0])
def test_a_forecast_that_gets_old_is_said_at_its_edge(hours: float):
    t = trial()
    t.passes(run=NOON - timedelta(hours=hours))
    stale = [a for a in t.keeper.book.alerts if "forecast is old" in a.title.lower()]
    assert bool(stale) == (hours >= 13)
    if stale:
        assert stale[0].priority is (Priority.WARNING if hours >= 25 else Priority.CAUTION)


def test_a_dead_channel_is_called_on_the_others():
    t = Trial(NOON, post=HandPost(dead="bell"))
    t.passes()
    assert any(c.alert == "channels" for c in t.post.sounded())
    assert orders_at(NOON).made_at == NOON


def test_a_position_logged_by_hand_is_gone_by_within_ten_seconds():
    t = trial()
    t.keeper.heard(Place(at=NOON, latitude=36.5, longitude=-52.0, source="the skipper"))
    t.goes_on(60)
    at = t.now
    t.memory.add_position(at, 36.7, -51.0, "the skipper")
    t.goes_on(30, until=lambda: t.keeper.inputs(t.now, []).longitude == -51.0)
    assert t.now - at <= timedelta(seconds=10)
    assert (t.keeper.next_pass_at, t.keeper.next_pass_why) == (t.now, "where she is was told")
    t.memory.places[-1] = replace(t.memory.places[-1], longitude=-51.5)  # put right
    t.goes_on(11)
    assert t.keeper.inputs(t.now, []).longitude == -51.5
    t.memory.places.pop()  # taken back
    t.goes_on(11)
    assert t.keeper.inputs(t.now, []).longitude == -52.0


def test_a_position_by_hand_counts_over_a_receiver_only_while_it_is_the_newer():
    t = trial()
    t.keeper.heard(Place(at=NOON, latitude=36.5, longitude=-52.0, source="gps"))
    t.memory.add_position(NOON - timedelta(minutes=1), 40.0, -40.0, "the skipper")
    t.goes_on(11)
    assert t.keeper.inputs(t.now, []).longitude == -52.0
    t.memory.add_position(NOON + timedelta(seconds=5), 36.5, -51.9, "the skipper")
    t.goes_on(11)
    assert t.keeper.inputs(t.now, []).longitude == -51.9
    t.keeper.heard(Place(at=t.now, latitude=36.5, longitude=-52.1, source="gps"))
    t.goes_on(11)
    assert t.keeper.inputs(t.now, []).longitude == -52.1


def test_a_place_that_could_not_be_kept_is_not_forgotten_for_an_older_one():
    t = trial()
    t.keeper.heard(Place(at=NOON, latitude=36.5, longitude=-52.0, source="the skipper"))
    t.memory.broken = True
    t.keeper.heard(Place(at=NOON + timedelta(seconds=1), latitude=36.6, longitude=-51.0, source="the skipper"))
    t.keeper.heard(Place(at=NOON + timedelta(hours=1), latitude=36.7, longitude=-50.0, source="the skipper"))
    t.goes_on(30)
    assert t.keeper.place is not None
    assert t.keeper.place.longitude == -50.0


def test_a_spell_of_jobs_that_nobody_does_is_one_alert_for_the_whole_night():
    """At each pass the overdue jobs are planned anew for the next ten minutes, as the schedule does."""
    t = trial()
    t.passes()
    first = t.keeper.orders
    assert first is not None
    t.now = min(job.call for job in first.jobs)
    for _ in range(6 * 9):
        t.now += timedelta(minutes=10)
        late = [replace(j, start=max(j.start, t.now), call=min(j.call, t.now), closes=j.closes + timedelta(hours=12)) for j in first.jobs]
        t.keeper.passed(Outcome(orders=replace(first, made_at=t.now, jobs=tuple(late))), t.now)
    spells = {call.alert for call in t.post.sounded() if call.alert.startswith("jobs.")}
    assert len(spells) == 1, spells


def test_what_came_due_while_a_slow_pass_was_made_is_due_at_once_and_only_once():
    t = trial()
    t.passes()
    t.now = t.keeper.next_pass_at
    t.keeper.inputs(t.now, [])
    t.now += timedelta(minutes=47)  # four passes would have been due
    t.passes()
    assert t.keeper.next_pass_at == t.now
    t.keeper.inputs(t.now, [])
    t.passes()
    assert t.now < t.keeper.next_pass_at <= t.now + timedelta(minutes=10)


def test_a_time_of_the_orders_that_goes_by_during_a_pass_is_not_left_for_ten_minutes():
    t = trial()
    t.passes()
    call = later_job(t).call
    t.now = call - timedelta(seconds=45)
    t.keeper.inputs(t.now, [])
    t.now = call + timedelta(seconds=20)
    t.keeper.passed(Outcome(orders=replace(t.keeper.orders, made_at=t.now)), t.now)
    assert t.keeper.next_pass_at == t.now


@pytest.mark.parametrize("dies", [False, True])
def test_a_change_of_rig_told_during_a_pass_that_cannot_know_of_it_asks_for_another_at_once(dies: bool):
    t = trial()
    t.passes()
    t.goes_on(30)
    t.keeper.inputs(t.now, [])
    t.memory.write_log(f"{t.now:%Y-%m-%dT%H:%MZ} rig main: reef 2", t.now)
    t.goes_on(15)
    assert t.keeper.next_pass_why == "the rig is changed"
    if dies:
        t.keeper.pass_died("the pass died (signal 11)", t.now)
    else:
        t.passes()
    assert (t.keeper.next_pass_at, t.keeper.next_pass_why) == (t.now, "the rig is changed")
    assert t.keeper.inputs(t.now, []).rig_state.startswith("main: reef 2")
    t.passes()
    assert t.keeper.next_pass_at > t.now


def test_what_had_to_be_left_out_of_the_orders_for_a_fault_is_told_until_it_is_in_them_again():
    t = trial()
    t.keeper.passed(replace(made_at(t.now), spared="Shelters are not judged: a fault in the program (IndexError: 80)."), t.now)
    assert any("IndexError" in a.text for a in t.keeper.book.alerts)
    assert t.keeper.orders is not None
    t.now += timedelta(minutes=10)
    t.passes()
    assert "spared" not in t.keeper.failures


def test_of_a_receiver_heard_every_second_the_track_keeps_a_position_every_ten_minutes():
    t = trial()
    for second in range(3601):
        t.keeper.heard(Place(at=NOON + timedelta(seconds=second), latitude=36.5 + second / 36e4, longitude=-52.0, source=("GP", "GN")[second % 2]))
    assert [place.at for place in t.memory.places] == [NOON + timedelta(minutes=m) for m in range(0, 61, 10)]
    assert t.keeper.place.at == NOON + timedelta(hours=1)
