"""A burst as the coherent fit leaves it."""

from dataclasses import dataclass
from math import lgamma, log

from .baseband import STEP_SECONDS
from .drift import Drift


@dataclass(frozen=True, slots=True)
class Burst:
    """A fitted burst: edges in steps (fractions allowed), drift, energy in noise units over `pieces` pieces.

    tail: steps after the end in which what the room still holds is as loud as half the tone, where that was told apart.
    """

    begin: float
    end: float
    drift: Drift
    energy: float
    pieces: int
    tail: float = 0.0

    @property
    def seconds(self) -> float:
        """Length."""
        return (self.end - self.begin) * STEP_SECONDS

    @property
    def evidence(self) -> float:
        """Minus the log of the chance that noise alone gives this energy (tail of a gamma variable)."""
        if self.energy <= self.pieces:
            return 0.0
        n = self.pieces
        return self.energy - (n - 1) * log(self.energy) + lgamma(n)
