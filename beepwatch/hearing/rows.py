"""The last frames' spectra, by frame number: what tracks look back at."""

from collections.abc import Sequence

import numpy as np

from .floor import BLOCK
from .spectrum import BAND_BINS, BANDS, BINS, Floats, Mask

LOOKED_BACK = 320
"""Frames (20 s) that may be looked back at: a sum over 128 looks back twice its length for a beep's start."""
KEPT = LOOKED_BACK + BLOCK
"""Frames kept: as many before each of a block that came at once."""
ROOM = 3
"""Times KEPT after which they are moved to the front: twice moves as much again, four times takes 2 MB more."""
BLOCKS = KEPT // BLOCK + 4
BAND_OF = np.arange(BINS) // BAND_BINS
"""Band of each bin."""


class Rows:
    """Ratio of power to noise, the noise, and the bins that live tracks hold, for the last KEPT frames."""

    def __init__(self, channels: int) -> None:
        """Room for ROOM times KEPT frames and a block more at once."""
        self.channels = channels
        self._room = ROOM * KEPT + BLOCK
        self._ratio: Floats = np.ones((self._room, BINS), np.float32)
        self._gains: Floats = np.ones((channels, self._room, BANDS), np.float32)
        self._floors: Floats = np.ones((channels, BLOCKS, BINS), np.float32)
        self._shares: Floats = np.ones((BLOCKS, BANDS), np.float32)
        self._marks: Mask = np.zeros((4, self._room, BINS), np.bool_)
        """False from the newest frame on."""
        self._old: Mask = self._marks[0]
        self._held: Mask = self._marks[1]
        self._splashed: Mask = self._marks[2]
        self._faint: Mask = self._marks[3]
        self._base = 0
        self.end = 0
        """Number of the frame after the newest."""

    def next(self, n: int) -> tuple[Floats, Floats]:
        """Append n frames of one block: where their ratio (n, BINS) and gains (channels, n, BANDS) are to be written.

        What was given before still holds the frames of the last block.
        """
        if self.end - self._base + n > self._room:
            self._shift()
        at = self.end - self._base
        self.end += n
        return self._ratio[at : at + n], self._gains[:, at : at + n]

    def know(self, floors: Sequence[Floats], share: Floats) -> None:
        """Of the block that holds the newest frame: one floor (BINS,) a channel.

        share (BANDS,): independent looks of the channels over their number.
        """
        block = ((self.end - 1) // BLOCK) % BLOCKS
        self._floors[:, block] = floors
        self._shares[block] = share

    def _shift(self) -> None:
        used = self.end - self._base
        keep = min(KEPT, used)
        self._ratio[:keep] = self._ratio[used - keep : used]
        for store in (self._gains, self._marks):
            store[:, :keep] = store[:, used - keep : used]
        self._marks[:, keep:used] = False
        self._base = self.end - keep

    @staticmethod
    def since(frame: int) -> int:
        """The first frame that may be looked at from `frame`, however many frames have come since."""
        return max(0, frame - LOOKED_BACK)

    def ratio(self, first: int, stop: int) -> Floats:
        """Power over noise of frames first <= t < stop, shape (n, BINS)."""
        return self._ratio[first - self._base : stop - self._base]

    def gains(self, first: int, stop: int) -> Floats:
        """Level of the noise over its floor in frames first <= t < stop, shape (channels, n, BANDS)."""
        return self._gains[:, first - self._base : stop - self._base]

    def noise(self, first: int, stop: int, low: int, high: int) -> Floats:
        """Noise power of frames first <= t < stop in bins low <= k < high, shape (channels, n, high - low)."""
        gains = self._gains[:, first - self._base : stop - self._base].take(BAND_OF[low:high], axis=2)
        if first // BLOCK == (stop - 1) // BLOCK:
            gains *= self._floors[:, (first // BLOCK) % BLOCKS, None, low:high]
        else:
            gains *= self._floors[:, (np.arange(first, stop) // BLOCK) % BLOCKS, low:high]
        return gains

    def taken(self, frame: int, bin_: int, *, splashed: bool, faint: bool) -> bool:
        """Is the bin another track's at that frame (or, `splashed`, may a track splash into it)?

        faint: a faint track counts too; for others it gives way.
        """
        at = frame - self._base
        return bool((self._splashed if splashed else self._held)[at, bin_]) or (faint and bool(self._faint[at, bin_]))

    def noise_at(self, first: int, stop: int, bin_: int) -> Floats:
        """Noise power of frames first <= t < stop in one bin, all channels' mean, shape (n,)."""
        gains = self._gains[:, first - self._base : stop - self._base, bin_ // BAND_BINS]
        if first // BLOCK == (stop - 1) // BLOCK:
            floors = self._floors[:, (first // BLOCK) % BLOCKS, None, bin_]
        else:
            floors = self._floors[:, (np.arange(first, stop) // BLOCK) % BLOCKS, bin_]
        noise: Floats = floors[0] * gains[0] if len(gains) == 1 else (floors * gains).mean(axis=0)
        return noise

    def noise_in(self, frame: int, bin_: int) -> float:
        """The same of one frame."""
        if len(self._floors) > 1:
            return float(self.noise_at(frame, frame + 1, bin_)[0])
        gain = self._gains[0, frame - self._base, bin_ // BAND_BINS]
        return float(self._floors[0, (frame // BLOCK) % BLOCKS, bin_] * gain)

    def power(self, first: int, stop: int, pair: int) -> float:
        """Mean power of frames first <= t < stop in the two bins of a pair, noise and all."""
        noise = self.noise(first, stop, pair, pair + 2).mean(axis=0)
        return float(np.add.reduce(self.ratio(first, stop)[:, pair : pair + 2] * noise, axis=None)) / (stop - first)

    def share(self, first: int, stop: int, bin_: int) -> Floats:
        """Independent looks of the channels over their number, at one bin, shape (n,)."""
        looks: Floats = self._shares[(np.arange(first, stop) // BLOCK) % BLOCKS, bin_ // BAND_BINS]
        return looks

    def old(self, first: int, stop: int) -> Mask:
        """Where bins of tones that have gone on for seconds are marked, shape (n, BINS); a view that may be written."""
        return self._old[first - self._base : stop - self._base]

    def lasting(self, frame: int) -> Mask:
        """Bins of tones that had gone on for seconds by `frame`, (BINS,); read in the marks of a block before.

        All tracks have been followed so far by then, in whatever pieces the frames came.
        """
        at = frame - BLOCK - self._base
        return self._old[at] if at >= 0 else np.zeros(BINS, np.bool_)

    def held(self, first: int, stop: int) -> Mask:
        """Bins near a live track, shape (n, BINS); a view that may be written."""
        return self._held[first - self._base : stop - self._base]

    def faint(self, first: int, stop: int) -> Mask:
        """Bins near a faint track, shape (n, BINS); a view that may be written."""
        return self._faint[first - self._base : stop - self._base]

    def splashed(self, first: int, stop: int) -> Mask:
        """Bins that a live track's switching on or off may splash into; a view that may be written."""
        return self._splashed[first - self._base : stop - self._base]
