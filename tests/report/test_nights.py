"""Nights from noon to noon, over changes of the clock: lengths are true, and the hours are those of the wall."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from beepwatch.events import Alarm
from beepwatch.records.listened import listened
from beepwatch.records.rows import Gap, LoggedAlarm, Span
from beepwatch.report.nights import Night, Period, nights

NOW = datetime(2027, 1, 1, tzinfo=UTC)
LEAD = Alarm(1, "lead-disconnect", "high", 0.0, 11.5, 90.0, 90.0, 18, 1.2, 5.0, 2730.0, 0.98, "18 beeps")
CHANGES = [
    ("Europe/Berlin", date(2026, 3, 28), 23.0), ("Europe/Berlin", date(2026, 10, 24), 25.0),
    ("America/New_York", date(2026, 3, 7), 23.0), ("America/New_York", date(2026, 10, 31), 25.0),
    ("Australia/Lord_Howe", date(2026, 10, 3), 23.5), ("Australia/Lord_Howe", date(2026, 4, 4), 24.5),
]  # fmt: skip
"""Nights in which the clocks change (tz database): spring and autumn, by an hour and by half of one."""


def wall(zone: str, day: date, hour: float, fold: int = 0) -> datetime:
    naive = datetime.combine(day, datetime.min.time()) + timedelta(hours=hour)
    return naive.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC)


def span(began: datetime, until: datetime, *gaps: Gap, closed: bool = True) -> Span:
    return Span(1, "household", "USB microphone", began, until, 0.0, closed, gaps)


def alarm(began: datetime) -> LoggedAlarm:
    return LoggedAlarm(1, 1, "household", "USB microphone", began, began, None, LEAD, 0.0, 5.0, None)


def seen(period: Period, *spans: Span, alarms: tuple[LoggedAlarm, ...] = ()) -> tuple[Night, ...]:
    return nights(period, listened(spans, period.since, period.until, NOW), alarms)


@pytest.mark.parametrize(("zone", "day", "length"), CHANGES)
def test_a_night_in_which_the_clocks_change(zone: str, day: date, length: float) -> None:
    """Listened from 21 to 7 o'clock: more or less than ten hours by the change; the picture shows 21 and 7."""
    period = Period(day, day, ZoneInfo(zone))
    (one,) = seen(period, span(wall(zone, day, 21), wall(zone, day, 31)))
    assert one.length == length
    assert one.seconds == (10 + length - 24) * 3600
    assert one.heard == ((9.0, 19.0),)
    assert one.holes == ()


@pytest.mark.parametrize(("zone", "day", "length"), CHANGES)
def test_two_months_over_the_change_hold_every_hour_once(zone: str, day: date, length: float) -> None:
    """The nights' lengths add up to the period's, and each moment belongs to one night."""
    period = Period(day - timedelta(days=30), day + timedelta(days=30), ZoneInfo(zone))
    every = seen(period, span(period.since, period.until))
    assert sum(one.seconds for one in every) == (period.until - period.since).total_seconds()
    assert [one.length for one in every if one.length != 24] == [length]
    for hour in range(0, 24 * 61):
        at = period.since + timedelta(hours=hour)
        if at < period.until:
            assert Period(period.day(at), period.day(at), period.zone).since <= at


def test_an_alarm_after_midnight_belongs_to_the_evening_before() -> None:
    """At 2:30 of the 2nd it is in the night of the 1st; at noon a new one begins."""
    zone = "Europe/Berlin"
    first, second = seen(
        Period(date(2026, 3, 1), date(2026, 3, 2), ZoneInfo(zone)),
        span(wall(zone, date(2026, 3, 1), 12), wall(zone, date(2026, 3, 3), 12)),
        alarms=(alarm(wall(zone, date(2026, 3, 2), 2.5)), alarm(wall(zone, date(2026, 3, 2), 12))),
    )
    assert [(one.marks[0].begin, len(one.marks)) for one in (first, second)] == [(14.5, 1), (0.0, 1)]


def test_the_hour_that_comes_twice_is_on_the_wall_twice() -> None:
    """Two alarms an hour apart in the autumn night stand at the same hour of the picture; both are counted."""
    zone, day = "Europe/Berlin", date(2026, 10, 24)
    period = Period(day, day, ZoneInfo(zone))
    alarms = tuple(alarm(wall(zone, day, 26.5, fold)) for fold in (0, 1))
    assert alarms[1].began - alarms[0].began == timedelta(hours=1)
    (one,) = seen(period, span(wall(zone, day, 21), wall(zone, day, 31)), alarms=alarms)
    assert [mark.begin for mark in one.marks] == [14.5, 14.5]


def hour(count: float) -> datetime:
    return datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=count)


DAY = Period(date(2026, 3, 1), date(2026, 3, 1), UTC)


def test_a_lost_microphone_is_a_hole_and_the_day_is_none() -> None:
    """Nobody listens before the evening or after the family got up: that is no gap of the night."""
    (one,) = seen(DAY, span(hour(21), hour(31), Gap(hour(27), hour(27.5), "no sound came")))
    assert [(hole.seconds, hole.reason) for hole in one.holes] == [(1800, "no sound came")]
    assert one.seconds == 9.5 * 3600


def test_ended_and_begun_again_in_one_night_is_a_hole() -> None:
    """With its reason."""
    (one,) = seen(DAY, span(hour(21), hour(23)), span(hour(24), hour(31)))
    assert [(hole.seconds, hole.reason) for hole in one.holes] == [(3600, "beepwatch was not running")]


def test_a_crash_is_a_hole_to_the_nights_end() -> None:
    """Nobody ended it: from there on nothing was heard, and that is told."""
    (one,) = seen(DAY, span(hour(21), hour(26), closed=False), span(hour(60), hour(61)))
    (hole,) = one.holes
    assert (hole.began, hole.seconds) == (hour(26), 10 * 3600)
    assert "crash" in hole.reason


def test_a_planned_pause_is_counted_apart() -> None:
    """It is neither heard nor a hole."""
    (one,) = seen(DAY, span(hour(21), hour(31), Gap(hour(22), hour(22.5), "paused on purpose: bath", "bath")))
    assert (one.paused, one.holes, one.pauses) == (1800, (), ((10.0, 10.5),))


def test_a_period_that_is_not_over_ends_now() -> None:
    """The nights to come are not told as unheard."""
    period = Period(date(2026, 3, 1), date(2026, 3, 10), UTC)
    told = listened([span(hour(21), hour(26))], period.since, hour(26), hour(26))
    assert len(nights(period, told, [])) == 1
