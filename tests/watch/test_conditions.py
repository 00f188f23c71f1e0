"""The conditions beside deafness: told after their time, over after theirs."""

import pytest

from beepwatch.hearing.technical import TABLE, Cause
from beepwatch.watch.conditions import Conditions

LASTING: list[Cause] = [row.cause for row in TABLE if row.level != "high"]


def steps(conditions: Conditions, now: float) -> list[str]:
    return [word.step for word in conditions.look(now)]


@pytest.mark.parametrize("cause", LASTING)
def test_each_is_told_after_its_time_and_not_before(cause: Cause) -> None:
    """Reported again and again, it is told once, and over once it is away for long enough."""
    row = next(row for row in TABLE if row.cause == cause)
    conditions = Conditions()
    told = []
    for now in range(700):
        conditions.report(cause, True, float(now))
        told += [now for step in steps(conditions, float(now)) if step == "told"]
    assert told == [row.seconds]
    assert conditions.holds(cause)
    conditions.report(cause, False, 700.0)
    over = next(now for now in range(700, 900) if steps(conditions, float(now)) == ["over"])
    assert over == pytest.approx(max(700.0, 699.0 + row.clears), abs=1)
    assert not conditions.holds(cause)


def test_what_is_over_before_its_time_is_never_told() -> None:
    """A short power cut."""
    conditions = Conditions()
    conditions.report("mains-lost", True, 0.0)
    assert steps(conditions, 59.0) == []
    conditions.report("mains-lost", False, 59.5)
    assert steps(conditions, 59.5) == []
    assert steps(conditions, 100.0) == []


def test_what_happens_once_is_told_at_once_and_over_by_itself() -> None:
    """The clock was set; again within the minute is one alarm."""
    conditions = Conditions()
    conditions.happened("clock-set", 10.0, "by +3600 s")
    (word,) = conditions.look(10.0)
    assert (word.step, word.detail) == ("told", "by +3600 s")
    conditions.happened("clock-set", 40.0)
    assert steps(conditions, 75.0) == []
    assert steps(conditions, 100.0) == ["over"]


def test_a_margin_that_flickers_is_still_low() -> None:
    """A good figure now and then does not begin the five minutes anew."""
    conditions = Conditions()
    told: list[str] = []
    for now in range(0, 320, 2):
        conditions.report("margin-low", now % 40 != 0, float(now))
        told += steps(conditions, float(now))
    assert told == ["told"]
