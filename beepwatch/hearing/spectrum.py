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


def power_rows(samples: Floats) -> Floats:
    """Power of each whole frame in `samples`.

    samples: float32, shape (n,), RATE Hz. Returns float32 of shape (frames, BINS), |FFT|^2 of the windowed frame.
    """
    frames = max(len(samples) // HOP - 1, 0)
    size = samples.strides[0]
    halves = np.lib.stride_tricks.as_strided(samples, (frames, FRAME), (HOP * size, size), writeable=False)
    spectrum = fft.rfft(halves * WINDOW, overwrite_x=True)
    squares = np.square(spectrum[:, LOW_BIN : LOW_BIN + BINS].view(np.float32))
    power: Floats = squares[:, ::2] + squares[:, 1::2]
    return power


def frame_end(frame: int) -> int:
    """Number of the sample after the last one of `frame`, counted from the stream's (re)start."""
    return frame * HOP + FRAME


def bin_frequency(position: float) -> float:
    """Hz at a bin number (fractions allowed)."""
    return (position + LOW_BIN) * BIN_HZ
