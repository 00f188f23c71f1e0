"""A harmonic shows where a beep begins and ends whose fundamental a null of the room hides there."""

from collections.abc import Iterator
from typing import cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.hearing.baseband import STEP_NOISE
from beepwatch.hearing.burst import Burst
from beepwatch.hearing.carried import carried
from beepwatch.hearing.drift import Envelope, still
from beepwatch.hearing.nulls import ORDERS, Harmonics
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


class _Made:
    """Harmonics of chance: noise of any level, with loud spells."""

    since = 0

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)

    def envelopes(self, whole: Envelope, first: int | None = None) -> Iterator[Envelope]:
        rng, begin = self._rng, whole.first if first is None else first
        shape = (len(whole.z), whole.first + whole.z.shape[1] - begin)
        for order in ORDERS:
            weight = np.full(shape, np.exp(rng.normal(0, 3)))
            loud = np.zeros(shape[1])
            for a, b in np.sort(rng.integers(0, shape[1] + 1, (3, 2)), axis=1):
                loud[a:b] = 10 ** rng.uniform(-2, 3)
            noise = (rng.normal(size=shape) + 1j * rng.normal(size=shape)) * np.sqrt(STEP_NOISE / 2 / weight)
            yield Envelope(noise + loud, weight, begin, order * HERTZ)


@given(st.integers(0, 1 << 32), st.integers(60, 900), st.integers(2, 500), st.tuples(st.floats(0, 1), st.floats(0, 1)))
def test_whatever_the_harmonics_are_edges_stay_in_the_sound(
    seed: int, n: int, first: int, places: tuple[float, float]
) -> None:
    """Nothing fails, and the beep never gets shorter."""
    begin, end = (first + n * place for place in sorted(places))
    whole = Envelope(np.zeros((1 + seed % 2, n), np.complex128), np.ones((1 + seed % 2, n)), first, HERTZ)
    a, b = carried(whole, cast("Harmonics", _Made(seed)), Burst(begin, end, still(whole), 50.0, 1))
    assert 0 <= a <= begin
    assert end <= b <= first + n
