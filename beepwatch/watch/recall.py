"""The last minute and a half of sound, in memory that never grows."""

import numpy as np

from beepwatch.sources.block import Samples

RATE = 16_000
"""Hz of the sound that is heard."""
SECONDS = 90.0
"""s that are kept: an alarm's first beeps and what led up to it, or its last ones when it is over (judgement)."""
CHANNELS = 2
"""Of a source with more, the first two: 5.8 MB (judgement)."""


class Recall:
    """A ring of 16-bit sound; places are samples of the stream since its start."""

    def __init__(self, seconds: float = SECONDS) -> None:
        self._length = int(seconds * RATE)
        self._ring = np.zeros((0, 0), np.int16)  # made when the first block tells the channels
        self._end = 0

    def push(self, samples: Samples) -> None:
        """Take the next samples of 16 kHz, shape (n, channels)."""
        kept = samples[-self._length :, :CHANNELS]
        if self._ring.shape[1] != kept.shape[1]:
            self._ring = np.zeros((self._length, kept.shape[1]), np.int16)
        self._end += len(samples)
        self._write(np.clip(np.nan_to_num(kept) * 32767, -32768, 32767).astype(np.int16))

    def skip(self, count: int) -> None:
        """Nothing was heard for so many samples: silence takes their place."""
        self._end += count
        self._write(np.zeros((min(count, self._length), self._ring.shape[1]), np.int16))

    def cut(self, begin: float, end: float) -> tuple[float, Samples]:
        """What is still there between two moments, s: when it begins, and a copy, float32, shape (n, channels)."""
        last = min(self._end, round(end * RATE))
        first = min(max(0, self._end - self._length, round(begin * RATE)), last)
        if not len(self._ring):
            return begin, np.zeros((0, 1), np.float32)
        places = np.arange(first, last) % self._length
        return first / RATE, self._ring[places].astype(np.float32) / np.float32(32767)

    def _write(self, piece: "np.ndarray[tuple[int, int], np.dtype[np.int16]]") -> None:
        """Put a piece that ends at `_end` into its places."""
        if len(self._ring):
            self._ring[np.arange(self._end - len(piece), self._end) % self._length] = piece
