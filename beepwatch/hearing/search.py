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

from .floor import BLOCK
from .spectrum import BINS, Floats, Mask

Indices: TypeAlias = NDArray[np.int64]

CHANCE = {2: 1e-8, 4: 1e-7, 8: 3e-7, 16: 5e-7, 32: 5e-7, 64: 5e-7, 128: 5e-7}
"""Chance for one bin and frame of noise alone. Short sums are stricter, as a weak short sum cannot pass the fit."""
NEAR_GAIN = 30.0
"""Chance allowed near a known tone over CHANCE: +-3 % are 1/30 of the bins searched at 2.5 kHz (union bound), so as
many candidates an hour come of them as of all the rest."""
CLIP = np.float32(20.0)
"""Power over noise counted at most in sums over 4 frames and more: one loud frame cannot pass them alone."""
EDGE_BINS = 5
"""Bins at the ends of the spectrum that serve only as neighbours: a tone of 400 Hz is bin 9."""
WIDE = 2.5
"""A tone's sum stands this many times over its neighbours 4 and 5 bins away (Hann: 40 dB less, theory)."""
LOUD = 60.0
"""Excess from which a sum's last frame is asked whether the tone still sounds: at least STILL of its mean."""
STILL = 0.15
STILL_SHORT = 0.3
"""The same for sums of up to 8 frames, whatever they hold (measured: of beeps in noise, rooms, speech and music 1 %
open below it, of tracks in speech 25 %)."""
ALONE = 1.8
BESIDE = 1e-4
"""Chance for one bin of noise; a pair of frames beyond it, at 5 to FAR bins, is another line (noise: 1 pair in 120)."""
STANDS_OUT = 6.3
"""How many times a line of two frames must then stand over it, 8 dB: as a verdict asks of the whole beep. Each frame is
another trial, so a beep in speech finds its pause (measured: of beeps there 98 % open above 8.9, of speech 25 %)."""
COMPANY = 0.06
"""Share of the strongest line of the two frames that another must have, -12 dB (measured: of beeps 10 dB over speech
98 % open above 0 dB, over music 90 % above -7; of music 40 % below -12). Longer sums are clipped, and have none."""
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
    faint: bool = False
    """It stands out only because it is near a known tone."""


def thresholds(channels: int, gain: float = 1.0) -> dict[int, float]:
    """Threshold on the sum over L frames of `channels` channels' mean normalised power, at `gain` times CHANCE."""
    return {
        length: float(gammainccinv(length * channels, gain * chance)) / channels for length, chance in CHANCE.items()
    }


OFFSETS: Indices = np.concatenate([np.arange(-FAR, -4), np.arange(5, FAR + 1)])
CLIPPED = np.full((BLOCK, BINS), CLIP)
"""Of a whole block: numpy compares two arrays quicker than an array and a number."""


@dataclass(frozen=True, slots=True)
class _Sums:
    """Sums over `length` frames that end with `frames`, (n, BINS), their last frames' ratios, and the least of each."""

    rows: Floats
    last: Floats
    least: Floats
    frames: Indices
    length: int


