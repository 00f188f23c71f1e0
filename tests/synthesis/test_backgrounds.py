"""Backgrounds against independent routines: scipy's Welch spectrum, and plain sums of squares."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from beepwatch.errors import InputError
from beepwatch.synthesis import band_power, noise, repeated
from beepwatch.synthesis.backgrounds import BLADES, HUM_SHARE, stream

KINDS = ["white", "pink", "fan", "breathing"]
MINUTE = 60


def spectrum(samples: NDArray[np.float32], rate: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies and power density by scipy.signal.welch (Welch 1967), 1 Hz apart."""
    f, density = signal.welch(samples.astype(np.float64), fs=rate, nperseg=rate)
    return f, density


@pytest.mark.parametrize(("kind", "slope"), [("white", 0.0), ("pink", -10 * np.log10(2))])
@pytest.mark.parametrize("rate", [8_000, 16_000, 48_000])
def test_colours_fall_by_their_slope(kind: str, slope: float, rate: int) -> None:
    """White is flat and pink falls 3.01 dB an octave (1/f by definition), to 0.1 dB an octave by Welch."""
    f, density = spectrum(noise(kind, 2 * MINUTE * rate, np.random.default_rng(1), rate), rate)
    part = (f >= 40) & (f <= 0.45 * rate)
    measured = np.polyfit(np.log2(f[part]), 10 * np.log10(density[part]), 1, w=1 / np.sqrt(f[part]))[0]
    assert measured == pytest.approx(slope, abs=0.1)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100])
def test_each_kind_has_unit_power_to_8_khz(kind: str, rate: int) -> None:
    """The integral of Welch's density to 8 kHz is 1 within 0.15 dB, whatever lies above."""
    samples = noise(kind, MINUTE * rate, np.random.default_rng(2), rate)
    f, density = spectrum(samples, rate)
    power = float(np.sum(density[f <= 8000]) * (f[1] - f[0]))
    assert 10 * np.log10(power) == pytest.approx(0, abs=0.15)
    assert band_power(samples, rate) == pytest.approx(power, rel=0.01)


def test_band_power_is_the_plain_mean_square_where_all_is_in_band() -> None:
    """At 16 kHz all of a sound lies in 0-8 kHz: Parseval's sum equals the sum over samples."""
    samples = np.random.default_rng(3).standard_normal(100_001).astype(np.float32)
    assert band_power(samples, 16_000) == pytest.approx(float(np.mean(samples.astype(float) ** 2)), rel=1e-9)


def test_noise_starts_in_full() -> None:
    """No fade-in: the first tenth of a second is as loud as the rest, on average over 200 seeds."""
    starts = [noise("pink", 1600, np.random.default_rng(seed)) for seed in range(200)]
    assert float(np.mean(np.square(starts))) == pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("kind", KINDS)
def test_a_longer_stretch_begins_with_the_shorter(kind: str) -> None:
    """The same seed gives the same samples, however many are asked for; another seed gives others."""
    long, short = (noise(kind, n, np.random.default_rng(4)) for n in (40_000, 17))
    assert long.dtype == np.float32
    assert np.array_equal(long[:17], short)
    assert not np.array_equal(noise(kind, 17, np.random.default_rng(5)), short)
    assert noise(kind, 0, np.random.default_rng(4)).shape == (0,)


def test_the_fan_hums_at_its_blades() -> None:
    """Welch finds lines at the blade tones that hold the stated share of the power."""
    f, density = spectrum(noise("fan", MINUTE * 16_000, np.random.default_rng(6)), 16_000)
    air = signal.medfilt(density, 31)
    lines = sum(float(np.sum((density - air)[np.abs(f - blade) <= 2])) for blade in BLADES)
    assert lines == pytest.approx(HUM_SHARE, rel=0.05)


def test_the_hiss_swells_with_each_breath() -> None:
    """Folded on the breath, the loudest tenth lies 12 dB over the quietest, and the mean power is 1."""
    pieces = stream("breathing", 16_000, 16_000, np.random.default_rng(7), breath=4.0, swell=12.0)
    sound = np.concatenate([next(pieces) for _ in range(400)])
    tenths = np.mean(sound.reshape(100, 40, 1600) ** 2, axis=(0, 2))
    assert 10 * np.log10(tenths.max() / tenths.min()) == pytest.approx(12, abs=0.4)
    assert float(tenths.mean()) == pytest.approx(1, rel=0.02)


def test_a_recording_goes_round_without_a_seam() -> None:
    """Blocks longer than the recording repeat it; its power in the band becomes 1."""
    recorded = np.array([1, 2, 3], np.float32)
    pieces = repeated(recorded, 16_000, 4)
    sound = np.concatenate([next(pieces) for _ in range(3)])
    assert np.allclose(sound * np.sqrt(np.mean(recorded**2)), [1, 2, 3] * 4)


@pytest.mark.parametrize("recorded", [np.zeros(0, np.float32), np.zeros(9, np.float32)])
def test_an_empty_or_silent_recording_is_refused(recorded: NDArray[np.float32]) -> None:
    """It has no level that could be set."""
    with pytest.raises(InputError, match="empty or silent"):
        repeated(recorded, 16_000, 4)


def test_an_unknown_noise_is_refused() -> None:
    """The message names the kinds there are."""
    with pytest.raises(InputError, match="no noise 'brown'; there are white, pink"):
        noise("brown", 10, np.random.default_rng(0))
