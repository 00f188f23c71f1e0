"""Where to look: sums of normalised power over 1 to 128 frames, and the bins in which one stands out.

A beep of unknown length is met by sums over doubling lengths (non-coherent integration), so a long beep is heard
deeper than a short one. A sum over L frames of noise is gamma distributed; each threshold is the quantile with the
chance `CHANCE[L]` for one bin and frame. These are only candidates: the coherent fit decides (`fit.py`).
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv

from .spectrum import BINS, Floats

Indices: TypeAlias = NDArray[np.int64]

CHANCE = {2: 1e-8, 4: 1e-7, 8: 1e-6, 16: 2e-6, 32: 2e-6, 64: 2e-6, 128: 2e-6}
"""Chance for one bin and frame of noise alone. Short sums are stricter, as a weak short sum cannot pass the fit."""
CLIP = np.float32(20.0)
"""Power over noise counted at most in sums over 4 frames and more: one loud frame cannot pass them alone."""
EDGE_BINS = 6
WIDE = 2.5
"""A tone's sum stands this many times over its neighbours 4 and 5 bins away (Hann: 40 dB less, theory)."""
LOUD = 60.0
"""Excess from which a sum's last frame is asked whether the tone still sounds: at least STILL of its mean."""
STILL = 0.15


@dataclass(frozen=True, slots=True)
class Candidate:
    """A bin that stands out at a frame."""

    frame: int
    bin: int
    length: int
    excess: float
    """Sum of normalised power beyond what noise would give."""


def thresholds(channels: int) -> dict[int, float]:
    """Threshold on the sum over L frames of the mean normalised power of `channels` channels."""
    return {length: float(gammainccinv(length * channels, chance)) / channels for length, chance in CHANCE.items()}


class Search:
    """Sliding sums of normalised power; `push` gives the candidates of new frames."""

    def __init__(self, channels: int = 1, lowest: int = 0, highest: int = BINS) -> None:
        """Search bins lowest <= k < highest for sums over `channels` averaged channels."""
        self._thresholds = thresholds(channels)
        self._range = (max(lowest, EDGE_BINS), min(highest, BINS - EDGE_BINS))
        self._history = {length: np.zeros((min(length, 8), BINS), np.float32) for length in (1, *CHANCE)}

    def push(self, ratio: Floats, first: int, free_from: Indices) -> list[Candidate]:
        """Candidates of the frames `first`, first + 1 ..., in time order, the strongest first within a frame.

        ratio: power over noise, float32 (n, BINS). free_from: int (BINS,), the first frame that a sum may use.
        """
        frames = np.arange(first, first + len(ratio))
        before = np.concatenate([self._history[1], ratio])
        self._history[1] = before[-1:]
        sums = before[1:] + before[:-1]
        found: list[Candidate] = []
        if sums.max() > self._thresholds[2]:
            found += self._peaks(sums, np.minimum(before[1:], before[:-1]), frames, 2, free_from)
        clipped = np.minimum(before, CLIP)
        rows, last, step = clipped[1:] + clipped[:-1], ratio, 1
        for length in (4, 8, 16, 32, 64, 128):
            joined = np.concatenate([self._history[length // 2], rows])
            rows = rows + joined[: len(rows)]
            self._history[length // 2] = joined[len(joined) - len(self._history[length // 2]) :]
            wanted = max(1, length // 8)
            if wanted > step:
                keep = frames % wanted == wanted - 1
                rows, frames, last, step = rows[keep], frames[keep], last[keep], wanted
            if len(rows) and rows.max() > self._thresholds[length]:
                found += self._peaks(rows, last, frames, length, free_from)
        return sorted(found, key=lambda c: (c.frame, -c.excess))

    def _peaks(self, sums: Floats, last: Floats, frames: Indices, length: int, free_from: Indices) -> list[Candidate]:
        """Bins that stand out in `sums`, are a line there, and still sound in `last` (the frames' own ratios)."""
        low, high = self._range
        t, k = np.nonzero(sums[:, low:high] > self._thresholds[length])
        k += low
        middle = sums[t, k]
        keep = (frames[t] - length + 1 >= free_from[k]) & (middle >= sums[t, k - 1]) & (middle > sums[t, k + 1])
        t, k, excess = t[keep], k[keep], middle[keep] - length
        keep = (excess < LOUD) | (last[t, k] * length > STILL * excess)
        for off in (-5, -4, 4, 5):
            keep &= excess > WIDE * (sums[t, k + off] - length)
        if length == 2:
            for off in (-5, -4, 4, 5):
                keep &= last[t, k] > WIDE * (last[t, k + off] - 1)
        found = zip(frames[t[keep]].tolist(), k[keep].tolist(), excess[keep].tolist(), strict=True)
        return [Candidate(frame, bin_, length, strength) for frame, bin_, strength in found]
