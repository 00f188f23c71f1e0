"""The sound itself, kept for half a minute, and a tone in it brought down to 0 Hz.

What is near the tone is turned down to 0 Hz and sampled each 4 ms through a low-pass of 20 ms: +-125 Hz wide, so that a
tone may drift by 3 % and stay in it, and 60 dB down from 215 Hz on, so that no other tone shows as an image of itself.
"""

from functools import lru_cache

import numpy as np

from .spectrum import RATE, Complexes, Doubles, Floats

STEP = 64
STEP_SECONDS = STEP / RATE
MARGIN = 2
"""Steps on each side that a baseband sample reaches beyond its own."""
KEPT_SECONDS = 30
"""A fit looks back 26 s (`finish.LONGEST_LOOK`), from a frame that may lie a block and a half before the newest."""
ROOM = 3
"""Times KEPT_SECONDS after which what is kept is moved to the front: twice moves as much again, four times takes 2 MB
more."""


def _low_pass() -> Doubles:
    """A Kaiser-windowed sinc of 5 steps, 6 dB down at half the step rate, of sum 1 (Kaiser's formulas, from memory)."""
    n = (2 * MARGIN + 1) * STEP
    place = np.arange(n) - (n - 1) / 2
    taps = np.sinc(place / STEP) * np.kaiser(n, 5.65)
    summed: Doubles = taps / taps.sum()
    return summed


LOW_PASS = _low_pass()
PLACES = np.arange(len(LOW_PASS))
NOISE_SHARE = 1 / STEP
"""Noise density round 0 Hz over the variance of the sound: what many steps added in phase hold, each (theory)."""
STEP_NOISE = float(np.sum(LOW_PASS**2)) / NOISE_SHARE
"""Noise power of one step alone over that: the low-pass takes some of it near +-125 Hz (theory)."""


class Audio:
    """The last KEPT_SECONDS of every channel; sample numbers count from the stream's (re)start."""

    def __init__(self, channels: int) -> None:
        """Keep `channels` channels."""
        self._kept = KEPT_SECONDS * RATE
        self._samples: Floats = np.zeros((channels, ROOM * self._kept), np.float32)
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
        self._samples[:, :keep] = self._samples[:, self._filled - keep : self._filled]
        self._filled = keep

    def view(self, begin: int, end: int) -> Floats:
        """Samples begin <= n < end of every channel; they must be kept still."""
        offset = begin - self.begin
        return self._samples[:, offset : offset + end - begin]


def demodulate(samples: Floats, first: int, hertz: float) -> Complexes:
    """Baseband of steps first, first + 1 ...; `samples` reach MARGIN steps beyond them on both sides.

    samples: (channels, (n + 2 MARGIN) * STEP). Returns complex, (channels, n); a tone of amplitude A gives |z| = A / 2.
    """
    return _turned(_filtered(samples, _taps(hertz)), first, hertz)


def demodulate_with_sides(samples: Floats, first: int, hertz: float, off: float) -> tuple[Complexes, Doubles]:
    """(the same, mean |z|^2 of the basebands `off` Hz below and above it, (channels,))."""
    parts = _filtered(samples, _taps(hertz, hertz - off, hertz + off))
    sides: Doubles = parts[2:].astype(np.float64)
    mean: Doubles = np.add.reduce(np.square(sides), axis=(0, 2)) / (2 * sides.shape[2])
    return _turned(parts, first, hertz), mean


def _turned(parts: Floats, first: int, hertz: float) -> Complexes:
    """Baseband from what the first two filters gave, (2 or more, channels, n)."""
    turned: Complexes = np.empty(parts.shape[1:], np.complex128)
    turned.real, turned.imag = parts[0], parts[1]
    turn, n = -2 * np.pi * hertz / RATE, int(turned.shape[1])
    turned *= turning(turn * STEP * (first - MARGIN + np.arange(float(n))))
    return turned


def _filtered(samples: Floats, taps: Floats) -> Floats:
    """Sound through the filters `taps`, one sample a step: (filters, channels, n).

    By einsum, not a matrix product: its sums do not depend on where in memory the samples lie.
    """
    row, step = samples.strides
    shape = (len(samples), samples.shape[1] // STEP - 2 * MARGIN, len(LOW_PASS))
    windows = np.lib.stride_tricks.as_strided(samples, shape, (row, STEP * step, step), writeable=False)
    filtered: Floats = np.einsum("cmn,kn->kcm", windows, taps)
    return filtered


@lru_cache(maxsize=64)
def _taps(*hertz: float) -> Floats:
    """The low-pass round each of `hertz`, its real and its imaginary part in turn."""
    angle = np.array([-2 * np.pi * one / RATE for one in hertz])[:, None] * PLACES
    taps = np.empty((2 * len(hertz), len(LOW_PASS)), np.float32)
    taps[::2], taps[1::2] = LOW_PASS * np.cos(angle), LOW_PASS * np.sin(angle)
    return taps


def turning(angle: Doubles) -> Complexes:
    """exp(i angle): numpy is some times quicker at sine and cosine than at complex powers."""
    turned = np.empty(angle.shape, np.complex128)
    np.cos(angle, out=turned.real)
    np.sin(angle, out=turned.imag)
    return turned


def weights(variance: Doubles) -> Doubles:
    """1 / noise density of each baseband sample from the sound's noise variance at its time, (channels, n).

    Capped at 30 medians: a moment that was estimated too quiet must not decide alone (judgement).
    """
    inverse: Doubles = 1.0 / (variance * NOISE_SHARE)
    middle = inverse.shape[1] // 2
    return np.minimum(inverse, 30 * np.partition(inverse, middle, axis=1)[:, middle, None])
