"""The fit of loud bursts."""

import numpy as np
import pytest
from numpy.typing import NDArray

from beepwatch.hearing.baseband import STEP_NOISE, STEP_SECONDS
from beepwatch.hearing.drift import Envelope
from beepwatch.hearing.fit import fit_burst
from beepwatch.hearing.switched import switched


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


def fitted(loudness: NDArray[np.float64], about: tuple[float, float]) -> tuple[float, float]:
    """Steps at which a loud burst of so much amplitude, step by step, is told to begin and end."""
    rng, n = np.random.default_rng(98), len(loudness)
    z = np.sqrt(100.0) * loudness
    z = z + np.sqrt(STEP_NOISE / 2) * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    part = Envelope(z[None], np.ones((1, n)), 0, 2700.0)
    return switched(part, fit_burst(part, *about), about, 0)


@pytest.mark.parametrize("faded", [0.33, 0.4])
@pytest.mark.parametrize("hidden", [40, 60])
def test_a_loud_tone_begins_where_it_is_switched_on_faded_by_a_null(faded: float, hidden: int) -> None:
    """8 and 10 dB down for 0.16 and 0.24 s: before an onset no room rings."""
    loudness = np.zeros(700)
    loudness[150:450] = 1.0
    loudness[150 : 150 + hidden] = faded
    assert fitted(loudness, (145.0, 450.0)) == pytest.approx((150, 450), abs=4)


def test_a_note_that_swells_from_nothing_begins_at_half_of_its_amplitude() -> None:
    """Over 0.4 s: nothing was switched on there."""
    loudness = np.zeros(700)
    loudness[200:450] = 1.0
    loudness[100:200] = np.linspace(0, 1, 100)
    begin, _ = fitted(loudness, (110.0, 450.0))
    assert begin == pytest.approx(150, abs=12)


@pytest.mark.parametrize("faded", [0.3, 0.36])
def test_a_loud_tone_that_a_null_takes_down_ends_where_it_is_switched_off(faded: float) -> None:
    """9 and 10 dB down in its last 0.4 s, to which it falls slowly."""
    loudness = np.zeros(700)
    loudness[150:450] = np.interp(np.arange(150, 450), [150, 320, 350, 450], [1, 1, faded, faded])
    assert fitted(loudness, (150.0, 450.0)) == pytest.approx((150, 450), abs=4)


@pytest.mark.parametrize("t60", [0.3, 0.7])
def test_the_tail_of_a_room_is_no_tone_that_goes_on(t60: float) -> None:
    """Its track went on for 0.4 s."""
    loudness = np.zeros(900)
    loudness[150:350] = 1.0
    loudness[350:] = 10 ** (-3 * np.arange(550) * STEP_SECONDS / t60)
    begin, end = fitted(loudness, (150.0, 450.0))
    assert begin == pytest.approx(150, abs=4)
    assert 350 <= end <= 350 + 0.11 * t60 / STEP_SECONDS + 3
