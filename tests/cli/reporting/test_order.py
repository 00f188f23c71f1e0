"""Lines come in the order in which each became known, an alarm once and where it was raised."""

from collections.abc import Iterable
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from beepwatch.cli.reporting.order import InOrder, Known
from beepwatch.events import Alarm, Beep, Changed, Ended, Event, Noise, Raised, Sounding
from tests.cli.reporting.made_up import BATTERY, HUM, LEAD, beep, night


def told(events: Iterable[Event]) -> list[Known]:
    """All that comes out, to the end."""
    order = InOrder()
    return [*order.hear(events), *order.end()]


def test_the_night_is_told_in_order_of_time_known() -> None:
    """Three beeps, the alarm as it ended, beeps, the alarm that went on, the hum."""
    lead = replace(LEAD, beeps=4, last=26.2, ended=26.2)
    first = [beep(10.0), beep(15.0), beep(20.0)]
    # the long beep and the alarm it raises become known at the same time: the beep came first
    assert told(night()) == [*first, lead, beep(25.0), beep(40.0, 20.0), BATTERY, HUM]


def test_beeps_wait_only_while_an_alarm_is_open() -> None:
    """Before it is raised a beep is told at once; after it, when the alarm ends."""
    order = InOrder()
    assert list(order.hear([beep(10.0)])) == [beep(10.0)]
    assert not list(order.hear([Raised(21.5, LEAD), beep(25.0)]))
    ended = replace(LEAD, ended=21.2)
    assert list(order.hear([Ended(60.0, ended)])) == [ended, beep(25.0)]
    assert not list(order.end())


def test_an_alarm_that_ends_behind_an_open_one_waits_for_it() -> None:
    """Two at once: the order is that of raising, not of ending."""
    order = InOrder()
    ended = replace(BATTERY, ended=60.0)
    assert not list(order.hear([Raised(21.5, LEAD), Raised(60.3, BATTERY), Ended(100.0, ended)]))
    assert list(order.end()) == [LEAD, ended]


def test_a_new_name_is_the_one_told() -> None:
    """An alarm that was renamed has one line, with its last name."""
    fire = replace(LEAD, pattern="fire")
    assert told([Raised(21.5, LEAD), Changed(30.0, fire, "lead-disconnect")]) == [fire]


def test_what_is_no_record_is_left_out() -> None:
    """Reports of a beep under way and of the room's noise make no line."""
    assert not told([Noise(2.0, ((8000.0, -66.0),)), Sounding(1.0, 1.0, 2730.0, -60.0, 3.0, 2.0)])


STEPS = st.tuples(st.sampled_from(["beep", "raise", "change", "end"]), st.integers(0, 3))


@given(st.lists(STEPS, max_size=60))
def test_nothing_is_lost_doubled_or_out_of_order(steps: list[tuple[str, int]]) -> None:
    """Whatever beeps and alarms come, each is told once, by time known, alarms in their last state."""
    events: list[Event] = []
    latest: dict[int, Alarm] = {}
    running: set[int] = set()
    for at, (what, number) in enumerate(steps):
        alarm = replace(LEAD, number=number, raised=float(at), beeps=at)
        if what == "beep":
            events.append(replace(beep(0.0), known=float(at)))
        elif what == "raise" and number not in latest:
            events.append(Raised(float(at), alarm))
            latest[number] = alarm
            running.add(number)
        elif number in running and what in ("change", "end"):
            latest[number] = replace(alarm, raised=latest[number].raised, ended=at if what == "end" else None)
            events.append((Changed if what == "change" else Ended)(float(at), latest[number]))
            running -= {number} if what == "end" else set()
    order = InOrder()
    lines = [line for event in events for line in order.hear([event])] + list(order.end())
    times = [line.raised if isinstance(line, Alarm) else line.known for line in lines]
    assert times == sorted(times)
    assert [line for line in lines if isinstance(line, Beep)] == [e for e in events if isinstance(e, Beep)]
    assert {line.number: line for line in lines if isinstance(line, Alarm)} == latest
