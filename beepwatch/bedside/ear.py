"""Whether this computer's own wake sound left the speaker: its microphone hears the tone rise over the room."""

import math
from collections import deque

import numpy as np
import numpy.typing as npt

TONE = 520.0
"""Hz: the wake tone (`channels.tone`)."""
RISE = 16.0
"""dB at the tone over the median of the room before. Theory: the power of noise in one bin is exponential, so the most
of 40 pieces passes 27 medians (14 dB) once in 3000 times; 2 dB more are for the median's own error."""
PIECE = 0.25
"""s that are measured together: longer than a pulse's half."""
BEFORE = 40
"""Pieces of the room that are kept (10 s)."""


class Ear:
    """For one thread. rate: Hz."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._part: list[npt.NDArray[np.float32]] = []
        self._count = 0
        self._room: deque[float] = deque(maxlen=BEFORE)
        self._loudest = 0.0
        self._sounding = False

    def sounding(self, now: bool) -> None:
        """Whether the speaker sounds from now on."""
        if now and not self._sounding:
            self._loudest = 0.0
        self._sounding = now

    def hear(self, samples: npt.NDArray[np.float32]) -> None:
        """Sound of shape (n,) or (n, channels)."""
        mono = samples if samples.ndim == 1 else samples[:, 0]
        self._part.append(np.nan_to_num(mono))
        self._count += len(mono)
        if self._count >= PIECE * self._rate:
            power = self._power(np.concatenate(self._part))
            self._part, self._count = [], 0
            if self._sounding:
                self._loudest = max(self._loudest, power)
            else:
                self._room.append(power)

    @property
    def rise(self) -> float:
        """dB of the tone's loudest piece over the room before; -inf where the room is not known yet."""
        if not self._room or self._loudest <= 0:
            return -math.inf
        return 10 * math.log10(self._loudest / max(float(np.median(self._room)), 1e-14))

    @property
    def heard(self) -> bool:
        """Whether the sound was heard since it began."""
        return self.rise >= RISE

    def _power(self, samples: npt.NDArray[np.float32]) -> float:
        """Power at the tone (one bin of a Fourier sum with a Hann window)."""
        n = np.arange(len(samples))
        window = np.hanning(len(samples))
        turned = samples * window * np.exp(-2j * np.pi * TONE / self._rate * n)
        return float(np.abs(turned.sum()) ** 2 / max(float(window.sum()) ** 2, 1e-20))
