"""The noise floor: A-weighting after the published table, bands against known noise."""

import numpy as np
import pytest

from beepwatch.bedroom.bands import a_weighting_db, noise_floor, spectra
from beepwatch.synthesis import noise

TABLE = {
    10: -70.4, 12.5: -63.4, 16: -56.7, 20: -50.5, 25: -44.7, 31.5: -39.4, 40: -34.6, 50: -30.2, 63: -26.2, 80: -22.5,
    100: -19.1, 125: -16.1, 160: -13.4, 200: -10.9, 250: -8.6, 315: -6.6, 400: -4.8, 500: -3.2, 630: -1.9, 800: -0.8,
    1000: 0.0, 1250: 0.6, 1600: 1.0, 2000: 1.2, 2500: 1.3, 3150: 1.2, 4000: 1.0, 5000: 0.5, 6300: -0.1, 8000: -1.1,
    10000: -2.5, 12500: -4.3, 16000: -6.6, 20000: -9.3,
}  # fmt: skip
"""dB by nominal third octave: IEC 61672-1, as handbooks and open texts quote it."""


@pytest.mark.parametrize(("nominal", "decibels"), TABLE.items())
def test_a_weighting_is_that_of_the_published_table(nominal: float, decibels: float) -> None:
    """At the exact middles 1000 x 10^(n/10) every row comes out to the last digit of the table."""
    exact = 1000 * 10 ** (round(10 * np.log10(nominal / 1000)) / 10)
    assert float(a_weighting_db(exact)) == pytest.approx(decibels, abs=0.051)


@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000])
def test_bands_of_white_noise_hold_their_share(rate: int) -> None:
    """Noise of -40 dBFS to half the rate: each octave has its width's part of it, within 0.7 dB."""
    rng = np.random.default_rng(1)
    samples = (rng.standard_normal(20 * rate) * 10 ** (-43.01 / 20)).astype(np.float32)
    for low, high, level in noise_floor(samples, rate).bands:
        assert level == pytest.approx(-40 + 10 * np.log10((high - low) / (rate / 2)), abs=0.7)


def test_a_full_scale_sine_is_0_dbfs() -> None:
    """Levels are re a full-scale sine (AES17, from memory); at 1 kHz the weighting changes nothing."""
    sine = np.sin(2 * np.pi * 1000 * np.arange(5 * 16_000) / 16_000)
    assert noise_floor(sine, 16_000).weighted == pytest.approx(0, abs=0.05)
    assert 10 * np.log10(spectra(sine, 16_000)[1].sum(axis=1).mean()) == pytest.approx(0, abs=0.01)


def test_a_cough_does_not_raise_the_floor() -> None:
    """A loud second in a minute moves the median by less than 0.2 dB."""
    quiet = noise("pink", 30 * 16_000, np.random.default_rng(2)) * 1e-3
    loud = quiet.copy()
    loud[160_000:176_000] *= 100
    assert noise_floor(loud, 16_000).weighted == pytest.approx(noise_floor(quiet, 16_000).weighted, abs=0.2)


@pytest.mark.parametrize("length", [0, 1, 100, 5000])
def test_short_sound_gives_a_floor_too(length: int) -> None:
    """Nothing, one sample, less than a frame: finite figures."""
    assert np.isfinite(noise_floor(np.zeros(length, np.float32), 16_000).weighted)
