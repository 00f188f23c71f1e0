"""Where a long tone begins and ends whose track took in noise beside it."""

import numpy as np
import pytest
from numpy.typing import NDArray

from beepwatch.hearing.baseband import STEP_NOISE, STEP_SECONDS
from beepwatch.hearing.burst import Burst
from beepwatch.hearing.drift import Envelope
from beepwatch.hearing.fit import fit_burst


def fitted(seed: int, sounds: NDArray[np.float64], about: tuple[float, float], step: float = 1.4) -> Burst:
    """A tone of `step` energy a step, where it `sounds`, fitted from its edges as its track had them."""
    rng, n = np.random.default_rng([101, seed]), len(sounds)
    z = np.sqrt(step) * sounds + np.sqrt(STEP_NOISE / 2) * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    return fit_burst(Envelope(z[None], np.ones((1, n)), 0, 2700.0), *about)


@pytest.mark.parametrize("early", [0.0, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("late", [0.0, 0.6])
def test_noise_that_a_track_took_in_is_no_part_of_a_battery_tone(early: float, late: float) -> None:
    """At -14 dB, most times: noise that looks like the tone for 0.2 s may follow it by chance."""
    sounds = np.zeros(3500)
    sounds[400:2900] = 1.0
    about = (400 - early / STEP_SECONDS, 2900 + late / STEP_SECONDS)
    bursts = [fitted(seed, sounds, about) for seed in range(20)]
    assert sum(abs(one.begin - 400) < 25 and abs(one.end - 2900) < 25 for one in bursts) >= 16


def test_a_tone_that_a_null_hides_for_a_second_is_not_cut_there() -> None:
    """What sounded before the null belongs to it, however its first 2 s add up."""
    sounds = np.ones(3500)
    sounds[:400] = sounds[2900:] = 0.0
    sounds[520:770] = 0.1
    bursts = [fitted(seed, sounds, (400.0, 2900.0)) for seed in range(20)]
    assert all(abs(one.begin - 400) < 25 for one in bursts)