class Search:
    """Sliding sums of normalised power; `push` gives the candidates of new frames."""

    def __init__(self, channels: int = 1, lowest: int = 0, highest: int = BINS) -> None:
        """Search bins lowest <= k < highest for sums over `channels` averaged channels."""
        self._thresholds = thresholds(channels)
        self._fainter = thresholds(channels, NEAR_GAIN)
        self._beside = float(gammainccinv(2 * channels, BESIDE)) / channels
        self._range = (max(lowest, EDGE_BINS), min(highest, BINS - EDGE_BINS))
        self._near: tuple[int, int] | None = None
        self._history = {length: np.zeros((min(length, 4), BINS), np.float32) for length in (1, *CHANCE)}
        self._clipped: Floats = np.zeros((1, BINS), np.float32)

    def look_near(self, near: tuple[int, int] | None) -> None:
        """From now on fainter sums are candidates in these bins, first <= k < last; None: in none."""
        self._near = None if near is None else (max(near[0], self._range[0]), min(near[1], self._range[1]))

    def push(
        self,
        ratio: Floats,
        first: int,
        free_from: Indices,
        taken: Mask | None = None,
        splashed: Mask | None = None,
        *,
        faint_from: Indices | None = None,
    ) -> list[Candidate]:
        """Candidates of the frames `first`, first + 1 ..., in time order, the strongest first within a frame.

        ratio: power over noise, float32 (n, BINS). free_from: int (BINS,), the first frame that a sum may use.
        taken, splashed: bool (n, BINS), bins in which no track may open: at all, or by a sum of two frames.
        faint_from: as free_from (and that where None), for what is a candidate only because it is near a known tone.
        """
        faint_from = free_from if faint_from is None else faint_from
        frames = np.arange(first, first + len(ratio))
        before = np.concatenate([self._history[1], ratio])
        self._history[1] = before[-1:]
        clipped = _clipped(ratio)
        rows, step = clipped.copy(), 1
        rows[1:] += clipped[:-1]
        rows[:1] += self._clipped
        self._clipped = clipped[-1:]
        found: list[Candidate] = []
        if rows.max(initial=0) > self._thresholds[2]:
            found += self._pairs(rows, before, frames, free_from, splashed)
        for length in (4, 8, 16, 32, 64, 128):
            half = length // 2
            joined = np.concatenate([self._history[half], rows])
            self._history[half] = joined[len(joined) - len(self._history[half]) :]
            wanted = max(1, half // 2)
            keep = slice((-int(frames[0]) - 1) % wanted // step if len(frames) else 0, None, wanted // step)
            rows, frames, step = rows[keep] + joined[: len(rows)][keep], frames[keep], wanted
            if len(rows) == 0:
                break
            loud = rows.max() > self._thresholds[length]
            faint = self._near is not None and rows[:, slice(*self._near)].max(initial=0) > self._fainter[length]
            if loud or faint:
                at = frames - first
                sums = _Sums(rows, ratio[at], ratio[at], frames, length)
                free = None if taken is None else taken[at]
                found += self._peaks(sums, free_from, free) if loud else []
                found += self._peaks(sums, faint_from, free, faint=True) if faint else []
        return sorted(found, key=lambda c: (c.frame, -c.excess))

    def _pairs(
        self, rows: Floats, before: Floats, frames: Indices, free_from: Indices, splashed: Mask | None
    ) -> list[Candidate]:
        """Two frames in a row with the same line: judged without the clip."""
        hot = np.flatnonzero(rows.max(axis=1) > self._thresholds[2])
        one, other = before[hot], before[hot + 1]
        sums = _Sums(one + other, other, np.minimum(one, other), frames[hot], 2)
        return self._peaks(sums, free_from, None if splashed is None else splashed[hot])

    def _peaks(self, sums: _Sums, free_from: Indices, taken: Mask | None, *, faint: bool = False) -> list[Candidate]:
        """Bins that stand out in `sums`, are a line there, and still sound in `sums.last`; faint: near the tone."""
        place = self._tops(sums, free_from, taken, faint)
        if len(place) == 0:
            return []
        flat, length = sums.rows.ravel(), sums.length
        excess, still = flat[place] - length, sums.last.ravel()[place] * length
        keep = excess > np.where(excess < CLEAR, WIDE, CLEARLY) * (_beside(flat, place) - length)
        keep &= (
            still > np.where(excess < LOUD, 0.0, STILL) * excess
            if length > 8 or faint
            else still > STILL_SHORT * excess
        )
        if length == 2:
            least = sums.least.ravel()
            keep &= (least[place] > _beside(least, place) - 1) & (
                excess > COMPANY * sums.rows.max(axis=1)[place // BINS]
            )
        place, excess = place[keep], excess[keep]
        if len(place):
            alone = _alone(sums, place, excess, self._beside)
            place, excess = place[alone], excess[alone]
        t, k = np.divmod(place, BINS)
        found = zip(sums.frames[t].tolist(), k.tolist(), excess.tolist(), strict=True)
        return [Candidate(frame, bin_, length, strength, faint) for frame, bin_, strength in found]

    def _tops(self, sums: _Sums, free_from: Indices, taken: Mask | None, faint: bool) -> Indices:
        """Where in the flat `sums` they pass the threshold, in free bins, and no neighbouring bin is stronger.

        faint: near the known tone only, and what passes the ordinary threshold is left out.
        """
        low, high = self._near if faint and self._near is not None else self._range
        flat = sums.rows.ravel()
        top = flat[1:-1] > (self._fainter if faint else self._thresholds)[sums.length]
        top &= flat[1:-1] >= flat[:-2]
        top &= flat[1:-1] > flat[2:]
        if faint:
            top &= flat[1:-1] <= self._thresholds[sums.length]
        place = np.flatnonzero(top) + 1
        t, k = np.divmod(place, BINS)
        keep = (k >= low) & (k < high) & (sums.frames[t] - sums.length + 1 >= free_from[k])
        if taken is not None:
            keep &= ~taken.ravel()[place]
        return place[keep]


def _clipped(ratio: Floats) -> Floats:
    """The ratio, CLIP at most."""
    if len(ratio) <= BLOCK:
        clipped: Floats = np.minimum(ratio, CLIPPED[: len(ratio)])
        return clipped
    return np.minimum(ratio, CLIP)


def _beside(flat: Floats, place: Indices) -> Floats:
    """Greatest value 4 and 5 bins away from each place."""
    one: Floats = np.maximum(flat[place - 5], flat[place - 4])
    other: Floats = np.maximum(flat[place + 4], flat[place + 5])
    return np.maximum(one, other)


def _alone(sums: _Sums, place: Indices, excess: Floats, noise: float) -> Mask:
    """Where a sum stands out from those 5 to FAR bins away; `noise`: the most that noise alone gives two frames."""
    t, k = np.divmod(place, BINS)
    wide = np.zeros((len(sums.rows), BINS + 2 * FAR), np.float32)
    wide[:, FAR:-FAR] = sums.rows
    strongest = wide.ravel()[(t * wide.shape[1] + k + FAR)[:, None] + OFFSETS].max(axis=1)
    times = ALONE if sums.length > 2 else np.where(strongest > noise, STANDS_OUT, ALONE)
    alone: Mask = excess > times * (strongest - sums.length)
    return alone
