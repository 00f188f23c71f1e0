"""How far a beep stands above the limit of hearing, and where that limit would lie for an ideal listener."""

from math import log

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chndtr

from .spectrum import RATE, Doubles

BAND_HZ = 4600.0
"""400 Hz to 5 kHz: the band searched."""
NOISE_HZ = RATE / 2
"""Band in which SNR counts noise."""
FAINTEST_SNR = -19.0
"""dB at which 99 % of 1.2 s beeps in white noise are still found, edges within the collars of event scores (0.2 s; end
20 %). Measured on 2026-11-25 by `python -m tests.bench.detection --only curve`: 298 of 300 at -19 dB, 293 at -20."""


def margin_db(level_dbfs: float, noise_dbfs: float) -> float:
    """Hearing margin: how many dB weaker a beep of 1.2 s could be, 99 % of such being found still.

    level_dbfs: `Beep.level`. noise_dbfs: the noise near the beep's tone as if its density filled 0-8 kHz, as
    `Noise.near` gives it; both with a full-scale sine = 0. Below 0 beeps are missed more and more often.
    """
    return level_dbfs - noise_dbfs - FAINTEST_SNR


def ideal_recall(snr_db: ArrayLike, seconds: float, false_an_hour: float = 1.0) -> Doubles:
    """Share of beeps found by an ideal listener that searches BAND_HZ for a tone of known length but unknown phase.

    snr_db: tone over noise in 0-8 kHz, any shape. Returns that shape: Q1(sqrt(2 rho), sqrt(-2 ln p)), Marcum's Q with
    rho = E / N0 and p = `false_an_hour` over the cells an hour, one for each Hz and second (Kay, Detection Theory, from
    memory). Real listeners must search lengths and drifts too and are allowed fewer false beeps.
    """
    rho = 10 ** (np.asarray(snr_db, dtype=np.float64) / 10) * seconds * NOISE_HZ
    chance = false_an_hour / (BAND_HZ * 3600)
    return np.asarray(1 - chndtr(-2 * log(chance), 2, 2 * rho))
