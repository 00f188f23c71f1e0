"""The room against Schroeder's backward integration (J. Acoust. Soc. Am. 37, 1965: from memory)."""

import numpy as np
import pytest
from scipy.signal import fftconvolve

from beepwatch.synthesis import response
from beepwatch.synthesis.convolution import Convolver
from beepwatch.synthesis.room import gain_at


@pytest.mark.parametrize("t60", [0.25, 0.4, 0.7, 1.5])
@pytest.mark.parametrize("rate", [8_000, 16_000, 48_000])
def test_t60_by_backward_integration(t60: float, rate: int) -> None:
    """The slope of the integrated decay from -5 to -35 dB (T30 of ISO 3382, from memory) gives T60 to 5 %."""
    tail = response(t60, rate, np.random.default_rng(1))[1:]
    decay = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1])
    decay -= decay[0]
    part = (decay <= -5) & (decay >= -35)
    slope = np.polyfit(np.flatnonzero(part) / rate, decay[part], 1)[0]
    assert -60 / slope == pytest.approx(t60, rel=0.05)


def test_pyroomacoustics_measures_the_same_t60() -> None:
    """A second opinion by another package's own routine, measure_rt60 over 30 dB."""
    from pyroomacoustics.experimental import measure_rt60  # noqa: PLC0415 - slow to import

    tail = response(0.5, 16_000, np.random.default_rng(2))
    assert float(measure_rt60(tail, fs=16_000, decay_db=30)) == pytest.approx(0.5, rel=0.06)


@pytest.mark.parametrize("direct", [-12.0, 0.0, 6.0])
def test_direct_sound_over_reverberation(direct: float) -> None:
    """The first sample holds the direct sound; energies are as asked and add up to 1."""
    impulse = response(0.4, 16_000, np.random.default_rng(3), direct)
    assert 10 * np.log10(impulse[0] ** 2 / np.sum(impulse[1:] ** 2)) == pytest.approx(direct)
    assert float(np.sum(impulse**2)) == pytest.approx(1)


def test_gain_at_a_tone_is_that_of_the_convolved_tone() -> None:
    """A long sine through scipy's fftconvolve comes out louder by just the gain told."""
    impulse = response(0.3, 16_000, np.random.default_rng(4))
    sine = np.sin(2 * np.pi * 2730 * np.arange(32_000) / 16_000)
    heard = fftconvolve(sine, impulse)[8000:32_000]
    assert 10 * np.log10(2 * np.mean(heard**2)) == pytest.approx(gain_at(impulse, 2730, 16_000), abs=0.01)


def test_tones_fade_as_in_a_diffuse_field() -> None:
    """Far away about 9.5 % of tones are 10 dB down or more: 1 - exp(-0.1), power exponential (computed)."""
    down = [
        gain_at(response(0.4, 8000, np.random.default_rng(seed), -30.0), frequency, 8000) <= -10
        for seed in range(40)
        for frequency in range(500, 3500, 60)
    ]
    assert float(np.mean(down)) == pytest.approx(0.095, abs=0.025)


@pytest.mark.parametrize("taps", [1, 2, 500, 5000])
def test_blocks_through_a_filter_are_the_whole_through_it(taps: int) -> None:
    """Overlap-add equals numpy's direct convolution, also where the tail is longer than a block."""
    rng = np.random.default_rng(5)
    impulse, sound = rng.standard_normal(taps), rng.standard_normal(8 * 600)
    through = Convolver(impulse, 600)
    parts = [through.push(sound[first : first + 600]) for first in range(0, len(sound), 600)]
    assert np.allclose(np.concatenate(parts), np.convolve(sound, impulse)[: len(sound)])
