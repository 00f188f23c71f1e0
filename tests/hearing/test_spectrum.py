"""The fast parts beside plain, slow twins: spectra, sliding sums, baseband, the fit's running sums."""

import numpy as np
import pytest
from scipy.signal import ShortTimeFFT

from beepwatch.hearing.baseband import LOW_PASS, MARGIN, STEP, Audio, demodulate
from beepwatch.hearing.drift import Envelope, still
from beepwatch.hearing.edges import Sums
from beepwatch.hearing.search import CLIP, Candidate, Search, thresholds
from beepwatch.hearing.spectrum import (
    BIN_HZ,
    BINS,
    FRAME,
    HOP,
    LOW_BIN,
    RATE,
    WINDOW,
    WINDOW_POWER,
    bin_frequency,
    frame_end,
)
from tests.hearing.spectra import power_rows


def noise(n: int, seed: int = 1) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """White noise of variance 1."""
    return np.random.default_rng(seed).standard_normal(n).astype(np.float32)


def test_power_rows_against_a_direct_transform() -> None:
    """Three frames, a few bins, by the sum that defines them."""
    samples = noise(FRAME + 2 * HOP + 17)
    rows = power_rows(samples)
    assert rows.shape == (3, BINS)
    n = np.arange(FRAME)
    for frame in range(3):
        part = samples[frame * HOP : frame_end(frame)] * (0.5 - 0.5 * np.cos(2 * np.pi * n / FRAME))
        for bin_ in (0, 1, 77, 319, BINS - 1):
            direct = abs(np.sum(part * np.exp(-2j * np.pi * bin_frequency(bin_) / RATE * n))) ** 2
            assert rows[frame, bin_] == pytest.approx(direct, rel=1e-3)


def test_power_rows_against_scipys_short_time_fft() -> None:
    """Every bin of every whole frame of four seconds."""
    samples = noise(4 * RATE, 2)
    transform = ShortTimeFFT(WINDOW.astype(np.float64), HOP, RATE, fft_mode="onesided")
    rows = power_rows(samples)
    first = transform.lower_border_end[1]
    spectrum = transform.stft(samples.astype(np.float64), p0=first, p1=first + len(rows))
    assert spectrum.shape[1] == len(rows)
    theirs = np.abs(spectrum[LOW_BIN : LOW_BIN + BINS].T) ** 2
    assert np.allclose(rows, theirs, rtol=1e-3, atol=1e-3 * WINDOW_POWER * 0.01)


def test_white_noise_has_the_mean_power_that_is_told() -> None:
    """Variance times WINDOW_POWER, and a full-scale sine in a bin's middle has its amplitude times WINDOW_SUM / 2."""
    assert float(power_rows(noise(60 * RATE, 3)).mean()) == pytest.approx(WINDOW_POWER, rel=0.01)
    sine = np.sin(2 * np.pi * 2000 * np.arange(FRAME) / RATE).astype(np.float32)
    assert float(power_rows(sine)[0, round(2000 / BIN_HZ) - LOW_BIN]) == pytest.approx((FRAME / 4) ** 2, rel=1e-4)


def slow_candidates(ratio: np.ndarray[tuple[int, int], np.dtype[np.float32]], length: int) -> set[tuple[int, int]]:
    """(frame, bin) where the plain sum over `length` frames passes and is a peak: no stride, no other question."""
    limit = thresholds(1)[length]
    found = set()
    clipped = ratio if length == 2 else np.minimum(ratio, CLIP)
    for frame in range(length - 1, len(ratio)):
        sums = clipped[frame - length + 1 : frame + 1].sum(axis=0, dtype=np.float64)
        for k in np.flatnonzero(sums > limit):
            if 6 <= k < BINS - 6 and sums[k] >= sums[k - 1] - 1e-3 and sums[k] > sums[k + 1] - 1e-3:
                found.add((frame, int(k)))
    return found


