"""When a routine is due, and when a word is said of it."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.care.household import routines_of
from beepwatch.care.routine import BATTERY, EXIT_SITE, Routine
from beepwatch.care.rules import changed_battery, early, hours_before, known_already, stand, to_remind
from beepwatch.care.words import early_line, line, reminder
from beepwatch.records.entries import CareEvent, CareKind
from beepwatch.settings.model import Settings, decode

MONDAY = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
SITE = Routine(EXIT_SITE, "Exit-site care", days=3, armed=True)
MAIN = Routine(BATTERY, "The change of the main battery", hours=500, hours_a_day=12, ahead=3, armed=True)
SUPPLY = Routine("dressings", "Dressings", days=90, ahead=14, supply=True, armed=True)


def event(routine: Routine, kind: CareKind, at: datetime, **more: datetime | str) -> CareEvent:
    due, reason = more.get("due"), more.get("reason")
    assert due is None or isinstance(due, datetime)
    assert reason is None or isinstance(reason, str)
    return CareEvent(routine.name, kind, at, due=due, reason=reason)


def days(count: float) -> datetime:
    return MONDAY + timedelta(days=count)


def test_the_exit_site_is_due_on_the_third_day() -> None:
    """At whatever hour it was done; until then there is nothing to do."""
    done = [event(SITE, "done", MONDAY)]
    assert [stand(SITE, done, days(day).date()).mark for day in (0, 2, 3, 5)] == ["rest", "rest", "due", "due"]
    assert stand(SITE, done, days(0).date()).due == date(2026, 3, 5)


@pytest.mark.parametrize("reason", ["damp", "dirty"])
def test_a_damp_or_dirty_dressing_is_due_at_once(reason: str) -> None:
    """And no more once it was changed: the rhythm then begins anew."""
    events = [event(SITE, "done", MONDAY), event(SITE, "forecast", days(1), due=days(1), reason=reason)]
    now = stand(SITE, events, days(1).date())
    assert (now.mark, now.why) == ("due", reason)
    assert f"the dressing was {reason}" in line(now)
    after = stand(SITE, [*events, event(SITE, "done", days(1.1))], days(2).date())
    assert (after.mark, after.due) == ("rest", days(4).date())


def test_the_battery_is_forecast_by_its_hours() -> None:
    """500 h at 12 a day are 41.7 days: a word three days ahead, due on that day."""
    done = [event(MAIN, "done", MONDAY)]
    assert stand(MAIN, done, days(0).date()).due == date(2026, 4, 13)
    assert [stand(MAIN, done, days(day).date()).mark for day in (38, 39, 41, 42)] == ["rest", "soon", "soon", "due"]
    assert stand(MAIN, done, days(10).date()).used == 120


def test_without_hours_a_day_there_is_no_forecast() -> None:
    """A day is never invented; it says what to set."""
    bare = Routine(BATTERY, "The battery", hours=500, armed=True)
    unknown = stand(bare, [event(bare, "done", MONDAY)], MONDAY.date())
    assert (unknown.mark, unknown.due) == ("unknown", None)
    assert "settings set care.hours-a-day 12" in line(unknown)


def test_a_supply_is_told_before_it_is_used_up() -> None:
    """90 days with 14 of lead: on the 76th."""
    came = [event(SUPPLY, "done", MONDAY)]
    assert [stand(SUPPLY, came, days(day).date()).mark for day in (75, 76, 90)] == ["rest", "soon", "due"]
    assert "is to be ordered now" in reminder(stand(SUPPLY, came, days(76).date()))


def test_unarmed_nothing_is_told() -> None:
    """However long ago it was done: only the clinic's word arms."""
    bare = Routine(EXIT_SITE, "Exit-site care", days=3)
    late = stand(bare, [event(bare, "done", MONDAY)], days(30).date())
    assert late.mark == "unarmed"
    assert to_remind([late], [], days(30).date()) == []
    assert "Ask your clinic" in line(late)


def reminded(routine: Routine, events: Sequence[CareEvent], until: int) -> list[int]:
    """The days on which a word is said, if each is written down."""
    told: list[CareEvent] = []
    found = []
    for day in range(until):
        today = days(day).date()
        for one in to_remind([stand(routine, [*events, *told], today)], [*events, *told], today):
            told.append(event(one.routine, "reminded", days(day)))
            found.append(day)
    return found


