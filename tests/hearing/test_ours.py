"""Our own wake sound is known: when it is in the room, what is its, and what is not."""

import pytest

from beepwatch.events import Beep, Character, Heard, OwnSound, SteadyTone
from beepwatch.hearing.finish import Found
from beepwatch.hearing.ours import LINGERS, Ours

SOUND = OwnSound(520.0, 0.28)


def sounding(since: float = 10.0, until: float | None = None) -> Ours:
    ours = Ours()
    ours.tell(SOUND, since)
    if until is not None:
        ours.tell(None, until)
    return ours


def pulse(onset: float = 12.0, duration: float = 0.29, frequency: float = 520.2) -> Beep:
    return Beep(onset, duration, frequency, -40.0, 20.0, onset + duration + 0.7)


def burst(onset: float, duration: float) -> Found:
    return Found(onset, duration, 2700.0, -40.0, 0, Character(company=-9.0), 900.0, at_start=False)


def test_it_is_there_from_the_order_until_it_has_died_away() -> None:
    """Before it begins and once buffers and room are empty nothing is held for ours; it may sound again later."""
    ours = sounding(10.0, 20.0)
    assert ours.during(5.0, 9.9) is None
    assert ours.during(9.0, 10.1) == SOUND
    assert ours.during(20.0 + LINGERS - 0.1, 30.0) == SOUND
    assert ours.during(20.0 + LINGERS, 30.0) is None
    ours.tell(SOUND, 40.0)
    assert ours.during(41.0, 42.0) == SOUND


@pytest.mark.parametrize("event", [pulse(), pulse(frequency=1560.5), pulse(duration=0.37), pulse(frequency=4679.0)])
def test_its_pulses_are_ours(event: Heard) -> None:
    """At its tone and harmonics, with a room's echo."""
    assert sounding().made(event)


@pytest.mark.parametrize("event", [
    pulse(onset=5.0),
    pulse(frequency=2700.0),
    pulse(frequency=2600.0 * 1.005),
    pulse(duration=0.1),
    pulse(duration=0.19),
    pulse(duration=0.5),
    pulse(frequency=2600.0, duration=1.2),
    SteadyTone(12.0, 520.0, -40.0, 80.0),
])  # fmt: skip
def test_others_are_not(event: Heard) -> None:
    """Not before we sound; not another tone; not a gas alarm's, a smoke alarm's or a breath's length at 520 Hz x n."""
    assert not sounding().made(event)


def test_company_that_may_be_ours_says_nothing_against_a_tone() -> None:
    """A second of steady tone, or the known one, is not doubted for what we sound beside it; short ones are."""
    ours = sounding()
    assert ours.apart(burst(12.0, 1.2), 0.0, known=False).character.company > 0
    assert ours.apart(burst(2.0, 0.5), 10.0, known=True).character.company > 0
    assert ours.apart(burst(12.0, 0.5), 0.0, known=False).character.company == -9.0
    assert ours.apart(burst(2.0, 1.2), 0.0, known=True).character.company == -9.0
