"""Samples into power spectra: frames of 128 ms, one each 64 ms, and the few constants that all of hearing shares.

A Hann window of 2048 samples at 16 kHz spreads a tone over +-2 bins of 7.8 Hz and still sees the 0.1 s pulses of
the standards' patterns. Its sidelobes fall by 18 dB an octave (Harris 1978, Proc. IEEE 66:51, from memory).
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats: TypeAlias = NDArray[np.float32]
Doubles: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]
Mask: TypeAlias = NDArray[np.bool_]

RATE = 16_000
"""Samples a second inside beepwatch; sources convert to it."""
FRAME = 2048
HOP = 1024
BIN_HZ = RATE / FRAME
LOW_BIN = 42
"""First bin kept: 328 Hz. All bin numbers elsewhere count from here."""
BINS = 640
"""Bins kept: 328 to 5328 Hz, so that a tone of 400 Hz to 5 kHz has neighbours on both sides."""
BAND_BINS = 64
"""Bins of a band: 500 Hz."""
BANDS = BINS // BAND_BINS
HOP_SECONDS = HOP / RATE

WINDOW = np.hanning(FRAME + 1)[:-1].astype(np.float32)
WINDOW_POWER = float(np.sum(np.square(WINDOW, dtype=np.float64)))
"""White noise of variance v has the mean power v * WINDOW_POWER in each bin."""
WINDOW_SUM = float(np.sum(WINDOW, dtype=np.float64))


class PowerRows:
    """Power of frames, for one channel at a time: its working memory is kept, as new memory each time costs more than
    the window and the squares themselves (measured: a tenth of a review of noise)."""

    def __init__(self, frames: int) -> None:
        """For up to so many frames at once."""
        self._windowed: Floats = np.empty((frames, FRAME), np.float32)
        self._squares: Floats = np.empty((frames, 2 * BINS), np.float32)

    def write(self, power: Floats, samples: Floats) -> None:
        """Write the power of each whole frame in `samples`, |FFT|^2 of the windowed frame.

        samples: float32, shape (n,), contiguous, RATE Hz. power: float32 of shape (frames, BINS).
        """
        frames = len(power)
        halves: Floats = np.ndarray((frames, FRAME), np.float32, samples, 0, (HOP * 4, 4))
        spectrum = fft.rfft(np.multiply(halves, WINDOW, out=self._windowed[:frames]))
        parts = spectrum[:, LOW_BIN : LOW_BIN + BINS].view(np.float32)
        squares = np.square(parts, out=self._squares[:frames])
        np.add(squares[:, ::2], squares[:, 1::2], out=power)


def frame_end(frame: int) -> int:
    """Number of the sample after the last one of `frame`, counted from the stream's (re)start."""
    return frame * HOP + FRAME


def bin_frequency(position: float) -> float:
    """Hz at a bin number (fractions allowed)."""
    return (position + LOW_BIN) * BIN_HZ
