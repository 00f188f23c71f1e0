"""Blocks of sound through one fixed filter, the tail of each carried into the next (overlap-add)."""

import numpy as np
from numpy.typing import NDArray


class Convolver:
    """Filters blocks of one fixed length; the joined output is the convolution of the joined input."""

    def __init__(self, taps: NDArray[np.float64], block: int) -> None:
        """taps: impulse response, shape (m,), m >= 1. block: samples in each push."""
        from scipy.fft import next_fast_len, rfft  # noqa: PLC0415 - `import beepwatch` stays quick

        self.tail = len(taps) - 1
        self._block = block
        self._size = next_fast_len(block + self.tail, real=True)
        self._response = rfft(taps, self._size)
        self._carry: NDArray[np.float64] = np.zeros(self.tail)

    def push(self, samples: NDArray[np.float64]) -> NDArray[np.float64]:
        """Shape (block,) in, shape (block,) out, without delay beyond that of the taps."""
        from scipy.fft import irfft, rfft  # noqa: PLC0415

        full = irfft(rfft(samples, self._size) * self._response, self._size)[: self._block + self.tail]
        full[: self.tail] += self._carry
        self._carry = full[self._block :].copy()
        return np.asarray(full[: self._block])
