"""Ordinary nights: as sound (a fan that comes and goes, snoring, doors, quiet hours), and as the loop sees them.

All of it is judgement, after no one bedroom; every figure is drawn from a seeded generator.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from beepwatch.synthesis.backgrounds import noise

RATE = 16_000
QUIET, FAN = -72.0, -54.0
"""dBFS of a quiet room and of one with a fan."""


def sound(seconds: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Such a night, made denser: float32, shape (n,). Fan and quiet take turns, half of the time somebody snores."""
    n = round(seconds * RATE)
    night = noise("pink", n, rng) * _amplitude(QUIET)
    fan = noise("fan", n, rng) * _amplitude(FAN)
    night += fan * np.repeat(rng.random(n // RATE // 120 + 1) < 0.5, 120 * RATE)[:n]
    for at in range(0, n - 3 * RATE, 4 * RATE):
        if (at // (240 * RATE)) % 2:
            _add(night, at + int(rng.integers(RATE)), _snore(rng))
    for at in rng.integers(0, max(1, n - RATE), size=round(seconds / 90)):
        _add(night, int(at), _thump(rng))
    return np.asarray(np.clip(night, -1, 1), np.float32)


def levels(hours: float, rng: np.random.Generator) -> Iterator[float]:
    """The room's noise each 2 s of a night, dBFS: a quiet level of its own, a fan or none, heating, people, swells."""
    base = QUIET + rng.normal(scale=2.0)
    fan = rng.random() < 0.5
    loud = 0.0
    for _ in range(round(hours * 1800)):
        if rng.random() < 1 / 5400:  # each 3 h or so
            fan = not fan
        if rng.random() < 1 / 900:  # each half hour somebody talks, snores or coughs, for a minute or so
            loud = float(rng.uniform(5, 30))
        loud *= 0.97
        yield base + loud + (FAN - QUIET) * fan + rng.normal(scale=1.0)


def gaps(hours: float, rng: np.random.Generator) -> Iterator[float]:
    """s from block to block of 0.1 s of sound: jitter as measured on a busy machine, now and then a stall of up to 4 s.

    After a stall of under 1 s the blocks come in a burst; of longer ones a part is lost (told as `lost` by the source).
    """
    blocks = round(hours * 36_000)
    jitter = np.abs(rng.normal(scale=0.004, size=blocks))
    stalls = rng.random(blocks) < 1 / 18_000  # each half hour
    jitter[stalls] += rng.exponential(0.8, size=int(stalls.sum())).clip(max=4.0)
    yield from (0.1 + jitter).tolist()


def _snore(rng: np.random.Generator) -> NDArray[np.float64]:
    """A breath of snoring: pulses of 40 to 90 Hz through a throat at some hundred Hz, 1 s."""
    time = np.arange(RATE) / RATE
    pitch = rng.uniform(40, 90) * (1 + 0.1 * np.sin(2 * np.pi * 3 * time))
    pulses = np.maximum(0, np.sin(2 * np.pi * np.cumsum(pitch) / RATE)) ** 6
    throat = np.sin(2 * np.pi * rng.uniform(150, 500) * time) + 0.5 * rng.normal(size=RATE)
    return np.asarray(_amplitude(rng.uniform(-45, -25)) * pulses * throat * np.hanning(RATE))


def _thump(rng: np.random.Generator) -> NDArray[np.float64]:
    """A door: dull noise that dies away."""
    time = np.arange(RATE // 2) / RATE
    dull = np.convolve(rng.normal(size=len(time)), np.ones(64) / 64, "same")
    return np.asarray(_amplitude(rng.uniform(-35, -15)) * 8 * dull * np.exp(-time / 0.06))


def _add(night: NDArray[np.float32], at: int, one: NDArray[np.float64]) -> None:
    piece = night[at : at + len(one)]
    piece += one[: len(piece)].astype(np.float32)


def _amplitude(level: float) -> float:
    """RMS of a level in dBFS (a full-scale sine = 0)."""
    return float(10 ** (level / 20) / np.sqrt(2))
