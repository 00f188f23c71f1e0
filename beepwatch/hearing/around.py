"""What stands round a place in rows of sums or of power."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .spectrum import BINS, Floats

Indices: TypeAlias = NDArray[np.int64]

LOBE = 4
"""Bins to each side that a line and what it splashes hold in clipped sums."""
FAR = 45
"""Bins (350 Hz): a voice has another line within as many, a buzzer has none."""
OFFSETS: Indices = np.arange(-FAR, FAR + 1)


def nearest(flat: Floats, place: Indices) -> Floats:
    """Greatest value 4 and 5 bins away from each place."""
    one: Floats = np.maximum(flat[place - 5], flat[place - 4])
    other: Floats = np.maximum(flat[place + 4], flat[place + 5])
    return np.maximum(one, other)


def second(beside: Floats) -> Floats:
    """Greatest of what `all_beside` gave, but for the strongest line."""
    top = OFFSETS[beside.argmax(axis=1)]
    beside[np.abs(OFFSETS - top[:, None]) <= LOBE] = 0
    greatest: Floats = np.maximum.reduce(beside, axis=1)
    return greatest


def all_beside(sums: Floats, place: Indices) -> Floats:
    """Sums at OFFSETS from each place in the flat `sums`, shape (places, offsets); 0 within 4 bins and beyond all."""
    beside: Floats = sums.ravel().take(place[:, None] + OFFSETS, mode="clip")
    beside[:, FAR - 4 : FAR + 5] = 0
    k = place % BINS
    edge = np.flatnonzero((k < FAR) | (k >= BINS - FAR))
    if len(edge):
        bins = k[edge, None] + OFFSETS
        beside[edge] = np.where((bins >= 0) & (bins < BINS), beside[edge], np.float32(0))
    return beside
