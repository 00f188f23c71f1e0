"""The noise that a tone has to stand out from: colour in a slow floor, level in a fast gain.

Noise power at frame t and bin k is floor[k] * gain[t, band of k]. The gain is a median over the 64 bins of a band in
that very frame, so hiss that swells with each breath, a door or a lorry raise it at once; the floor is the median
over half a minute of what is left, so neither a 20 s beep nor a door lifts it. This is an ordered-statistic
constant-false-alarm-rate detector (Rohling 1983, IEEE Trans. AES 19:608, from memory) over frequency for the level
and over time for the colour.
"""

import numpy as np

from .spectrum import BAND_BINS, BANDS, WINDOW_POWER, Floats, Mask

BLOCK = 32
"""Frames (2.05 s) between two looks at the floor."""
FEWEST = 8
"""Frames of a block (0.5 s) from which its mean is taken."""
MEMORY = 15
"""Blocks in the floor's median: 31 s, over which a 20 s beep stays in the minority."""
FIRST = 16
"""Frames (1.1 s) heard before the first floor is made."""
QUIETEST = WINDOW_POWER * 0.5e-12
"""Power in a bin of white noise at -120 dBFS: below any converter's noise, so digital silence divides by no zero."""
REANCHOR = 0.15
"""Share of the mean log gain moved into the floor each block; without it the level drifts away over hours."""
LEAST_GAIN = 1e-3
"""A gain below this (-30 dB) is digital silence, of which nothing is learnt."""
MIDDLE = float(sum(1 / k for k in range(16, 33)))
"""Mean of the 17th smallest of 32 exponential variables of mean 1 (order statistics, theory); ln 2 for very many."""
SMOOTHING_BINS = 41
"""Bins (320 Hz) of the running median over frequency that makes the first floor."""


def _band_medians(power: Floats) -> Floats:
    """Median over each band (n, BINS) -> (n, BANDS), of every second bin: half the work for a tenth of a dB."""
    bands = power.reshape(len(power), BANDS, BAND_BINS)[:, :, ::2].copy()
    bands.partition(BAND_BINS // 4, axis=-1)
    middle: Floats = bands[:, :, BAND_BINS // 4]
    return middle


def running_median(values: Floats, width: int = SMOOTHING_BINS) -> Floats:
    """Median of `values` (BINS,) over `width` bins round each, the ends repeated."""
    padded = np.pad(values, width // 2, mode="edge")
    medians: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=-1)
    return medians.astype(np.float32)


def band_level(power: Floats) -> Floats:
    """Level of noise in each band, robust against lines: shape (n, BINS) -> (n, BANDS).

    Neighbours are smoothed 1/4, 1/2, 1/4.
    """
    level = _band_medians(power) * np.float32(1 / MIDDLE)
    wide = np.concatenate([level[:, :1], level, level[:, -1:]], axis=1)
    smoothed: Floats = np.float32(0.25) * (wide[:, :-2] + wide[:, 2:]) + np.float32(0.5) * level
    return smoothed


def coherence_share(ratios: Floats) -> Floats:
    """Share of independent looks that channels give, by band: ratios (channels, n, BINS) -> float32 (BANDS,).

    Powers of two Gaussian noises correlate as their squared coherence (theory), so C channels count as C^2 / sum of it:
    as 1 where they are copies of one microphone or lie close together in a diffuse field. Returns that over C.
    """
    channels, n = ratios.shape[:2]
    flat = np.minimum(ratios, 8.0).reshape(channels, n, BANDS, BAND_BINS)
    flat = flat - flat.mean(axis=(1, 3), keepdims=True)
    product = np.einsum("atbk,ctbk->bac", flat, flat)
    scale = np.sqrt(np.maximum(np.einsum("baa->ba", product), 1e-12))
    coherence = np.maximum(product / (scale[:, :, None] * scale[:, None, :]), 0.0)
    share: Floats = (channels / np.maximum(coherence.sum(axis=(1, 2)), channels)).astype(np.float32)
    return share


class NoiseFloor:
    """The floor of one channel; pure state, driven by frames."""

    def __init__(self, first: Floats) -> None:
        """Start from the first frames, shape (n, BINS), n >= 1: smooth over frequency, so a tone in them stands out."""
        start = np.maximum(running_median(first.mean(axis=0)), np.float32(QUIETEST))
        self.floor: Floats = start
        self._inverse: Floats = np.reciprocal(start)
        self._memory = np.repeat(start[None], 3, axis=0)
        self.alive = bool(np.any(first))
        self._drift: Floats = np.ones(BANDS, np.float32)
        self._kept: tuple[Floats, Floats, Floats] | None = None

    def normalise(self, power: Floats) -> tuple[Floats, Floats]:
        """(power over noise (n, BINS), gains (n, BANDS), at least LEAST_GAIN) of frames of power (n, BINS)."""
        flat = power * self._inverse
        gains = np.maximum(band_level(flat), np.float32(LEAST_GAIN))
        ratio = flat.reshape(-1, BANDS, BAND_BINS)
        ratio *= np.reciprocal(gains)[:, :, None]
        return flat, gains

    def learn(self, ratio: Floats, gains: Floats, busy: Mask) -> None:
        """Take in the block before this one, and keep this one: ratio (BLOCK, BINS), gains (BLOCK, BANDS).

        busy: bool (BLOCK, BINS), where tones sounded in the block before; beeps that ended in it are known by now. A
        bin with under FEWEST frames free of them keeps its floor: else a beep at each breath would lift it for itself.
        """
        self.alive = bool(ratio.max() > 0)
        before, self._kept = self._kept, (ratio, gains, self.floor)
        if before is not None:
            self._take(*before, busy)

    def _take(self, ratio: Floats, gains: Floats, floor: Floats, busy: Mask) -> None:
        heard = gains.min(axis=1) > LEAST_GAIN
        if np.count_nonzero(heard) < BLOCK // 2:
            return
        block = floor * np.repeat(self._drift, BAND_BINS) * _free_mean(ratio, heard, busy)
        self._drift = np.exp(REANCHOR * np.log(gains[heard]).mean(axis=0))
        grown = np.concatenate([self._memory[-(MEMORY - 1) :], np.where(block > 0, block, self.floor)[None]])
        grown *= np.repeat(self._drift, BAND_BINS)
        self._memory = grown
        middle = len(grown) // 2
        self.floor = np.maximum(np.partition(grown, middle, axis=0)[middle], np.float32(QUIETEST))
        self._inverse = np.reciprocal(self.floor)


def _free_mean(ratio: Floats, heard: Mask, busy: Mask) -> Floats:
    """Mean ratio of each bin over frames that are `heard` and not `busy`; 0 where there are too few."""
    if heard.all() and not busy.any():
        mean: Floats = ratio.mean(axis=0)
        return mean
    free = heard[:, None] & ~busy
    count = free.sum(axis=0)
    total: Floats = np.where(free, ratio, np.float32(0)).sum(axis=0)
    return np.where(count >= FEWEST, total / np.maximum(count, 1), 0).astype(np.float32)
