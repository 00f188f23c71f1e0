"""Nights of beeps through the real patterns into the ladder: what a family would hear, hour by hour, in no time."""

from collections.abc import Iterable

import pytest

from beepwatch.events import AlarmEvent, Beep
from beepwatch.patterns import Matcher
from beepwatch.waking.actions import Action, Note, Remind
from beepwatch.waking.escalation import Escalation
from beepwatch.waking.ladder import ON_DUTY, SECOND, Duty, Ladder, Step
from beepwatch.waking.messages import Messages
from tests.patterns.simulated import beep, breaths

TONE = 2730.0
LADDER = Ladder((Step(0.0, ON_DUTY, ("speaker",)), Step(120.0, SECOND, ("speaker",))))


def told(beeps: Iterable[Beep], until: float) -> list[tuple[float, AlarmEvent]]:
    """What the patterns say of these beeps, each second until `until`."""
    matcher, said = Matcher(TONE), list[tuple[float, AlarmEvent]]()
    waiting = sorted(beeps, key=lambda one: one.known)
    for second in range(int(until)):
        while waiting and waiting[0].known <= second:
            said += [(float(second), event) for event in matcher.hear(waiting.pop(0))]
        said += [(float(second), event) for event in matcher.tick(float(second))]
    return said


def night(
    beeps: Iterable[Beep], until: float, *, answers: Iterable[float] = (), changed: float | None = None
) -> list[tuple[float, Action]]:
    """Every action of the ladder, with its second; answers, changed: when a person says so."""
    core = Escalation(Messages("Anna", "Sam"), LADDER, lambda now: Duty("Anna", "Ben"))
    said, going, done = told(beeps, until), set(answers), list[tuple[float, Action]]()
    for second in range(int(until)):
        now = float(second)
        actions = core.tick(now)
        while said and said[0][0] == now:
            actions += core.hear(said.pop(0)[1], now)
        actions += core.acknowledge(now) if now in going else []
        actions += core.changed(now) if now == changed else []
        done += [(now, action) for action in actions]
    return done


def notes(done: list[tuple[float, Action]], kind: str) -> list[float]:
    """When a note of this kind was made."""
    return [now for now, action in done if isinstance(action, Note) and action.kind == kind]


def test_a_backup_battery_reminds_each_hour_until_it_is_changed() -> None:
    """A beep of 10 s each hour: one alarm, answered; then one short reminder an hour; "changed" ends them."""
    beeps = [beep(600.0 + 3600.0 * hour, 10.0) for hour in range(6)]
    done = night(beeps, 22_000.0, answers=[700.0], changed=13_000.0)
    assert len(notes(done, "woken")) >= 1
    reminders = [now for now, action in done if isinstance(action, Remind)]
    assert reminders == pytest.approx([4211.0, 7811.0, 11_411.0], abs=3.0)
    later = [now for now in notes(done, "again") if now > 13_000.0]
    assert later == pytest.approx([15_011.0], abs=3.0)  # it beeps an hour after "changed": it was not changed well


def test_a_lead_that_is_off_still_90_s_after_the_answer_calls_the_other_one() -> None:
    """Beeps at each breath go on; Anna answers after 20 s and falls asleep again: Ben is called."""
    done = night(breaths(60, 5.0, 1.2, 100.0), 420.0, answers=[130.0])
    (again,) = notes(done, "again")
    assert again == pytest.approx(130.0 + 90.0, abs=6.0)


def test_a_lead_that_is_mended_in_time_wakes_nobody_again() -> None:
    """The beeps end 40 s after the answer."""
    done = night(breaths(14, 5.0, 1.2, 100.0), 600.0, answers=[130.0])
    assert notes(done, "again") == []
    assert len(notes(done, "woken")) == 1


def test_a_critical_battery_is_called_again_with_its_first_beep_after_90_s() -> None:
    """20 s each minute: the next beep after that time, no later than a minute on."""
    beeps = [beep(100.0 + 60.0 * minute, 20.0) for minute in range(6)]
    done = night(beeps, 500.0, answers=[200.0])
    (again, *_) = notes(done, "again")
    assert 290.0 <= again <= 352.0