def test_one_word_when_it_comes_near_and_one_a_day_when_it_is_due() -> None:
    """No more: several looks a day say it once."""
    assert reminded(MAIN, [event(MAIN, "done", MONDAY)], 45) == [39, 42, 43, 44]
    assert reminded(SITE, [event(SITE, "done", MONDAY)], 6) == [3, 4, 5]


def test_a_routine_put_off_is_quiet_until_then() -> None:
    """And says why it is due then."""
    events = [event(SITE, "done", MONDAY), event(SITE, "postponed", days(3), due=days(5))]
    assert reminded(SITE, events, 7) == [5, 6]
    assert "it was put off" in line(stand(SITE, events, days(5).date()))


def test_an_alarm_much_before_its_forecast_is_told() -> None:
    """At 120 of 500 h it is; at 480 h it is what was to be expected; of two alarms the first is told."""
    done = [event(MAIN, "done", MONDAY)]
    (one,) = early(MAIN, done, [days(10), days(10.1), days(40)])
    assert (one.at, one.hours) == (days(10), 120)
    assert "about 120 h of use, where about 500 h are set: tell your clinic" in early_line(one)
    assert early(MAIN, done, [days(40)]) == []
    assert early(MAIN, [], [days(10)]) == []
    assert hours_before(MAIN, done, days(2)) == 24


def test_a_change_told_twice_is_one() -> None:
    """For the same alarm, or within the hour; the next battery is another."""
    first = changed_battery(MONDAY, "Anna", 3)
    assert known_already(changed_battery(days(4), None, 3), [first])
    assert known_already(changed_battery(MONDAY + timedelta(minutes=30), None, 4), [first])
    assert not known_already(changed_battery(days(40), None, 5), [first])


@pytest.mark.parametrize(
    ("zone", "before"),
    [("Europe/Berlin", (2026, 3, 28)), ("America/New_York", (2026, 10, 31)), ("Australia/Lord_Howe", (2026, 4, 4))],
)
def test_the_clocks_change_and_three_days_are_three_days(zone: str, before: tuple[int, int, int]) -> None:
    """Done late on the evening before the change, spring and autumn, by an hour or by half: the same calendar day."""
    evening = datetime(*before, 23, 30, tzinfo=ZoneInfo(zone))
    fixed = datetime.fromisoformat(evening.isoformat())  # as the history gives it, with the offset of that evening
    due = stand(SITE, [event(SITE, "done", fixed)], evening.date()).due
    assert due == evening.date() + timedelta(days=3)


kinds: list[CareKind] = ["done", "forecast", "postponed", "reminded", "armed", "disarmed"]


@given(
    st.lists(st.tuples(st.sampled_from(kinds), st.floats(0, 60), st.floats(0, 60)), max_size=12), st.integers(0, 100)
)
def test_any_order_of_entries_gives_the_same(told: list[tuple[CareKind, float, float]], today: int) -> None:
    """It is their time that counts; and what is due has a day not after today."""
    made = [event(SITE, kind, days(at), due=days(due)) for kind, at, due in told]
    made = list({one.at: one for one in made}.values())
    one, other = (stand(SITE, events, days(today).date()) for events in (made, made[::-1]))
    assert one == other
    assert (one.mark == "due") == (one.due is not None and one.due <= days(today).date())


def test_a_household_arms_by_yes_alone() -> None:
    """The defaults are common practice and arm nothing."""
    battery, site = routines_of(Settings())
    assert (battery.hours, site.days, battery.armed, site.armed) == (500, 3, False, False)
    told = decode(
        '[care]\nbattery = "yes"\nhours-a-day = 10\nexit-site = "no"\n[[routine]]\nname = "wash"\ndays = 14\n'
        'clinic = "yes"\n[[routine]]\nname = "tape"\ndays = 30\nlead = 7\n'
    )
    assert [(one.name, one.armed, one.supply) for one in routines_of(told)] == [
        ("battery", True, False), ("exit-site", False, False), ("wash", True, False), ("tape", False, True),
    ]  # fmt: skip
    assert "as your clinic" not in routines_of(told)[2].says
