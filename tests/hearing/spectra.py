"""Spectra and floors of whole arrays, as hearing makes them block by block."""

import numpy as np

from beepwatch.hearing.floor import NoiseFloor
from beepwatch.hearing.spectrum import BANDS, BINS, HOP, Floats, PowerRows


def power_rows(samples: Floats) -> Floats:
    """Power of each whole frame in `samples` (n,): float32 of shape (frames, BINS)."""
    power = np.empty((max(len(samples) // HOP - 1, 0), BINS), np.float32)
    PowerRows(len(power)).write(power, samples)
    return power


def normalised(floor: NoiseFloor, power: Floats) -> tuple[Floats, Floats]:
    """(power over noise (n, BINS), gains (n, BANDS)) of frames of power (n, BINS)."""
    ratio, gains = power.copy(), np.empty((len(power), BANDS), np.float32)
    floor.normalise_in(ratio, gains)
    return ratio, gains
