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

CHANCE = {2: 1e-8, 4: 1e-7, 8: 3e-7, 16: 5e-7, 32: 5e-7, 64: 5e-7, 128: 5e-7}
"""Chance for one bin and frame of noise alone. Short sums are stricter, as a weak short sum cannot pass the fit."""
CLIP = np.float32(20.0)
"""Power over noise counted at most in sums over 4 frames and more: one loud frame cannot pass them alone."""
EDGE_BINS = 5
"""Bins at the ends of the spectrum that serve only as neighbours: a tone of 400 Hz is bin 9."""
WIDE = 2.5
"""A tone's sum stands this many times over its neighbours 4 and 5 bins away (Hann: 40 dB less, theory)."""
LOUD = 60.0
"""Excess from which a sum's last frame is asked whether the tone still sounds: at least STILL of its mean."""
STILL = 0.15
ALONE = 1.8
CLEAR, CLEARLY = 200.0, 6.0
"""Excess from which noise no longer counts, and how many times a line then stands over those neighbours."""
FAR = 45
"""Bins (350 Hz): a voice has another line within as many, a buzzer has none."""


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
        self._history = {length: np.zeros((min(length, 4), BINS), np.float32) for length in (1, *CHANCE)}

    def push(self, ratio: Floats, first: int, free_from: Indices) -> list[Candidate]:
        """Candidates of the frames `first`, first + 1 ..., in time order, the strongest first within a frame.

        ratio: power over noise, float32 (n, BINS). free_from: int (BINS,), the first frame that a sum may use.
        """
        frames = np.arange(first, first + len(ratio))
        before = np.concatenate([self._history[1], ratio])
        self._history[1] = before[-1:]
        clipped = np.minimum(before, CLIP)
        rows, step = clipped[1:] + clipped[:-1], 1
        found: list[Candidate] = []
        if rows.max() > self._thresholds[2]:
            found += self._pairs(rows, before, frames, free_from)
        for length in (4, 8, 16, 32, 64, 128):
            half = length // 2
            joined = np.concatenate([self._history[half], rows])
            self._history[half] = joined[len(joined) - len(self._history[half]) :]
            wanted = max(1, half // 2)
            keep = slice((-int(frames[0]) - 1) % wanted // step if len(frames) else 0, None, wanted // step)
            rows, frames, step = rows[keep] + joined[: len(rows)][keep], frames[keep], wanted
            if len(rows) == 0:
                break
            if rows.max() > self._thresholds[length]:
                found += self._peaks(rows, ratio[frames - first], frames, length, free_from)
        return sorted(found, key=lambda c: (c.frame, -c.excess))

    def _pairs(self, rows: Floats, before: Floats, frames: Indices, free_from: Indices) -> list[Candidate]:
        """Two frames in a row with the same line: judged without the clip."""
        hot = np.flatnonzero(rows.max(axis=1) > self._thresholds[2])
        sums = before[hot + 1] + before[hot]
        return self._peaks(sums, np.minimum(before[hot + 1], before[hot]), frames[hot], 2, free_from)

    def _peaks(self, sums: Floats, last: Floats, frames: Indices, length: int, free_from: Indices) -> list[Candidate]:
        """Bins that stand out in `sums`, are a line there, and still sound in `last` (the frames' own ratios)."""
        low, high = self._range
        t, k = np.nonzero(sums[:, low:high] > self._thresholds[length])
        k += low
        middle = sums[t, k]
        keep = (frames[t] - length + 1 >= free_from[k]) & (middle >= sums[t, k - 1]) & (middle > sums[t, k + 1])
        t, k, excess = t[keep], k[keep], middle[keep] - length
        keep = (excess < LOUD) | (last[t, k] * length > STILL * excess) | (length == 2)
        times = np.where(excess < CLEAR, WIDE, CLEARLY)
        for off in (-5, -4, 4, 5):
            keep &= excess > times * (sums[t, k + off] - length)
        if length == 2:
            for off in (-5, -4, 4, 5):
                keep &= last[t, k] > last[t, k + off] - 1
        t, k, excess = t[keep], k[keep], excess[keep]
        if len(k):
            alone = excess > ALONE * (_strongest_beside(sums, t, k) - length)
            t, k, excess = t[alone], k[alone], excess[alone]
        found = zip(frames[t].tolist(), k.tolist(), excess.tolist(), strict=True)
        return [Candidate(frame, bin_, length, strength) for frame, bin_, strength in found]


def _strongest_beside(sums: Floats, t: Indices, k: Indices) -> Floats:
    """Greatest sum 5 to FAR bins away from each (t, k)."""
    wide = np.pad(sums, ((0, 0), (FAR, FAR)))
    offsets = np.concatenate([np.arange(0, FAR - 4), np.arange(FAR + 5, 2 * FAR + 1)])
    strongest: Floats = wide[t[:, None], k[:, None] + offsets].max(axis=1)
    return strongest
