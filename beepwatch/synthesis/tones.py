"""One beep as a function of time: any block of samples can be made alone and always comes out the same."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beepwatch.errors import InputError


@dataclass(frozen=True, slots=True)
class Tone:
    """A sounder's tone: onset and length in s between the half-amplitude points, the Hz that it settles at.

    level: dBFS of the fundamental. harmonics: dB re it of 2, 3 ... times the frequency. It begins `drift` (a
    ratio) above its frequency and settles with time constant `warm_up`, s:
    f(t) = f (1 + drift exp(-t / warm_up)).
    """

    onset: float
    length: float
    frequency: float
    level: float = 0.0
    harmonics: tuple[float, ...] = ()
    drift: float = 0.0
    warm_up: float = 0.5
    ramp: float = 0.005
    phase: float = 0.0

    @property
    def begin(self) -> float:
        """Time of the first sample that is not zero, s."""
        return self.onset - self.ramp / 2

    @property
    def end(self) -> float:
        """Time after which all is zero again, s."""
        return self.onset + self.length + self.ramp / 2

    @property
    def mean_frequency(self) -> float:
        """Hz over the whole beep, drift included."""
        settling = self.warm_up / self.length * -np.expm1(-self.length / self.warm_up)
        return float(self.frequency * (1 + self.drift * settling))

    def at(self, first: int, n: int, rate: int) -> NDArray[np.float64]:
        """Samples `first` to `first + n` of the scene, shape (n,), full scale +-1, at `rate` Hz.

        Harmonics that would pass half the rate are left out.
        """
        t = np.arange(first, first + n) / rate - self.onset
        turns = self.frequency * (t - self.drift * self.warm_up * np.expm1(-np.maximum(t, 0) / self.warm_up))
        angle = 2 * np.pi * turns + self.phase
        wave = np.sin(angle)
        for order, relative in enumerate(self.harmonics, 2):
            if order * self.frequency * (1 + abs(self.drift)) < rate / 2:
                wave += 10 ** (relative / 20) * np.sin(order * angle)
        loud: NDArray[np.float64] = 10 ** (self.level / 20) * self._envelope(t) * wave
        return loud

    def _envelope(self, t: NDArray[np.float64]) -> NDArray[np.float64]:
        """Raised cosine over `ramp` at both ends, 1 between: half at the onset and at the end."""
        inside = np.minimum(t, self.length - t)
        if self.ramp == 0:
            return np.asarray(inside >= 0, dtype=np.float64)
        x = np.clip(inside / self.ramp + 0.5, 0, 1)
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * x))


def beep(
    frequency: float,
    length: float,
    rate: int = 16_000,
    *,
    level: float = 0.0,
    harmonics: tuple[float, ...] = (),
    drift: float = 0.0,
    warm_up: float = 0.5,
    ramp: float = 0.005,
    phase: float = 0.0,
) -> NDArray[np.float32]:
    """One beep alone, float32, shape (round((length + ramp) * rate),); its onset lies ramp/2 after the first.

    frequency Hz, length, warm_up and ramp s, level dBFS, drift a ratio (0.002 is 0.2 %), phase rad.
    Raises InputError for a tone of half the rate or more.
    """
    if frequency * (1 + abs(drift)) >= rate / 2:
        raise InputError(f"a tone of {frequency:g} Hz does not fit a rate of {rate} Hz: keep under half")
    tone = Tone(ramp / 2, length, frequency, level, harmonics, drift, warm_up, ramp, phase)
    return tone.at(0, round((length + ramp) * rate), rate).astype(np.float32)
