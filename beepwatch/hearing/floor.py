"""The noise that a tone has to stand out from: colour in a slow floor, level in a fast gain.

Noise power at frame t and bin k is floor[k] * gain[t, band of k]. The gain is a median over the 64 bins of a band in
that very frame, so hiss that swells with each breath, a door or a lorry raise it at once; the floor is the median
over half a minute of what is left, so neither a 20 s beep nor a door lifts it. This is an ordered-statistic
constant-false-alarm-rate detector (Rohling 1983, IEEE Trans. AES 19:608, from memory) over frequency for the level
and over time for the colour.
"""

import numpy as np

from .spectrum import BAND_BINS, BANDS, BINS, WINDOW_POWER, Floats, Mask

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
QUARTER = np.float32(0.25) * np.float32(1 / MIDDLE)
"""From such a median to a quarter of the mean."""
NEIGHBOURS = np.array([0, *range(BANDS), BANDS - 1])
"""The bands with the outer ones repeated."""
HUGE = np.float32(3e38)
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
    level = _band_medians(power) * QUARTER
    wide = level[:, NEIGHBOURS]
    smoothed: Floats = wide[:, :-2] + wide[:, 2:]
    level += level
    smoothed += level
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


class _Memory:
    """What the last MEMORY blocks held in each bin, and its median: one goes and one comes, so all stay sorted."""

    def __init__(self, start: Floats) -> None:
        """Three blocks of `start` (BINS,)."""
        self._blocks: Floats = np.repeat(start[None], 3, axis=0)
        self._sorted: Floats = self._blocks.copy()
        self._rest: Floats = np.empty((MEMORY - 1, BINS), np.float32)
        self._oldest = 0

    @property
    def middle(self) -> Floats:
        """The median, the upper one of two."""
        middle: Floats = self._sorted[len(self._sorted) // 2]
        return middle

    def scale(self, by: Floats) -> None:
        """All of it, times so much in each bin; the order stays."""
        self._blocks *= by
        self._sorted *= by

    def add(self, block: Floats) -> None:
        """Take in a block (BINS,), of positive values, for the oldest."""
        if len(self._blocks) < MEMORY:
            self._blocks = np.concatenate([self._blocks, block[None]])
            self._sorted = np.sort(self._blocks, axis=0)
            return
        ranks, rest = self._sorted, self._rest
        np.multiply(ranks[:-1] >= self._blocks[self._oldest], HUGE, out=rest)
        np.maximum(rest, ranks[:-1], out=rest)
        np.minimum(rest, ranks[1:], out=rest)  # the next rank's from where the oldest was on
        np.minimum(rest[0], block, out=ranks[0])
        np.minimum(rest[1:], block, out=ranks[1:-1])
        np.maximum(rest[:-1], ranks[1:-1], out=ranks[1:-1])
        np.maximum(rest[-1], block, out=ranks[-1])
        self._blocks[self._oldest] = block
        self._oldest = (self._oldest + 1) % MEMORY


class NoiseFloor:
    """The floor of one channel; pure state, driven by frames."""

    def __init__(self, first: Floats) -> None:
        """Start from the first frames, shape (n, BINS), n >= 1: smooth over frequency, so a tone in them stands out."""
        start = np.maximum(running_median(first.mean(axis=0)), np.float32(QUIETEST))
        self.floor: Floats = start
        self._inverse: Floats = np.reciprocal(start)
        self._memory = _Memory(start)
        self.alive = bool(np.any(first))
        self._drift: Floats = np.ones(BINS, np.float32)
        """Of the level in each bin's band over the last block."""
        self._kept: tuple[Floats, Floats, Floats] | None = None

    def normalise_in(self, rows: Floats, gains: Floats) -> None:
        """Make the power of `rows` (n, BINS) power over noise; write the gains (n, BANDS), at least LEAST_GAIN.

        Both are float32 and contiguous.
        """
        rows *= self._inverse
        np.maximum(band_level(rows), np.float32(LEAST_GAIN), out=gains)
        bands = rows.reshape(-1, BANDS, BAND_BINS)
        bands *= np.reciprocal(gains)[:, :, None]

    def learn(self, ratio: Floats, gains: Floats, busy: Mask | None) -> None:
        """Take in the block before this one, and keep this one: ratio (BLOCK, BINS), gains (BLOCK, BANDS).

        busy: bool (BLOCK, BINS), where tones sounded in the block before (None: nowhere); beeps that ended in it are
        known by now. A
        bin with under FEWEST frames free of them keeps its floor: else a beep at each breath would lift it for itself.
        """
        self.alive = bool(ratio[0].max() > 0 or ratio.max() > 0)
        before, self._kept = self._kept, (ratio, gains, self.floor)
        if before is not None:
            self._take(*before, busy)

    def _take(self, ratio: Floats, gains: Floats, floor: Floats, busy: Mask | None) -> None:
        heard = np.minimum.reduce(gains, axis=1) > LEAST_GAIN
        hearing = int(np.count_nonzero(heard))
        if hearing < BLOCK // 2:
            return
        block = floor * self._drift
        block *= _free_mean(ratio, heard, busy)
        self._memory.add(np.where(block > 0, block, self.floor))
        logs = np.log(gains if hearing == len(gains) else gains[heard])
        self._drift = np.exp(REANCHOR * (np.add.reduce(logs, axis=0) / np.float32(hearing))).repeat(BAND_BINS)
        self._memory.scale(self._drift)
        self.floor = np.maximum(self._memory.middle, np.float32(QUIETEST))
        self._inverse = np.reciprocal(self.floor)


def _free_mean(ratio: Floats, heard: Mask, busy: Mask | None) -> Floats:
    """Mean ratio of each bin over frames that are `heard` and not `busy`; 0 where there are too few."""
    if heard.all() and (busy is None or not busy.any()):
        mean: Floats = np.add.reduce(ratio, axis=0)
        mean /= np.float32(len(ratio))
        return mean
    free = np.repeat(heard[:, None], BINS, axis=1) if busy is None else heard[:, None] & ~busy
    count = np.add.reduce(free.view(np.uint8), axis=0)  # of BLOCK frames at most
    total: Floats = np.add.reduce(np.where(free, ratio, np.float32(0)), axis=0)
    return np.where(count >= FEWEST, total / np.maximum(count, 1), 0).astype(np.float32)
