"""The noise floor of a room by band, and A-weighted. Pure.

Levels are dB re a full-scale sine. Without a calibrated microphone they are not sound pressure: a quiet bedroom
of 30-35 dBA (WHO 1999) reads as whatever the microphone makes of it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
BANDS = ((63.0, 125.0), (125.0, 250.0), (250.0, 500.0), (500.0, 1000.0), (1000.0, 2000.0), (2000.0, 4000.0),
         (4000.0, 8000.0))  # fmt: skip
"""Hz: octaves, told from edge to edge."""
FRAME = 0.125
"""s a frame: 8 Hz bins, narrower than the lowest band."""
QUIETEST = 1e-20
"""Power that stands for none, so that its logarithm is finite."""


@dataclass(frozen=True, slots=True)
class Floor:
    """How loud a room is while nothing sounds: medians over the frames, so that a cough does not count."""

    bands: tuple[tuple[float, float, float], ...]
    """(lower edge Hz, upper edge Hz, dBFS) of each band that the rate holds."""
    weighted: float
    """A-weighted level, dBFS."""


def a_weighting_db(hertz: ArrayLike) -> Floats:
    """A-weighting in dB at `hertz` (> 0, any shape), 0 at 1 kHz.

    The formula of IEC 61672-1 as open texts quote it: four corners at 20.6, 107.7, 737.9 and 12194 Hz.
    """
    f2 = np.asarray(hertz, dtype=np.float64) ** 2
    low = f2**2 / ((f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)))
    return np.asarray(20 * np.log10(low * 12194.0**2 / (f2 + 12194.0**2)) + 2.0)


def spectra(samples: NDArray[np.float32] | Floats, rate: int, frame: float = FRAME) -> tuple[Floats, Floats]:
    """(Hz of each bin, power in each bin of each frame): shapes (k,) and (frames, k); NaN counts as 0.

    samples: shape (n,). Hann frames that overlap by half; scaled so that the power of white noise adds up to its
    mean square times 2, hence a full-scale sine to 1 (0 dBFS).
    """
    size = round(frame * rate)
    clean = np.nan_to_num(np.asarray(samples, dtype=np.float64))
    if len(clean) < size:
        clean = np.pad(clean, (0, size - len(clean)))
    window = np.hanning(size + 1)[:-1]
    cuts = np.lib.stride_tricks.sliding_window_view(clean, size)[:: size // 2]
    power = np.abs(np.fft.rfft(cuts * window, axis=1)) ** 2 * 4 / (size * np.sum(window**2))
    return np.asarray(np.fft.rfftfreq(size, 1 / rate), dtype=np.float64), np.asarray(power, dtype=np.float64)


def noise_floor(samples: NDArray[np.float32] | Floats, rate: int) -> Floor:
    """The floor of one channel, shape (n,), any length; `rate` Hz."""
    hertz, power = spectra(samples, rate)
    bands = tuple(
        (low, high, _db(np.median(power[:, (hertz >= low) & (hertz < high)].sum(axis=1))))
        for low, high in BANDS
        if high <= rate / 2
    )
    weights = np.zeros(len(hertz))
    weights[1:] = 10 ** (a_weighting_db(hertz[1:]) / 10)
    return Floor(bands, _db(np.median(power @ weights)))


def _db(power: float | np.floating) -> float:
    return float(10 * np.log10(max(float(power), QUIETEST)))
