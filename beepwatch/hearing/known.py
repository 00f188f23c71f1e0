"""What is known of the device's own beep before it is heard: its tone, and perhaps its length.

Within 3 % of the tone a thirtieth of the bins is left to search, so by the union bound fainter things may be candidates
there, and need less evidence, at the same false rate an hour. The length is a prior for the edges of faint bursts.
"""

from dataclasses import dataclass
from math import ceil, log

import numpy as np

from .spectrum import BIN_HZ, LOW_BIN, Doubles

NEAR = 0.03
"""A known tone is known to within this share."""
SPREAD = 0.1
"""Standard deviation of the log of a length round the known one (judgement: a breath that a machine times is steady;
noise and the room move the taught figure by some per cent)."""
OTHERWISE = 0.02
"""Density of any other length over that of the known one: 3.9 nats are all that the known length can weigh, at -20 dB
as much as 0.05 s of tone (theory: an edge wrong by t costs t C/N0), so a clear beep keeps its own length."""
MOST = -log(OTHERWISE)
"""Nats."""


@dataclass(frozen=True, slots=True)
class Known:
    """A beep that is listened for."""

    tone: float
    """Hz."""
    length: float | None = None
    """s."""

    def near(self, hertz: float) -> bool:
        """Is `hertz` within NEAR of the tone?"""
        return abs(hertz / self.tone - 1) < NEAR

    @property
    def bins(self) -> tuple[int, int]:
        """The first bin near the tone, and the one after the last."""
        return ceil(self.tone * (1 - NEAR) / BIN_HZ) - LOW_BIN, int(self.tone * (1 + NEAR) / BIN_HZ) - LOW_BIN + 1


def prior(seconds: Doubles, length: float | None) -> Doubles:
    """Log of how likely each length (s, any shape; 0 and less: as if very short) is beside a known one; 0 for None."""
    if length is None:
        return np.zeros_like(seconds)
    off = np.log(np.maximum(seconds, 1e-3) / length) / SPREAD
    told: Doubles = np.log(np.exp(-0.5 * off**2) + OTHERWISE)
    return told
