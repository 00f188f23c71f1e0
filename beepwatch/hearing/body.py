"""The inside of a burst: a tone with its edges left off and its drift taken out, and how much of it is one tone."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import sqrt

import numpy as np

from .baseband import STEP_NOISE, STEP_SECONDS
from .ranks import cuts
from .spectrum import Complexes, Doubles

FAINT = 0.2
"""Power over noise in one step under which a few per cent of error of the noise estimate would count."""
ORDER = 4
"""Of the polynomial that a tone's amplitude and phase may run along within a breath. What a room passes on of a tone
that drifts is a smooth curve, near a null a straight line in the complex plane, and a warm-up bends it (theory)."""
CLEAR = 100.0
"""Energy from which that is asked: noise moves the share by a seventh then (chi-squared, theory)."""


@dataclass(frozen=True, slots=True)
class Inside:
    """The burst without its edges, its drift taken out: u and weight of shape (n,), of the strongest channel."""

    u: Complexes
    weight: Doubles

    def power(self) -> tuple[float, float]:
        """(mean power without noise, its standard error); both in the units of |u|^2."""
        n, v = len(self.u), float(np.add.reduce(self.weight))
        mean = (float(np.add.reduce(np.square(np.abs(self.u)) * self.weight)) - n * STEP_NOISE) / v
        each = n * STEP_NOISE / v
        return mean, sqrt((2 * max(mean, 0.0) * each + each**2) / n)

    def coherent(self) -> tuple[float, float]:
        """(power of the mean without noise, its energy in noise units)."""
        v = float(np.add.reduce(self.weight))
        energy = float(np.abs(np.add.reduce(self.u * self.weight)) ** 2) / v
        return (energy - 1) / v, energy

    def level(self) -> float:
        """Power of the tone: coherent over pieces of 0.4 s, so that an error of the noise estimate does not count."""
        count = max(1, round(len(self.u) * STEP_SECONDS / 0.4))
        steady = sum(piece.coherent()[0] * len(piece.u) for piece in self.pieces(count)) / len(self.u)
        mean, error = self.power()
        return max(steady, mean - 2 * error, 1e-30) if mean * float(self.weight.mean()) > FAINT else max(steady, 1e-30)

    def gathered(self) -> float:
        """Energy of the steady tone, coherent over pieces of 0.4 s, noise taken off."""
        count = max(1, round(len(self.u) * STEP_SECONDS / 0.4))
        return sum(piece.coherent()[1] - 1 for piece in self.pieces(count))

    def pieces(self, count: int) -> list["Inside"]:
        """`count` parts of nearly equal length."""
        return [Inside(self.u[a:b], self.weight[a:b]) for a, b in pairwise(cuts(len(self.u), count).tolist())]

    def smooth(self) -> float:
        """Share of the power that is one tone whose amplitude and phase run along a smooth curve; noise taken off.

        A tone that passes through a null of the room has no mean: its phase turns over there. Its curve is as smooth
        as ever, and so it is told from a voice or two notes.
        """
        root = np.sqrt(self.weight)
        held, _ = np.linalg.qr(_curves(len(self.u)) * root[:, None])
        energy = float(np.add.reduce(np.square(np.abs(held.T @ (self.u * root))))) - (ORDER + 1)
        whole = float(np.add.reduce(np.square(np.abs(self.u)) * self.weight)) - len(self.u) * STEP_NOISE
        return min(1.0, energy / whole) if whole > CLEAR else 0.0


@lru_cache(maxsize=16)
def _curves(n: int) -> Doubles:
    """Legendre polynomials up to ORDER at n places, (n, ORDER + 1)."""
    return np.asarray(np.polynomial.legendre.legvander(np.linspace(-1, 1, n), ORDER), np.float64)
