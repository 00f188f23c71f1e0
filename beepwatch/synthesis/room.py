"""A statistical room: the direct sound, then noise that dies away by 60 dB in T60, alike at all frequencies.

This is what a diffuse field looks like far from the sounder (Schroeder's model, from memory). It has no
reflections of its own, no walls and no place to walk to; scenes that need these are made with image sources.
"""

import numpy as np
from numpy.typing import NDArray

GAP = 0.002
"""s from the direct sound to the reverberation: about a wall 0.35 m away (judgement)."""


def response(t60: float, rate: int, rng: np.random.Generator, direct: float = -6.0) -> NDArray[np.float64]:
    """Impulse response, shape (about 1.2 t60 rate,), of unit energy, the direct sound in its first sample.

    t60 s; direct: dB of the direct sound's energy over that of the reverberation. Unit energy keeps the power
    of a steady tone as it was *on average over frequency*; one tone fades or gains as in a room.
    """
    t = np.arange(1, round(1.2 * t60 * rate)) / rate
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / t60) * (t >= GAP)
    tail /= np.sqrt(np.sum(tail**2)) * 10 ** (direct / 20)
    whole = np.concatenate([[1.0], tail])
    return np.asarray(whole / np.sqrt(np.sum(whole**2)))


def gain_at(impulse: NDArray[np.float64], frequency: float, rate: int) -> float:
    """dB by which a steady tone of `frequency` Hz comes out louder than it went in."""
    turn = np.exp(-2j * np.pi * frequency / rate * np.arange(len(impulse)))
    return float(20 * np.log10(max(abs(np.sum(impulse * turn)), 1e-6)))
