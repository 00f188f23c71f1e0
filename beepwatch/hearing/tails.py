"""What a loud tone leaves in the room after its end, so that it is not told again, and its next pulse is."""

import numpy as np

from .rows import Rows
from .spectrum import BINS, HOP_SECONDS

DECAY = 6.0
"""Powers of ten a second by which a tail is taken to fall: a room whose T60 is 1 s, which few bedrooms have (judgement;
furnished ones have 0.25 to 0.55 s)."""
JUMP = 10.0
"""Times (10 dB) by which a new pulse's two frames stand over the frame before and over what the tail may have left. A
tail never rises; of an onset anywhere in a frame two have over a quarter of its power, and the frame before them
under a hundredth (Hann window, half overlapped: theory)."""


class Tails:
    """By bin: where the last tone's tail begins, and its level there. `begin`: frames, int (BINS,)."""

    def __init__(self) -> None:
        self.begin = np.zeros(BINS, np.int64)
        self._level = np.zeros(BINS)
        self._coming: list[tuple[int, slice, int, float]] = []

    def follow(self, closed: int, bins: slice, begin: int, level: float) -> None:
        """A track that closed at frame `closed` leaves a tail of power `level` from frame `begin` on."""
        self._coming.append((closed, bins, begin, level))

    def set(self, frame: int) -> None:
        """Frame `frame` has come."""
        for closed, bins, begin, level in self._coming:
            if closed <= frame:
                self.begin[bins] = np.maximum(self.begin[bins], begin)
                self._level[bins] = level
        self._coming = [item for item in self._coming if item[0] > frame]

    def passed(self, rows: Rows, frame: int, bin_: int) -> bool:
        """Whether the frame and the one before it are a new pulse, far over the tail and over what was just there."""
        since = frame - 1 - int(self.begin[bin_])
        if since < 0 or frame < 2:
            return False
        before, one, other = rows.ratio(frame - 2, frame + 1)[:, bin_].tolist()
        left = float(self._level[bin_]) * 10 ** (-DECAY * since * HOP_SECONDS) / max(rows.noise_in(frame, bin_), 1e-30)
        return bool(min(one, other) > JUMP * max(before, left))
