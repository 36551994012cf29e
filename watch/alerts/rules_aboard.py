"""The rules on what her own instruments say, against the limits of what is up. Each rule has its own page."""

from collections.abc import Iterator
from datetime import timedelta

from watch.alerts.known import Known
from watch.alerts.situation import Priority, Situation, slug
from watch.instruments.gusts_rising import rising_on
from watch.instruments.own_glass import BEYOND_HPA, FAR_BEYOND_HPA

LOST_AFTER = timedelta(minutes=20)  # judgement: two ten-minute steps without a position or a wind


def limit_passed(known: Known) -> Iterator[Situation]:
    """says: her own anemometer is above the limit of what is up.
    why: whatever was forecast, this is what is on the rig now.
    example: mean 27 kn against the working limit 25: warning; gust 46 kn against the hard limit 44: alarm.
    source: the boat file's limits.
    """
    a = known.aboard
    if a.gust_kn is not None and a.hard_kn is not None and a.gust_kn > a.hard_kn:
        yield Situation(
            key="limit.hard", priority=Priority.ALARM, title="Gust above the hard limit of what is up",
            text="This sail plan must not meet such gusts. See what the orders say can still be done.",
            why=f"gust {a.gust_kn:.0f} kn, hard limit {a.hard_kn:.0f} kn", clears="gusts below the limit for ten minutes, or less up",
            group="limit",
        )  # fmt: skip
    elif a.mean_kn is not None and a.working_kn is not None and a.mean_kn > a.working_kn:
        yield Situation(
            key="limit.working", priority=Priority.WARNING, title="Mean wind above the working limit of what is up",
            text="She should carry less. See what the orders say can still be done.",
            why=f"mean {a.mean_kn:.0f} kn, working limit {a.working_kn:.0f} kn", clears="mean wind below the limit for ten minutes, or less up",
            group="limit",
        )  # fmt: skip


def gusts_rising(known: Known) -> Iterator[Situation]:
    """says: gusts rose by four knots or more in ten minutes, and if they rise on so for ten more they pass the hard limit of what is up.
    why: a squall that no forecast has begins so, and at the limit itself it is late to begin a job.
    example: gusts 28 kn, ten minutes before 23, hard limit 32: 33 if they rise on so: alarm.
    source: gusts-rising-1, judgement: replays of invented storms by this rule and without it.
    """
    a = known.aboard
    if a.gust_kn is None or a.gust_before_kn is None or a.hard_kn is None or a.gust_kn > a.hard_kn:
        return
    coming_kn = rising_on(a.gust_before_kn, a.gust_kn)
    if coming_kn > a.hard_kn and coming_kn > a.gust_kn:
        yield Situation(
            key="limit.rising", priority=Priority.ALARM, title="Gusts are rising fast",
            text="If they rise on so, they are over the hard limit of what is up within ten minutes. See what the orders say can be done now.",
            why=f"gust {a.gust_kn:.0f} kn, ten minutes before {a.gust_before_kn:.0f} kn, hard limit {a.hard_kn:.0f} kn",
            clears="gusts that rise more slowly, or less up", group="limit",
        )  # fmt: skip


def instruments_lost(known: Known) -> Iterator[Situation]:
    """says: position or wind has not been heard for twenty minutes, or a link to the instruments is down.
    why: orders for where she was, or against no wind at all, are guesses.
    example: no position since 18:20: warning.
    source: two ten-minute steps; judgement.
    """
    a = known.aboard
    for what, expected, at in (("position", a.expects_position, a.position_at), ("wind", a.expects_wind, a.wind_at)):
        if expected and (at is None or known.now - at > LOST_AFTER):
            since = "never heard" if at is None else f"last heard {(known.now - at).total_seconds() / 60:.0f} min ago"
            yield Situation(
                key=f"instruments.{what}", priority=Priority.WARNING, title=f"No {what}",
                text=f"The watch does not know her {what}; look at the instrument and its link.", why=since,
                clears=f"{what} heard again", group="instruments",
            )  # fmt: skip
    for link in a.links_down:
        yield Situation(
            key=f"instruments.link.{slug(link.partition(':')[0])[:60]}", priority=Priority.CAUTION, title="A link to the instruments is down", text=link,
            why=link, clears="the link is up again", group="instruments",
        )  # fmt: skip


def glass_falling(known: Known) -> Iterator[Situation]:
    """says: her own glass falls quickly, or very rapidly, in the published words; or it falls farther than forecast.
    why: the glass is the one instrument that sees the low before the wind does; a fall beyond forecast is a low deeper or nearer than planned.
    example: 4.2 hPa down in three hours: caution; 6.4: warning. 4.2 where 1.9 was forecast: caution, 5.5: warning.
    source: glass-1: quickly 3.6 to 6.0 hPa in three hours, very rapidly above. glass-beyond-1: 1.5 and 3.0 hPa beyond, judgement.
    """
    change, beyond = known.aboard.glass_3h_hpa, known.aboard.glass_beyond_hpa
    if change is not None and change <= -3.6:
        rapid = change < -6.0
        yield Situation(
            key="glass.falling", priority=Priority.WARNING if rapid else Priority.CAUTION,
            title=f"The glass is falling {'very rapidly' if rapid else 'quickly'}", text="Look whether the orders still fit the sky.",
            why=f"{-change:.1f} hPa in three hours", clears="a slower fall", group="glass",
        )  # fmt: skip
    if change is not None and beyond is not None and beyond <= -BEYOND_HPA + 1e-9:
        yield Situation(
            key="glass.beyond", priority=Priority.WARNING if beyond <= -FAR_BEYOND_HPA + 1e-9 else Priority.CAUTION, group="glass",
            title="The glass falls beyond forecast", text="The low may be deeper, nearer or sooner than these orders plan for.",
            why=f"{-beyond:.1f} hPa beyond forecast in three hours", clears="a glass as forecast, or a forecast that has it",
        )  # fmt: skip