@pytest.mark.parametrize("pieces", [[200], [32] * 7, [1, 5, 32, 7, 32, 3, 20, 100]])
def test_sums_by_doubling_are_the_plain_sums(pieces: list[int]) -> None:
    """Each candidate stands where a plain sum over its frames passes, however the frames come."""
    rng = np.random.default_rng(4)
    ratio = rng.exponential(size=(200, BINS)).astype(np.float32)
    for first, stop, bin_, power in ((20, 23, 50, 30), (40, 60, 150, 8), (60, 180, 300, 2.5), (100, 102, 500, 90)):
        ratio[first:stop, bin_] += np.float32(power)
    search = Search()
    found: list[Candidate] = []
    first = 0
    for count in pieces:
        part = ratio[first : first + count]
        if len(part):
            found += search.push(part, first, np.zeros(BINS, np.int64))
        first += count
    assert {50, 150, 300, 500} <= {one.bin for one in found}
    whole = Search().push(ratio, 0, np.zeros(BINS, np.int64))
    assert {(c.frame, c.bin, c.length) for c in found} == {(c.frame, c.bin, c.length) for c in whole}
    slow = {length: slow_candidates(ratio, length) for length in thresholds(1)}
    assert all((one.frame, one.bin) in slow[one.length] for one in found)
    plain = {(c.frame, c.bin, c.length): c.excess for c in found}
    for (frame, bin_, length), excess in plain.items():
        part = ratio[frame - length + 1 : frame + 1, bin_]
        assert excess == pytest.approx(
            float((part if length == 2 else np.minimum(part, CLIP)).sum()) - length, abs=0.01
        )


def test_sums_may_use_no_frame_before_a_bin_is_free() -> None:
    """A tone that ended before `free_from` gives no candidate; the same tone after it does."""
    ratio = np.ones((64, BINS), np.float32)
    ratio[10:30, 200] = 30
    free = np.zeros(BINS, np.int64)
    assert any(c.bin == 200 for c in Search().push(ratio, 0, free))
    free[195:206] = 30
    assert not any(c.bin == 200 for c in Search().push(ratio, 0, free))


def test_baseband_against_a_direct_sum() -> None:
    """Each step is what lies round it, turned back by the tone and weighted by the low-pass."""
    steps = 20
    samples = np.stack([noise((steps + 2 * MARGIN) * STEP, seed) for seed in (5, 6)])
    fast = demodulate(samples, 200, 2345.6)
    n = np.arange(samples.shape[1]) + (200 - MARGIN) * STEP
    turned = samples * np.exp(-2j * np.pi * 2345.6 / RATE * n)
    slow = [[np.sum(LOW_PASS * one[m * STEP :][: len(LOW_PASS)]) for m in range(steps)] for one in turned]
    assert fast.shape == (2, steps)
    assert np.allclose(fast, slow, atol=1e-4)


@pytest.mark.parametrize(("off", "least"), [(0.0, 0.01), (10.0, 0.05), (220.0, 60.0), (250.0, 60.0), (500.0, 60.0)])
def test_the_baseband_holds_the_tone_and_no_image_of_another(off: float, least: float) -> None:
    """Amplitude 1 at the tone gives |z| = 1/2; 220 Hz away and further it is 60 dB weaker."""
    n = np.arange(STEP * 54)
    sine = np.sin(2 * np.pi * (3000 + off) * n / RATE + 0.3).astype(np.float32)[None]
    down = -20 * np.log10(2 * np.abs(demodulate(sine, 0, 3000.0)))
    assert float(down.max()) < least if off < 100 else float(down.min()) > least


def test_running_sums_are_the_likelihood_of_a_step() -> None:
    """|sum z w|^2 / sum w between two steps, by a plain loop."""
    rng = np.random.default_rng(7)
    z = rng.standard_normal((2, 40)) + 1j * rng.standard_normal((2, 40))
    weight = rng.uniform(0.5, 2, (2, 40))
    part = Envelope(z, weight, 100, 2000.0)
    sums = Sums(still(part).unwind(part), weight, 100)
    values = sums.likelihood(np.array([105.0, 110.0]), np.array([120.0, 133.0]))
    for i, begin in enumerate((5, 10)):
        for j, end in enumerate((20, 33)):
            plain = sum(
                abs(sum(z[c, m] * weight[c, m] for m in range(begin, end))) ** 2 / sum(weight[c, begin:end])
                for c in range(2)
            )
            assert values[i, j] == pytest.approx(plain)


def test_audio_keeps_the_last_samples_by_number() -> None:
    """A ramp pushed in odd pieces is read back by sample number, across its inner moves."""
    audio = Audio(2)
    ramp = np.arange(1_000_000, dtype=np.float32)
    for first in range(0, 1_000_000, 33_333):
        part = ramp[first : first + 33_333]
        audio.push(np.stack([part, -part]))
        low = max(audio.begin, audio.end - 300_000)
        view = audio.view(low, audio.end)
        assert np.array_equal(view, np.stack([ramp[low : audio.end], -ramp[low : audio.end]]))
    assert audio.end == 1_000_000
