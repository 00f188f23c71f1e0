"""Where to look: sums of normalised power over 1 to 128 frames, and the bins in which one stands out.

A beep of unknown length is met by sums over doubling lengths (non-coherent integration), so a long beep is heard
deeper than a short one. A sum over L frames of noise is gamma distributed; each threshold is the quantile with the
chance `CHANCE[L]` for one bin and frame. These are only candidates: the coherent fit decides (`fit.py`).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammainccinv

from .around import Indices, all_beside, nearest, second
from .floor import BLOCK
from .spectrum import BINS, Floats, Mask

CHANCE = {2: 1e-8, 4: 1e-7, 8: 3e-7, 16: 5e-7, 32: 1e-7, 64: 1e-8, 128: 1e-8}
"""Chance for one bin and frame of noise alone. Short sums are stricter, as a weak short sum cannot pass the fit; long
ones too, as noise that passes costs most there: with 5e-7 a review of noise takes a sixth more time, and of 10 s beeps
at -28 and -30 dB 99 and 47 of 100 are heard, not 96 and 37 (measured, tests/bench/detection.py)."""
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
SHORT, STILL_SHORT = 8, 0.3
"""The same for sums of up to SHORT frames, whatever they hold (measured: of beeps in noise, rooms, speech and music 1 %
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
TWO_FROM, OF_TWO, CLEAR_OF_TWO = 8, 3.0, 10.0
"""Frames from which a sum may have one stronger line beside it, another sounder, how many times it must then stand over
all the rest, and its least mean power over noise (judgement)."""
FULL = 0.95
"""Share of CLIP in each frame, on the mean, from which a sum says no more than that it is loud (judgement)."""
CLEAR, CLEARLY = 200.0, 6.0
"""Excess from which noise no longer counts, and how many times a line then stands over those neighbours."""


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
    loud: bool = False
    """It is a line in its last frame, where the sum tells nothing more; it counts in a loud tone's splash alone."""


def thresholds(channels: int, gain: float = 1.0) -> dict[int, float]:
    """Threshold on the sum over L frames of `channels` channels' mean normalised power, at `gain` times CHANCE."""
    return {
        length: float(gammainccinv(length * channels, gain * chance)) / channels for length, chance in CHANCE.items()
    }


CLIPPED = np.full((BLOCK, BINS), CLIP)
"""Of a whole block: numpy compares two arrays quicker than an array and a number."""
NONE: Indices = np.zeros(0, np.int64)


class _Store:
    """The sums over one length: those of the frames at hand, and some before them."""

    def __init__(self, kept: int) -> None:
        """Keep so many from before; they are moved to the front only when there is no more room."""
        self._kept, self._at, self._n = kept, kept, 0
        self._rows: Floats = np.zeros((kept + BLOCK, BINS), np.float32)

    def next(self, n: int) -> Floats:
        """Where the next n are to be written, (n, BINS); those of the last time become those before."""
        kept, at = self._kept, self._at + self._n
        if at + n > len(self._rows):
            self._rows[:kept] = self._rows[at - kept : at]
            at = kept
            if at + n > len(self._rows):
                self._rows = np.concatenate([self._rows[:kept], np.zeros((n, BINS), np.float32)])
        self._at, self._n = at, n
        return self._rows[at : at + n]

    def before(self, steps: int, n: int) -> Floats:
        """n of them, from so many before the first at hand on."""
        return self._rows[self._at - steps : self._at - steps + n]


@dataclass(frozen=True, slots=True)
class _Sums:
    """Rows of sums over `lengths` frames that end with `frames`: (n, BINS) and (n,); those of two frames come first."""

    rows: Floats
    last: Floats
    """Ratio of each sum's last frame."""
    least: Floats
    """The lesser of its two frames, for the rows of two frames."""
    taken: Mask
    """Where no track may open."""
    frames: Indices
    lengths: Indices
    thresholds: Floats


class Search:
    """Sliding sums of normalised power; `push` gives the candidates of new frames."""

    def __init__(self, channels: int = 1, lowest: int = 0, highest: int = BINS) -> None:
        """Search bins lowest <= k < highest for sums over `channels` averaged channels."""
        self._thresholds = thresholds(channels)
        self._fainter = thresholds(channels, NEAR_GAIN)
        self._beside = float(gammainccinv(2 * channels, BESIDE)) / channels
        self._range = (max(lowest, EDGE_BINS), min(highest, BINS - EDGE_BINS))
        self._near: tuple[int, int] | None = None
        self._last: Floats = np.zeros((1, BINS), np.float32)
        """The last frame before, not clipped."""
        self._sums_of = {length: _Store(min(length, 4)) for length in (1, *CHANCE)}

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
        pairs_from: Indices | None = None,
    ) -> list[Candidate]:
        """Candidates of the frames `first`, first + 1 ..., in time order, the strongest first within a frame.

        ratio: power over noise, float32 (n, BINS). free_from: int (BINS,), the first frame that a sum may use.
        taken, splashed: bool (n, BINS), bins in which no track may open: at all, or by a sum of two frames.
        faint_from: as free_from (and that where None), for what is a candidate only because it is near a known tone.
        pairs_from: as free_from (and that where None), for sums of two frames, and what is loud: in a loud tone's
        tail, too.
        """
        held = np.zeros(ratio.shape, np.bool_) if taken is None else taken
        sums = self._sums(ratio, first, held, held if splashed is None else splashed)
        if sums is None:
            return []
        found = self._peaks(sums, free_from, pairs_from)
        found += self._loud(sums, free_from if pairs_from is None else pairs_from)
        if self._near is not None:
            found += self._peaks(sums, free_from if faint_from is None else faint_from, faint=True)
        return sorted(found, key=lambda c: (c.frame, -c.excess))

    def _sums(self, ratio: Floats, first: int, held: Mask, splashed: Mask) -> _Sums | None:
        """Sums of the frames `ratio`, those rows alone that pass a threshold somewhere; None without any."""
        if len(ratio) == 0:
            return None
        last, self._last = self._last, ratio[-1:].copy()
        clipped = self._sums_of[1].next(len(ratio))
        _clip(ratio, clipped)
        rows = self._sums_of[2].next(len(ratio))
        np.add(clipped, self._sums_of[1].before(1, len(ratio)), out=rows)
        found, least = [], last[:0]
        hot = self._hot(rows, 2)
        if len(hot):
            one, other = np.concatenate([last, ratio])[hot], ratio[hot]
            least = np.minimum(one, other)
            found.append((one + other, splashed[hot], hot, 2))
        at, step = 0, 1
        for length in (4, 8, 16, 32, 64, 128):
            half = length // 2
            wanted = max(1, half // 2)
            skip, every, n = (-(first + at) - 1) % wanted // step, wanted // step, len(rows)
            if skip >= n:
                break
            joined = self._sums_of[length].next((n - skip - 1) // every + 1)
            before = self._sums_of[half].before(half // step, n)
            np.add(rows[skip::every], before[skip::every], out=joined)
            rows, at, step = joined, at + skip * step, wanted
            hot = self._hot(rows, length)
            if len(hot):
                ends = at + step * hot
                found.append((rows[hot], held[ends], ends, length))
        return _gathered(found, least, ratio, first, self._thresholds) if found else None

    def _hot(self, rows: Floats, length: int) -> Indices:
        """Rows in which some bin passes a threshold."""
        if self._near is None and float(np.maximum.reduce(rows, axis=None)) <= self._thresholds[length]:
            return NONE
        hot = np.maximum.reduce(rows, axis=1) > self._thresholds[length]
        if self._near is not None and length > 2:
            hot |= rows[:, slice(*self._near)].max(axis=1, initial=0) > self._fainter[length]
        found: Indices = hot.nonzero()[0]
        return found

    def _peaks(
        self, sums: _Sums, free_from: Indices, pairs_from: Indices | None = None, *, faint: bool = False
    ) -> list[Candidate]:
        """Bins that stand out in `sums`, are a line there, and still sound in `sums.last`; faint: near the tone."""
        place = self._tops(sums, free_from, free_from if pairs_from is None else pairs_from, faint)
        if len(place) == 0:
            return []
        flat = sums.rows.ravel()
        length = sums.lengths[place // BINS].astype(np.float32)
        excess, still = flat[place] - length, sums.last.ravel()[place] * length
        keep = excess > np.where(excess < CLEAR, WIDE, CLEARLY) * (nearest(flat, place) - length)
        share = np.where(excess < LOUD, 0.0, STILL)
        keep &= still > (share if faint else np.where(length > SHORT, share, STILL_SHORT)) * excess
        place, excess, length = place[keep], excess[keep], length[keep]
        pairs = int(np.searchsorted(place, sums.least.size))
        if pairs:
            keep = np.ones(len(place), np.bool_)
            least, two = sums.least.ravel(), place[:pairs]
            keep[:pairs] = least[two] > nearest(least, two) - 1
            keep[:pairs] &= excess[:pairs] > COMPANY * sums.rows[: len(sums.least)].max(axis=1)[two // BINS]
            place, excess, length = place[keep], excess[keep], length[keep]
        if len(place) == 0:
            return []
        keep = self._alone(sums, place, excess, length)
        t, k = np.divmod(place[keep], BINS)
        found = zip(sums.frames[t].tolist(), k.tolist(), sums.lengths[t].tolist(), excess[keep].tolist(), strict=True)
        return [Candidate(*one, faint) for one in found]

    def _loud(self, sums: _Sums, free_from: Indices) -> list[Candidate]:
        """Lines so loud that clipped sums are alike on both sides: alone in their last frame, or one of two lines.

        No pair may open in the splash of a loud tone, so a loud beep beside it is found by these alone.
        """
        some = (sums.lengths > 2) & (sums.lengths <= SHORT)
        place = np.flatnonzero((sums.rows > FULL * CLIP * sums.lengths[:, None]) & some[:, None])
        last = sums.last.ravel()
        here = last.take(place)
        place = place[
            (here >= last.take(place - 1, mode="clip"))
            & (here > last.take(place + 1, mode="clip"))
            & self._free(sums, place, free_from)
        ]
        if len(place) == 0:
            return []
        keep = last[place] > CLEARLY * nearest(last, place)
        keep &= last[place] > STANDS_OUT * second(all_beside(sums.last, place))
        place = place[keep]
        t, k = np.divmod(place, BINS)
        excess = sums.rows.ravel()[place] - sums.lengths[t]
        found = zip(sums.frames[t].tolist(), k.tolist(), sums.lengths[t].tolist(), excess.tolist(), strict=True)
        return [Candidate(*one, loud=True) for one in found]

    def _free(self, sums: _Sums, place: Indices, free_from: Indices) -> Mask:
        """Which of the places in the flat `sums` lie in bins that are searched, and free."""
        low, high = self._range
        t, k = np.divmod(place, BINS)
        free: Mask = (k >= low) & (k < high) & (sums.frames[t] - sums.lengths[t] + 1 >= free_from[k])
        return free & ~sums.taken.ravel()[place]

    def _alone(self, sums: _Sums, place: Indices, excess: Floats, length: Floats) -> Mask:
        """Which of the places in the flat `sums` stand out over all 5 to FAR bins away, or over all but one line."""
        beside = all_beside(sums.rows, place)
        strongest = np.maximum.reduce(beside, axis=1)
        times = np.where((length == 2) & (strongest > self._beside), STANDS_OUT, ALONE)
        alone: Mask = excess > times * (strongest - length)
        other = np.flatnonzero(~alone & (length >= TWO_FROM) & (excess > CLEAR_OF_TWO * length))
        if len(other):
            alone[other] = excess[other] > OF_TWO * (second(beside[other]) - length[other])
        return alone

    def _tops(self, sums: _Sums, free_from: Indices, pairs_from: Indices, faint: bool) -> Indices:
        """Where in the flat `sums` they pass the threshold, in free bins, and no neighbouring bin is stronger.

        faint: near the known tone only, and what passes the ordinary threshold is left out.
        """
        low, high = self._near if faint and self._near is not None else self._range
        over = sums.rows > sums.thresholds[:, None]
        if faint:
            fainter = [self._fainter[int(n)] if n > 2 else np.inf for n in sums.lengths]
            over = (sums.rows > np.array(fainter, np.float32)[:, None]) & ~over
        flat, place = sums.rows.ravel(), np.flatnonzero(over)
        here = flat.take(place)
        top = here >= flat.take(place - 1, mode="clip")
        top &= here > flat.take(place + 1, mode="clip")
        place = place[top]
        t, k = np.divmod(place, BINS)
        length = sums.lengths.take(t)
        earliest = np.where(length == 2, pairs_from.take(k), free_from.take(k))
        keep = (k >= low) & (k < high) & (sums.frames.take(t) - length + 1 >= earliest)
        keep &= ~sums.taken.ravel().take(place)
        found: Indices = place[keep]
        return found


def _gathered(
    found: list[tuple[Floats, Mask, Indices, int]], least: Floats, ratio: Floats, first: int, over: dict[int, float]
) -> _Sums:
    """All in one: (rows, taken, ends, length) of each length, ends counted from the frame `first`."""
    ends = np.concatenate([at for _, _, at, _ in found])
    lengths = np.repeat([length for *_, length in found], [len(at) for _, _, at, _ in found])
    return _Sums(
        np.concatenate([rows for rows, *_ in found]), ratio[ends], least,
        np.concatenate([taken for _, taken, _, _ in found]), first + ends, lengths,
        np.array([over[int(length)] for length in lengths], np.float32),
    )  # fmt: skip


def _clip(ratio: Floats, clipped: Floats) -> None:
    """Write into `clipped` the ratio, CLIP at most."""
    np.minimum(ratio, CLIPPED[: len(ratio)] if len(ratio) <= BLOCK else CLIP, out=clipped)
