"""The fit of loud bursts."""

import numpy as np
import pytest

from beepwatch.hearing.baseband import STEP_NOISE, STEP_SECONDS
from beepwatch.hearing.drift import Envelope
from beepwatch.hearing.fit import fit_burst


@pytest.mark.parametrize("seconds", [1.2, 10.0, 20.0])
@pytest.mark.parametrize("wander", [0.0, 0.2, 0.5])
def test_the_energy_of_a_loud_tone_is_gathered_however_long_it_is(seconds: float, wander: float) -> None:
    """Its phase wanders, by up to 0.5 Hz: over 20 s that makes 1 to 2 turns, which added up at once come to nothing."""
    rng, n, step = np.random.default_rng(97), round(seconds / STEP_SECONDS), 40.0
    time = np.arange(n + 300) * STEP_SECONDS
    phase = wander * 7 * np.sin(2 * np.pi * time / 7) + wander * 3 * np.sin(2 * np.pi * time / 2.9)
    z = np.sqrt(step) * np.exp(1j * phase) * ((time >= 0.6) & (time < 0.6 + seconds))
    z += np.sqrt(STEP_NOISE / 2) * (rng.standard_normal(len(z)) + 1j * rng.standard_normal(len(z)))
    burst = fit_burst(Envelope(z[None], np.ones((1, len(z))), 0, 2700.0), 150.0, 150.0 + n)
    assert (burst.begin, burst.end) == pytest.approx((150, 150 + n), abs=3)
    assert burst.energy > 0.6 * step * n
