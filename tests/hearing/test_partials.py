"""What is told of a sounder's partials, each heard in its own way."""

import pytest

from beepwatch.events import Character
from beepwatch.hearing.finish import Found
from beepwatch.hearing.sounders import Waiting, fundamental


def _heard(onset: float, seconds: float, hertz: float, level: float = -40.0, evidence: float = 500.0) -> Waiting:
    return Waiting(Found(onset, seconds, hertz, level, 0, Character(), evidence, at_start=False), True, 0, 0, ())


def _told(bursts: list[Waiting]) -> list[tuple[float, float, float]]:
    """(onset, length, Hz) of all that is told."""
    found = [fundamental(one, [other for other in bursts if other is not one]) for one in bursts]
    return [(one.onset, one.duration, one.hertz) for one in found if one is not None]


@pytest.mark.parametrize("weaker", [0.0, 9.0, 20.0])
def test_pulses_that_one_partial_has_run_together_are_told_apart(weaker: float) -> None:
    """In a room the second harmonic fills the gaps; the fourth shows the same pulses as the fundamental."""
    pulses = [_heard(4.0 + 0.25 * k, 0.15, 880.0) for k in range(2)]
    fourth = [_heard(4.005 + 0.25 * k, 0.147, 3520.0, -46.0, 300.0) for k in range(2)]
    merged = _heard(4.0, 0.42, 1760.0, -40.0 - weaker, 300.0)
    assert _told([*pulses, *fourth, merged]) == [(4.0, 0.15, 880.0), (4.25, 0.15, 880.0)]


def test_a_fundamental_that_a_null_shortens_gives_its_name_alone() -> None:
    """No other partial ends with it: the room has hidden the rest."""
    assert _told([_heard(4.0, 0.5, 880.0), _heard(4.0, 1.2, 1760.0), _heard(4.01, 1.2, 2640.0)])[0] == (4.0, 1.2, 880.0)
