"""The noise that a tone has to stand out from: colour in a slow floor, level in a fast gain.

Noise power at frame t and bin k is floor[k] * gain[t, band of k]. The gain is a median over the 64 bins of a band in
that very frame, so hiss that swells with each breath, a door or a lorry raise it at once; the floor is the median
over half a minute of what is left, so neither a 20 s beep nor a door lifts it. This is an ordered-statistic
constant-false-alarm-rate detector (Rohling 1983, IEEE Trans. AES 19:608, from memory) over frequency for the level
and over time for the colour.
"""

from math import log

import numpy as np

from .spectrum import BAND_BINS, BANDS, BINS, WINDOW_POWER, Floats, Mask

BLOCK = 32
"""Frames (2.05 s) between two looks at the floor."""
MEMORY = 16
"""Blocks in the floor's median: 33 s, over which a 20 s beep stays in the minority."""
FIRST = 16
"""Frames (1.1 s) heard before the first floor is made."""
QUIETEST = WINDOW_POWER * 0.5e-12
"""Power in a bin of white noise at -120 dBFS: below any converter's noise, so digital silence divides by no zero."""
REANCHOR = 0.15
"""Share of the mean log gain moved into the floor each block; without it the level drifts away over hours."""
LEAST_GAIN = 1e-3
"""A gain below this (-30 dB) is digital silence, of which nothing is learnt."""
SMOOTHING_BINS = 41
"""Bins (320 Hz) of the running median over frequency that makes the first floor."""


def _band_medians(power: Floats) -> Floats:
    """Median over each band (..., BINS) -> (..., BANDS)."""
    bands = power.reshape(*power.shape[:-1], BANDS, BAND_BINS)
    middle: Floats = np.partition(bands, BAND_BINS // 2, axis=-1)[..., BAND_BINS // 2]
    return middle


def running_median(values: Floats, width: int = SMOOTHING_BINS) -> Floats:
    """Median of `values` (BINS,) over `width` bins round each, the ends repeated."""
    padded = np.pad(values, width // 2, mode="edge")
    medians: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=-1)
    return medians.astype(np.float32)


def band_level(power: Floats) -> Floats:
    """Level of noise in each band, robust against lines: shape (n, BINS) -> (n, BANDS).

    The median of an exponential variable is ln 2 of its mean; neighbours are smoothed 1/4, 1/2, 1/4.
    """
    level = _band_medians(power) / np.float32(log(2))
    wide = np.concatenate([level[:, :1], level, level[:, -1:]], axis=1)
    smoothed: Floats = np.float32(0.25) * (wide[:, :-2] + wide[:, 2:]) + np.float32(0.5) * level
    return smoothed


class NoiseFloor:
    """The floor of one channel; pure state, driven by frames."""

    def __init__(self, first: Floats) -> None:
        """Start from the first frames, shape (n, BINS), n >= 1: smooth over frequency, so a tone in them stands out."""
        start = np.maximum(running_median(first.mean(axis=0)), np.float32(QUIETEST))
        self.floor: Floats = start
        self._memory = np.repeat(start[None], 4, axis=0)
        self.alive = bool(np.any(first))

    def gains(self, power: Floats) -> Floats:
        """Gain of each frame and band: power (n, BINS) -> float32 (n, BANDS), at least LEAST_GAIN."""
        return np.maximum(band_level(power / self.floor), np.float32(LEAST_GAIN))

    def noise(self, gains: Floats) -> Floats:
        """Noise power of each frame and bin: (n, BANDS) -> (n, BINS)."""
        rows: Floats = (self.floor.reshape(BANDS, BAND_BINS) * gains[:, :, None]).reshape(-1, BINS)
        return rows

    def learn(self, power: Floats, gains: Floats, busy: Mask) -> None:
        """Take in one block: power (BLOCK, BINS), gains (BLOCK, BANDS), busy bins (BINS,) keep their floor."""
        heard = gains.min(axis=1) > LEAST_GAIN
        self.alive = bool(np.any(power))
        if np.count_nonzero(heard) < BLOCK // 2:
            return
        shape = power[heard].reshape(-1, BANDS, BAND_BINS) / gains[heard][:, :, None]
        block = shape.mean(axis=0).reshape(BINS)
        self._memory = np.concatenate([self._memory[-(MEMORY - 1) :], np.where(busy, self.floor, block)[None]])
        drift = np.exp(REANCHOR * np.log(gains[heard]).mean(axis=0))
        self._memory *= np.repeat(drift, BAND_BINS)
        self.floor = np.maximum(np.median(self._memory, axis=0), np.float32(QUIETEST))
