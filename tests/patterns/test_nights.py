"""The simulated nights of tests/bench/nights.py can be simulated, and tell of their alarms."""

import pytest

from tests.bench.nights import simulate


@pytest.mark.parametrize("taught", [False, True])
def test_some_nights_with_an_alarm_each(taught: bool) -> None:
    """At 10 dB all of twenty alarms are named, the evening's talk, music and telephones notwithstanding."""
    told = simulate(20, 5, 10, alarms=1.0, taught=taught)
    assert (told.nights, told.alarms) == (20, 20)
    assert sum(told.missed.values()) == 0
    assert sum(told.false.values()) == 0
