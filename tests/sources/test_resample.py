"""The way to 16 kHz: right by a second route, the same for any split, without drift; gaps stay gaps."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import firwin, resample_poly

from beepwatch.errors import SamplesError
from beepwatch.sources.block import Samples
from beepwatch.sources.resample import TARGET, Resampler

RATES = [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000]


def noise(frames: int, channels: int = 2, seed: int = 1) -> Samples:
    return np.random.default_rng(seed).normal(0, 0.1, (frames, channels)).astype(np.float32)


def tones(rate: int, seconds: float) -> Samples:
    """Two channels of sines, all below 3.4 kHz: inside the pass band of every rate."""
    at = np.arange(int(rate * seconds)) / rate
    left = 0.3 * np.sin(2 * np.pi * 2730 * at) + 0.2 * np.sin(2 * np.pi * 440 * at)
    right = 0.4 * np.sin(2 * np.pi * 3400 * at + 1)
    return np.stack([left, right], axis=1).astype(np.float32)


def whole(samples: Samples, rate: int) -> Samples:
    resampler = Resampler(rate, samples.shape[1])
    return np.concatenate([resampler.push(samples), resampler.flush()])


@pytest.mark.parametrize("rate", RATES)
def test_agrees_with_the_polyphase_filter_of_scipy(rate: int) -> None:
    """Independent route: scipy.signal.resample_poly with a long Kaiser filter, away from both ends."""
    samples = tones(rate, 1.0)
    common = math.gcd(rate, TARGET)
    up, down = TARGET // common, rate // common
    # its own default of 10 periods to a side cuts off too early for 3.4 kHz at a rate of 8 kHz
    filter_ = firwin(2 * 60 * max(up, down) + 1, 1 / max(up, down), window=("kaiser", 10.0))
    # the stubs know no taps as `window`, though the manual does
    expected = resample_poly(samples, up, down, axis=0, window=filter_)  # type: ignore[call-overload]
    got = whole(samples, rate)
    inside = slice(800, 15_000)
    assert np.abs(got[inside] - expected[inside]).max() < 1e-4


@pytest.mark.parametrize("rate", RATES)
def test_sines_come_out_as_the_sines_they_were(rate: int) -> None:
    """Exact values of the same sines at 16 kHz: amplitude and time kept to -80 dB."""
    got = whole(tones(rate, 1.0), rate)
    inside = slice(800, 15_000)
    assert np.abs(got[inside] - tones(TARGET, 1.0)[inside]).max() < 1e-4


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000])
@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(0, 9_000), max_size=6))
def test_any_split_equals_the_whole(rate: int, cuts: list[int]) -> None:
    """Blocks of any size, empty ones too, give the samples of one push."""
    samples = noise(9_000)
    resampler = Resampler(rate, 2)
    edges = [0, *sorted(cuts), len(samples)]
    parts = [resampler.push(samples[a:b]) for a, b in pairwise(edges)]
    assert np.array_equal(np.concatenate([*parts, resampler.flush()]), whole(samples, rate))


def test_sixteen_kilohertz_pass_untouched() -> None:
    """Nothing is filtered, copied or held back where the rate is right already."""
    samples = noise(1_000)
    resampler = Resampler(TARGET, 2)
    assert resampler.push(samples) is samples
    assert len(resampler.flush()) == 0


@pytest.mark.parametrize("rate", [11_025, 44_100, 48_000])
def test_time_does_not_drift(rate: int) -> None:
    """A click after ten minutes comes out at its own time, to one sample."""
    resampler = Resampler(rate, 1)
    silence = np.zeros((rate, 1), dtype=np.float32)
    for _ in range(600):
        resampler.push(silence)
    click = silence.copy()
    click[rate // 2] = 1
    tail = np.concatenate([resampler.push(click), resampler.push(silence), resampler.flush()])
    place = 601 * TARGET + TARGET - len(tail) + int(np.argmax(tail[:, 0]))
    assert place == pytest.approx(600.5 * TARGET, abs=1)


@settings(max_examples=40, deadline=None)
@given(
    rate=st.sampled_from(RATES),
    parts=st.lists(st.tuples(st.integers(0, 3_000), st.integers(1, 5_000)), max_size=8),
)
def test_gaps_of_any_length_keep_the_clock(rate: int, parts: list[tuple[int, int]]) -> None:
    """Sound and lost samples together are as long at 16 kHz as at the source's rate, after each gap."""
    resampler, taken, given_out = Resampler(rate, 1), 0, 0
    for sound, lost in parts:
        given_out += len(resampler.push(noise(sound, 1)))
        rest, missing = resampler.skip(lost)
        taken += sound + lost
        given_out += len(rest) + missing
        assert given_out == round(taken * TARGET / rate)


@pytest.mark.parametrize("rate", [8_000, 16_000, 48_000])
def test_not_a_number_stays_a_gap_where_it_was(rate: int) -> None:
    """NaN comes out as NaN for its own stretch; every other sample is that of zeros put there."""
    samples = noise(rate)
    first, last = rate // 4, rate // 2
    zeroed = samples.copy()
    zeroed[first:last, 1] = 0
    samples[first:last, 1] = np.nan
    got, expected = whole(samples, rate), whole(zeroed, rate)
    assert np.array_equal(got[:, 0], expected[:, 0])
    broken = np.flatnonzero(np.isnan(got[:, 1]))
    assert broken[0] == pytest.approx(TARGET / 4, abs=1)
    assert broken[-1] == pytest.approx(TARGET / 2, abs=1)
    assert len(broken) == broken[-1] - broken[0] + 1
    sound = ~np.isnan(got[:, 1])
    assert np.array_equal(got[sound, 1], expected[sound, 1])


def test_infinity_is_a_gap_and_poisons_nothing() -> None:
    """One infinite sample costs its own moment only."""
    samples = noise(48_000, 1)
    samples[24_000] = np.inf
    got = whole(samples, 48_000)
    assert 1 <= np.isnan(got).sum() <= 3


def test_wrong_shape_is_refused() -> None:
    """Mono samples pushed flat, or too many channels, raise SamplesError that shows the shape."""
    with pytest.raises(SamplesError, match=r"\(n, 2\), got \(10,\)"):
        Resampler(48_000, 2).push(np.zeros(10, dtype=np.float32))
