"""The moments at which a tone begins and ends, from running sums of its baseband.

Everything is in units of noise: with C the running sum of weighted baseband samples and V that of their weights,
|C(b) - C(a)|^2 / (V(b) - V(a)) is the log likelihood ratio of "a steady tone from a to b" against noise alone, with
amplitude and phase left free (Kay, Detection Theory, ch. 7, from memory). Where it is greatest is the step fit: its
edges sit where the amplitude is half, so a room that builds up and dies away alike does not change the length.
Each edge is the median of its likelihood, not the maximum: that halves the large errors near the limit.
"""

import numpy as np

from .baseband import STEP_NOISE, STEP_SECONDS
from .drift import Drift, Envelope
from .known import prior
from .spectrum import Complexes, Doubles

GRID = 48
PLACES = np.arange(float(GRID))
LATER = np.triu(np.ones((GRID, GRID)), 1)
"""1 where the second of two places lies after the first."""
FINE = 0.5
"""Energy of one step from which an edge lies finer than a step (edge error in steps: about 1 / energy, theory)."""
LOUD = 16.0
"""Energy of one step from which edges are read from magnitudes: they are then clear, whatever the frequency does."""


class Sums:
    """Running sums of weighted baseband: C and V of shape (channels, n + 1), the first at step `first`."""

    def __init__(self, turned: Complexes, weight: Doubles, first: int) -> None:
        self.first, self.last = first, first + turned.shape[1]
        self._sums = np.zeros((3, len(turned), turned.shape[1] + 1))
        """Real and imaginary part of C, and V."""
        weighted = turned * weight
        for sums, values in zip(self._sums, (weighted.real, weighted.imag, weight), strict=True):
            np.cumsum(values, axis=1, out=sums[:, 1:])

    def _at(self, steps: Doubles) -> Doubles:
        """C and V at step numbers, between steps by straight lines; shape (3, channels, len(steps))."""
        place = np.minimum(np.maximum(steps - self.first, 0), self.last - self.first)
        low = np.minimum(place.astype(np.int64), self._sums.shape[2] - 2)
        place -= low
        here = self._sums.take(low, axis=2)
        low += 1
        there: Doubles = self._sums.take(low, axis=2)
        there -= here
        there *= place
        there += here
        return there

    def _at_one(self, step: float) -> Doubles:
        """The same at one step number, shape (3, channels)."""
        place = min(max(step - self.first, 0.0), float(self.last - self.first))
        low = min(int(place), self._sums.shape[2] - 2)
        here = self._sums[:, :, low]
        there: Doubles = self._sums[:, :, low + 1] - here
        there *= place - low
        there += here
        return there

    def between(self, places: Doubles, other: float) -> Doubles:
        """Log likelihood ratio between each of the places, all on one side of it, and `other`; 0 where empty."""
        real, imaginary, width = self._at(places) - self._at_one(other)[:, :, None]
        power = np.square(real, out=real)
        power += np.square(imaginary, out=imaginary)
        each = np.divide(power, np.abs(width, out=width), out=np.zeros_like(power), where=width != 0)
        total: Doubles = each[0] if len(each) == 1 else np.add.reduce(each, axis=0)
        return total

    def likelihood(self, begins: Doubles, ends: Doubles) -> Doubles:
        """Log likelihood ratio for each pair, shape (len(begins), len(ends)); 0 where empty."""
        before = self._at(begins)
        after = before if ends is begins else self._at(ends)
        real, imaginary, width = after[:, :, None, :] - before[:, :, :, None]
        power = np.square(real, out=real)
        power += np.square(imaginary, out=imaginary)
        each = np.divide(power, width, out=np.zeros_like(power), where=width > 0)
        total: Doubles = each[0] if len(each) == 1 else np.add.reduce(each, axis=0)
        return total


def median_place(places: Doubles, log_likelihood: Doubles) -> float:
    """Median of a likelihood given on a rising grid."""
    density = np.exp(log_likelihood - np.maximum.reduce(log_likelihood))
    total = density.cumsum()
    half = float(total[-1]) / 2
    middles = total - density / 2
    after = int(middles.searchsorted(half, side="right"))
    if after in (0, len(places)):
        return float(places[max(after - 1, 0)])
    low, high = float(middles[after - 1]), float(middles[after])
    place, step = float(places[after - 1]), float(places[after] - places[after - 1])
    return place + step / (high - low) * (half - low)


def edge(sums: Sums, guess: float, span: tuple[float, float], other: float, length: float | None = None) -> float:
    """Place of one edge within `span` = (reach, spacing) steps of `guess`, with the other edge at `other`.

    length: s, where it is known.
    """
    reach, spacing = span
    rising = guess < other
    places = np.arange(guess - reach, guess + reach + spacing / 2, spacing)
    places = places[places < other - 1] if rising else places[places > other + 1]
    if len(places) < 2:
        return guess
    values = sums.between(places, other)
    if length is not None:
        values = values + prior(np.abs(places - other) * STEP_SECONDS, length)
    return median_place(places, values)


def short_edges(sums: Sums, low: float, high: float, length: float | None = None) -> tuple[float, float]:
    """Both edges of a short burst somewhere in low..high: a grid of pairs first, then each edge finely."""
    places = low + PLACES * ((high - low) / (GRID - 1))
    values = sums.likelihood(places, places) * LATER
    best = float(np.maximum.reduce(values, axis=None))
    if length is not None:
        values += prior((places[None, :] - places[:, None]) * STEP_SECONDS, length)
    density = np.exp(values - np.maximum.reduce(values, axis=None))
    begin = median_place(places, np.log(np.add.reduce(density, axis=1) + 1e-300))
    end = median_place(places, np.log(np.add.reduce(density, axis=0) + 1e-300))
    coarse = (2 * float(places[1] - places[0]), 1.0)
    begin = edge(sums, begin, coarse, end, length)
    end = edge(sums, end, coarse, begin, length)
    if best > FINE * (end - begin):
        begin = edge(sums, begin, (2.0, 0.25), end, length)
        end = edge(sums, end, (2.0, 0.25), begin, length)
    return begin, end


def running_sums(whole: Envelope, drift: Drift, energy: float) -> Sums:
    """Running sums for the edges: of the unwound baseband, or of magnitudes above noise where a step is loud."""
    if energy < LOUD * len(whole.z):
        return Sums(drift.unwind(whole), whole.weight, whole.first)
    return magnitudes(whole)


def magnitudes(whole: Envelope) -> Sums:
    """Running sums of magnitudes above noise."""
    size = np.sqrt(np.maximum(np.square(np.abs(whole.z)) - STEP_NOISE / whole.weight, 0.0)).astype(np.complex128)
    return Sums(size, whole.weight, whole.first)
