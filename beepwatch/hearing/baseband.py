"""The sound itself, kept for half a minute, and a tone in it brought down to 0 Hz.

A baseband sample is the sum of 64 samples (4 ms) turned by the tone's frequency: +-125 Hz wide, so a tone may drift
by 3 % and stay in it, and edges keep a resolution of milliseconds.
"""

import numpy as np

from .spectrum import RATE, WINDOW_POWER, Complexes, Doubles, Floats

STEP = 64
STEP_SECONDS = STEP / RATE
KEPT_SECONDS = 24
"""A sum over 128 frames looks back 16 s for a beep's start; some more for its fit."""
NOISE_SHARE = STEP / WINDOW_POWER
"""Noise power of a baseband sample over that of a spectrum bin (both from white noise, theory)."""


class Audio:
    """The last KEPT_SECONDS of every channel; sample numbers count from the stream's (re)start."""

    def __init__(self, channels: int) -> None:
        """Keep `channels` channels."""
        self._kept = KEPT_SECONDS * RATE
        self._samples: Floats = np.zeros((channels, 2 * self._kept), np.float32)
        self._filled = 0
        self.end = 0

    @property
    def begin(self) -> int:
        """Number of the oldest sample kept."""
        return self.end - self._filled

    def push(self, samples: Floats) -> None:
        """Append samples, float32 of shape (channels, n)."""
        n = samples.shape[1]
        room = self._samples.shape[1]
        if self._filled + n > room:
            if room < self._kept + n:
                bigger = np.zeros((self._samples.shape[0], self._kept + 2 * n), np.float32)
                bigger[:, : self._filled] = self._samples[:, : self._filled]
                self._samples = bigger
            self._trim(min(self._kept, self._filled))
        self._samples[:, self._filled : self._filled + n] = samples
        self._filled += n
        self.end += n

    def _trim(self, keep: int) -> None:
        self._samples[:, :keep] = self._samples[:, self._filled - keep : self._filled].copy()
        self._filled = keep

    def view(self, begin: int, end: int) -> Floats:
        """Samples begin <= n < end of every channel; they must be kept still."""
        offset = begin - self.begin
        return self._samples[:, offset : offset + end - begin]


def demodulate(samples: Floats, first: int, hertz: float) -> Complexes:
    """Baseband of `samples`, shape (channels, n) with n a multiple of STEP, the first numbered `first`.

    Returns complex, shape (channels, n // STEP); a tone of amplitude A at `hertz` gives |z| = A * STEP / 2.
    """
    channels, n = samples.shape
    turn = -2j * np.pi * hertz / RATE
    table = np.exp(turn * np.arange(STEP))
    cells = samples.reshape(channels, n // STEP, STEP) @ np.stack([table.real, table.imag], axis=1)
    carrier = np.exp(turn * (first + STEP * np.arange(n // STEP)))
    turned: Complexes = (cells[..., 0] + 1j * cells[..., 1]) * carrier
    return turned


def weights(noise: Doubles) -> Doubles:
    """1 / variance of each baseband sample from the bin noise at its time, (channels, n), capped at 30 medians.

    The cap keeps a moment that was estimated too quiet from deciding alone (judgement).
    """
    inverse: Doubles = 1.0 / (noise * NOISE_SHARE)
    return np.minimum(inverse, 30 * np.median(inverse, axis=1, keepdims=True))
