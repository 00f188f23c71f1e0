"""Notes that come and go in the bins of a long tone must not take it away: nothing else tells of a battery."""

from collections.abc import Sequence

import pytest

from beepwatch.events import Beep
from beepwatch.synthesis import Tone
from tests.hearing.scenes import add, background, beeps, found, hear, level


def _heard(tone: Tone, notes: Sequence[Tone]) -> Beep | None:
    return found(beeps(hear(add(background(40, 3), [tone, *notes]))), tone)


@pytest.mark.parametrize("snr", [-14.0, -8.0, -2.0])
def test_a_tone_that_begins_in_the_bins_of_two_weaker_notes(snr: float) -> None:
    """They lie 50 Hz apart, so the lower is heard in a narrow band, in which a tone 38 Hz below it is not."""
    notes = [Tone(6.5, 0.9, 2227, level(snr)), Tone(7.5, 0.5, 2227, level(snr)), Tone(6, 2.5, 2277, level(snr - 4))]
    assert _heard(Tone(8, 20.0, 2189, level(25)), notes)


@pytest.mark.parametrize("weaker", [18.0, 22.0])
@pytest.mark.parametrize("louder", [1990.0, 2085.0])
def test_notes_that_follow_in_its_bins(weaker: float, louder: float) -> None:
    """A weak one just after its end seems to be its return; a louder one then ends that, but not what was before."""
    notes = [Tone(25.15, 1.6, 2045, level(4 - weaker)), Tone(26.65, 1.5, louder, level(24 - weaker))]
    assert _heard(Tone(5, 20.0, 2052, level(4)), notes)


def test_a_weak_note_at_a_third_of_it() -> None:
    """It begins with the tone and ends long before: clear as it is, it is no fundamental of it."""
    assert _heard(Tone(5, 10.0, 1972.5, level(10)), [Tone(5.1, 2.5, 657.5, level(-5))])
