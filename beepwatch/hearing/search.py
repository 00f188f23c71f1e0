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

CHANCE = {1: 1e-9, 2: 1e-8, 4: 1e-7, 8: 1e-6, 16: 2e-6, 32: 2e-6, 64: 2e-6, 128: 2e-6}
"""Chance for one bin and frame of noise alone. Short sums are stricter, as a weak short sum cannot pass the fit."""
CLIP = np.float32(100.0)
"""Normalised power counted at most, so that one click does not make a long sum."""
EDGE_BINS = 6
WIDE = 2.5
"""A tone's sum stands this many times over its neighbours 4 and 5 bins away (Hann: 40 dB less, theory)."""


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
        self._history = {length: np.zeros((min(length, 8), BINS), np.float32) for length in CHANCE}

    def push(self, ratio: Floats, first: int, free_from: Indices) -> list[Candidate]:
        """Candidates of the frames `first`, first + 1 ..., in time order, the strongest first within a frame.

        ratio: power over noise, float32 (n, BINS). free_from: int (BINS,), the first frame that a sum may use.
        """
        found: list[Candidate] = []
        rows, step = np.minimum(ratio, CLIP), 1
        frames = np.arange(first, first + len(ratio))
        for length in CHANCE:
            if length > 1:
                rows, frames, step = self._double(rows, frames, length // 2, step)
            if len(rows) and rows.max() > self._thresholds[length]:
                found += self._peaks(ratio if length == 1 else rows, frames, length, free_from)
        return sorted(found, key=lambda c: (c.frame, -c.excess))

    def _double(self, rows: Floats, frames: Indices, half: int, step: int) -> tuple[Floats, Indices, int]:
        """Sums over 2 * half frames from those over half; beyond 8 frames only every few frames."""
        joined = np.concatenate([self._history[half], rows])
        sums = rows + joined[: len(rows)]
        self._history[half] = joined[len(rows) :]
        wanted = max(1, half // 4)
        if wanted > step:
            keep = frames % wanted == wanted - 1
            return sums[keep], frames[keep], wanted
        return sums, frames, step

    def _peaks(self, sums: Floats, frames: Indices, length: int, free_from: Indices) -> list[Candidate]:
        low, high = self._range
        middle = sums[:, low:high]
        hot = middle > self._thresholds[length]
        hot &= (frames[:, None] - length + 1) >= free_from[low:high]
        if not hot.any():
            return []
        around = [sums[:, low + d : high + d] for d in (-5, -4, -1, 1, 4, 5)]
        hot &= (middle >= around[2]) & (middle > around[3])
        beside = np.maximum.reduce([around[0], around[1], around[4], around[5]]) - length
        hot &= (middle - length) > WIDE * beside
        return [
            Candidate(int(frames[t]), int(k) + low, length, float(middle[t, k]) - length)
            for t, k in zip(*np.nonzero(hot), strict=True)
        ]
