"""From the source's own rate to the recogniser's, as a stream."""

import numpy as np
import numpy.typing as npt
import soxr

from beepwatch.errors import SamplesError
from beepwatch.sources.block import Samples

TARGET = 16_000
"""Hz: the rate that the recogniser works at."""


class Resampler:
    """Changes float32 samples of `rate` Hz and `channels` channels to 16 kHz, aligned with the input.

    The filter is linear-phase and its delay is taken out: a click at t s comes out at t s, however long the
    stream, but only after up to 0.04 s more input (0.2 s at 8 kHz). At 16 kHz samples pass untouched.
    NaN (and infinity) marks a gap: it comes out as NaN for the same stretch of time and spoils nothing else.
    """

    def __init__(self, rate: int, channels: int) -> None:
        self.rate = rate
        self.channels = channels
        self._taken = 0
        self._given = 0
        self._stream = self._new_stream()
        self._origin = (0, 0)
        self._gaps = np.empty((0, 2), dtype=np.int64)

    def push(self, samples: Samples) -> Samples:
        """Take the next samples, shape (n, channels); return those of 16 kHz that are ready."""
        if samples.ndim != 2 or samples.shape[1] != self.channels:
            raise SamplesError(f"expected samples of shape (n, {self.channels}), got {samples.shape}")
        if self._stream is None:
            self._taken = self._given = self._taken + len(samples)
            return samples
        return self._resampled(self._stream, samples, last=False)

    def flush(self) -> Samples:
        """Return what is still inside; the next push begins just after it. The output's length is exact."""
        if self._stream is None or self._taken == self._origin[0]:
            return np.zeros((0, self.channels), dtype=np.float32)
        rest = self._resampled(self._stream, np.zeros((0, self.channels), dtype=np.float32), last=True)
        excess = self._given - self._due()  # -1, 0 or 1: soxr rounds each stream, we round the whole
        self._restart()
        if excess >= 0:
            return rest[: len(rest) - excess]
        last = rest[-1:] if len(rest) else np.zeros((1, self.channels), dtype=np.float32)  # under a sample was put in
        return np.concatenate([rest, last])

    def skip(self, lost: int) -> tuple[Samples, int]:
        """`lost` samples of input never came: return the sound before them, and the number missing at 16 kHz.

        Counted so that time does not drift, however many gaps there are.
        """
        rest = self.flush()
        self._taken += lost
        missing = self._due() - self._given
        self._restart()
        return rest, missing

    def _due(self) -> int:
        """How many samples of 16 kHz belong to the input so far, from the stream's start."""
        return round(self._taken * TARGET / self.rate)

    def _restart(self) -> None:
        self._stream = self._new_stream()
        self._given = self._due()
        self._origin = (self._taken, self._given)
        self._gaps = self._gaps[:0]

    def _new_stream(self) -> "soxr.ResampleStream | None":
        if self.rate == TARGET:
            return None
        return soxr.ResampleStream(self.rate, TARGET, self.channels, dtype="float32", quality="HQ")

    def _resampled(self, stream: soxr.ResampleStream, samples: Samples, last: bool) -> Samples:
        broken = ~np.isfinite(samples)
        if broken.any():
            self._note_gaps(broken)
            samples = np.where(broken, np.float32(0), samples)
        self._taken += len(samples)
        out: Samples = stream.resample_chunk(np.ascontiguousarray(samples), last=last)
        self._given += len(out)
        if len(self._gaps):
            self._mark_gaps(out)
        return out

    def _note_gaps(self, broken: npt.NDArray[np.bool_]) -> None:
        """Keep the places (row of 16 kHz since the stream's start, channel) that the broken samples cover."""
        rows, columns = np.nonzero(broken)
        ratio = TARGET / self.rate
        middle = (rows + self._taken - self._origin[0]) * ratio
        places = (np.ceil(middle - ratio / 2), np.rint(middle), np.floor(middle + ratio / 2))
        marks = np.stack([np.concatenate(places), np.tile(columns, 3)], axis=1).astype(np.int64)
        self._gaps = np.unique(np.concatenate([self._gaps, marks]), axis=0)

    def _mark_gaps(self, out: Samples) -> None:
        first = self._given - len(out) - self._origin[1]
        inside = self._gaps[:, 0] < first + len(out)
        rows, columns = self._gaps[inside].T
        ready = rows >= first
        out[rows[ready] - first, columns[ready]] = np.nan
        self._gaps = self._gaps[~inside]
