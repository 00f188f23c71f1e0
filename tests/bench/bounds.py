"""How often an onset can be placed within its collar at all, by theory: a Monte Carlo of the likelihood alone."""

from functools import cache

import numpy as np

from beepwatch.hearing import RATE

COLLAR = 0.2
STEP = 0.004
SPAN = 6.0
"""s on each side in which the onset may lie."""
TRIALS = 4000


@cache
def onset_recall(snr: float, collar: float = COLLAR, trials: int = TRIALS) -> float:
    """Share of onsets that the best estimator places within `collar` s, the tone itself known in full.

    snr: dB over the noise in 0-8 kHz. The log likelihood of an onset away from the true one is a random walk: with E
    the tone's energy over noise density in between, its mean is -E and its variance 2 E (Kay, Detection Theory, from
    memory). The estimator takes the window of the collar's width that holds the most likelihood. Amplitude, phase,
    frequency and warm-up are known to it; a real listener knows none of them. The end is asked to 20 % only.
    """
    rng = np.random.default_rng([10_007, round(snr * 10 + 1000)])
    energy = 10 ** (snr / 10) * RATE / 2 * STEP
    span, reach = round(SPAN / STEP), round(collar / STEP)
    inside = 0
    for _ in range(trials):
        steps = rng.normal(-energy, np.sqrt(2 * energy), (2, span))
        before, after = np.cumsum(steps, axis=1)
        walk = np.concatenate([before[::-1], [0.0], after])
        mass = np.concatenate([[0.0], np.cumsum(np.exp(walk - walk.max()))])
        windows = mass[2 * reach + 1 :] - mass[: -2 * reach - 1]
        inside += abs(int(np.argmax(windows)) + reach - span) <= reach
    return inside / trials
