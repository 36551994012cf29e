"""Shelter, holding on and running off in the one pass: from what was asked, the schedule and the track to the table of choices."""

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from watch.instruments.ahead_anywhere import learnt_anywhere
from watch.instruments.compare import Update
from watch.orders.compose import Setting
from watch.orders.rivals import choices
from watch.orders.schedule import Schedule
from watch.orders.shelter import Ask, judge_shelters
from watch.orders.shelter_words import ShelterTeller
from watch.passage.track import Track
from watch.service.aboard import height_factor
from watch.weather.anywhere import anywhere
from watch.weather.plain import central_wind
from watch.weather.scenarios import usable
from watch.when import STEPS_PER_HOUR, from_np

if TYPE_CHECKING:
    from watch.service.one_pass import Asked

TOO_SHORT = "The weather is known for less than an hour: nothing can be said of shelter, holding on or running off."


def with_shelters(asked: "Asked", setting: Setting, schedule: Schedule, track: Track, update: Update | None = None) -> Setting:
    """The setting with the table of choices, when shelters or sea room were asked for; else as it is. update: what her instruments say."""
    if not (asked.shelters or asked.sea_room):
        return setting
    hours = len(schedule.carried) // STEPS_PER_HOUR
    if hours < 1:
        return replace(setting, missing=(*setting.missing, TOO_SHORT))
    weathers = anywhere(asked.forecasts, track.time[: hours * STEPS_PER_HOUR + 1 : STEPS_PER_HOUR], asked.widening)
    if update is not None:
        weathers = learnt_anywhere(update, weathers, asked.aims.planning_share)
    ask = Ask(
        rig=schedule.judged.night.rig, aims=asked.aims, weights=asked.weights, track=track, carried=schedule.carried,
        weathers=weathers,
        wind=central_wind(usable(asked.forecasts)[0], track.time), height_factor=height_factor(asked.boat),
        shelters=asked.shelters, land=asked.land,
    )  # fmt: skip

    def clock(instant: datetime) -> str:
        same_day = setting.ship.local(instant).date() == setting.ship.local(setting.now).date()
        return setting.ship.clock(instant) if same_day else setting.ship.day_clock(instant)

    found = choices(ask, judge_shelters(ask), schedule, ShelterTeller(clock=clock, aims=asked.aims, begins=from_np(ask.weathers.hours[0])))
    return replace(
        setting, shelters=found.table, no_return=found.no_return, cautions=(*found.cautions, *setting.cautions),
        missing=(*setting.missing, *found.missing),
    )  # fmt: skip
