"""Alarms close together."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from beepwatch.records.rows import LoggedAlarm
from beepwatch.report.clusters import clusters, occasions
from tests.report.test_nights import LEAD, alarm

NIGHT = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)


def alarms(*minutes: float, pattern: str = "lead-disconnect") -> list[LoggedAlarm]:
    return [
        replace(alarm(NIGHT + timedelta(minutes=at)), id=number, state=replace(LEAD, pattern=pattern))
        for number, at in enumerate(minutes, 1)
    ]


@pytest.mark.parametrize(
    ("minutes", "groups"),
    [
        ((0, 4, 9), [3]),
        ((0, 4, 10), [3]),
        ((0, 4, 10.1), []),
        ((0, 9, 18, 27), []),
        ((0, 1, 2, 30, 31, 32), [3, 3]),
        ((0, 8, 9, 10, 11), [4]),
    ],
)
def test_three_within_ten_minutes_of_the_first(minutes: tuple[float, ...], groups: list[int]) -> None:
    """To the minute: ten counts, a little more does not."""
    assert [len(one.alarms) for one in clusters(alarms(*minutes))] == groups


def test_kinds_are_not_mixed() -> None:
    """Two of one and one of another are no cluster."""
    assert clusters([*alarms(0, 4), *alarms(5, pattern="unknown")]) == []


def test_an_occasion_is_a_chain() -> None:
    """Each within ten minutes of the one before; kinds apart."""
    assert occasions(alarms(0, 9, 18, 27)) == 1
    assert occasions(alarms(0, 11, 22)) == 3
    assert occasions([*alarms(0, 1), *alarms(0, 1, pattern="unknown")]) == 2
    assert occasions([]) == 0
