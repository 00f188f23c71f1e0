"""A harmonic shows where a beep begins and ends whose fundamental a null of the room hides there."""

import numpy as np
import pytest

from beepwatch.synthesis import Tone
from tests.hearing.rooms import row_in_room
from tests.hearing.scenes import Floats, add, background, beeps, hear, level, matched

HERTZ = 2900.0


def _scene(fundamental: tuple[float, float], seed: int) -> Floats:
    """A second harmonic from 4 to 5.2 s, above all tones that are looked for, and the fundamental for a part of it."""
    begin, end = fundamental
    tones = [Tone(begin, end - begin, HERTZ, level(-8)), Tone(4, 1.2, 2 * HERTZ, level(-14))]
    return add(background(9, seed), tones)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("fundamental", [(4.0, 4.5), (4.0, 4.8), (4.4, 5.2)])
def test_a_beep_lasts_as_long_as_its_harmonic(fundamental: tuple[float, float], seed: int) -> None:
    [beep] = beeps(hear(_scene(fundamental, seed)))
    assert (beep.onset, beep.end) == pytest.approx((4.0, 5.2), abs=0.06)
    assert beep.frequency == pytest.approx(HERTZ, rel=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_beside_other_tones_it_is_not_asked(seed: int) -> None:
    """There it may be a note of its own: two others of a chord go on, within a third of an octave."""
    chord = [Tone(3.5, 3, HERTZ + beside, level(-6)) for beside in (150, 280)]
    tones = [Tone(4, 0.5, HERTZ, level(6)), Tone(4, 1.2, 2 * HERTZ, level(0)), *chord]
    told = [one for one in beeps(hear(add(background(9, seed), tones))) if abs(one.frequency - HERTZ) < 20]
    assert [one.duration for one in told] == pytest.approx([0.5], abs=0.06)


@pytest.mark.parametrize("seed", range(3))
def test_what_was_not_there_with_it_is_no_harmonic(seed: int) -> None:
    """A tone at twice its frequency that begins as it ends."""
    tones = [Tone(4, 0.5, HERTZ, level(-8)), Tone(4.5, 0.7, 2 * HERTZ, level(-14))]
    [beep] = beeps(hear(add(background(9, seed), tones)))
    assert (beep.onset, beep.duration) == pytest.approx((4.0, 0.5), abs=0.03)


@pytest.mark.parametrize("snr", [0.0, 20.0])
@pytest.mark.parametrize("seed", [44, 45, 46])
def test_the_tail_of_a_harmonic_is_no_part_of_a_beep(seed: int, snr: float) -> None:
    """In furnished rooms, with harmonics: no beep is told to last on."""
    samples, tones = row_in_room(seed, 6, 0.8, pause=2.0, snr=snr)
    found = matched(beeps(hear(samples)), tones)
    assert len(found) == len(tones)
    assert float(np.median([beep.duration for beep, _ in found])) == pytest.approx(0.8, abs=0.03)
    assert max(beep.duration for beep, _ in found) < 0.95


def test_a_beep_at_the_very_start_is_told() -> None:
    """There is no sound before it in which a harmonic could be looked for."""
    tones = [Tone(0.3, 1.2, HERTZ, level(0)), Tone(0.3, 1.2, 2 * HERTZ, level(-6))]
    [beep] = beeps(hear(add(background(6, 5), tones)))
    assert (beep.onset, beep.duration) == pytest.approx((0.3, 1.2), abs=0.03)
