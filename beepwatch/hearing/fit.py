"""The coherent fit of one tone burst: its frequency, its drift, and the moments at which it begins and ends.

Everything is in units of noise: with C the running sum of weighted baseband samples and V that of their weights,
|C(b) - C(a)|^2 / (V(b) - V(a)) is the log likelihood ratio of "a steady tone from a to b" against noise alone, with
amplitude and phase left free (Kay, Detection Theory, ch. 7, from memory). Where it is greatest is the step fit: its
edges sit where the amplitude is half, so a room that builds up and dies away alike does not change the length.
Each edge is the median of its likelihood, not the maximum: that halves the large errors near the limit.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import lgamma, log

import numpy as np

from .baseband import STEP_SECONDS
from .spectrum import Complexes, Doubles

SHORT = 2.6
"""Seconds up to which a beep is fitted in one coherent piece; longer ones in pieces of PIECE."""
PIECE = 0.8
BEFORE, BEYOND = 0.45, 0.25
"""Seconds before the coarse start and after the coarse end in which the edges are looked for."""
GRID = 64
STRONG = 30.0
"""Energy in 0.1 s, in noise units, from which the drift is read off the phase (error of 0.1 s: about 0.5 Hz)."""
PART_ENERGY = 8.0
CHIRP_HZ_PER_S = 3.0
"""Drift searched for in weak beeps: 0.2 % of 4 kHz in 1.2 s is 6.7 Hz/s at its start, 3 on the mean."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """A stretch of baseband: z and weight of shape (channels, n), the first sample numbered `first` (in steps)."""

    z: Complexes
    weight: Doubles
    first: int

    def part(self, begin: int, end: int) -> "Envelope":
        """The steps begin <= m < end, by number."""
        a, b = max(begin - self.first, 0), max(end - self.first, 0)
        return Envelope(self.z[:, a:b], self.weight[:, a:b], max(begin, self.first))


@dataclass(frozen=True, slots=True)
class Drift:
    """Frequency against time: a polynomial of Hz beside the local oscillator, held still outside low..high."""

    coefficients: tuple[float, ...]
    """Highest power first, of seconds from step `centre`."""
    centre: float
    low: float
    high: float

    def hertz(self, steps: Doubles) -> Doubles:
        """Hz at each step number."""
        seconds = (np.clip(steps, self.low, self.high) - self.centre) * STEP_SECONDS
        value: Doubles = np.polyval(np.array(self.coefficients), seconds)
        return value

    def unwind(self, part: Envelope) -> Complexes:
        """Baseband with the drift taken out, but for a constant phase."""
        cycles = np.cumsum(self.hertz(part.first + np.arange(part.z.shape[1], dtype=np.float64))) * STEP_SECONDS
        turned: Complexes = part.z * np.exp(-2j * np.pi * cycles)
        return turned

    def plus(self, coefficients: tuple[float, ...]) -> "Drift":
        """The same with a polynomial added."""
        total = np.polyadd(np.array(self.coefficients), np.array(coefficients))
        return Drift(tuple(float(c) for c in total), self.centre, self.low, self.high)


def _drift(part: Envelope, coefficients: tuple[float, ...] = (0.0,)) -> Drift:
    n = part.z.shape[1]
    return Drift(coefficients, part.first + n / 2, part.first, part.first + n)


@dataclass(frozen=True, slots=True)
class Burst:
    """A fitted burst: edges in steps (fractions allowed), drift, energy in noise units over `pieces` pieces."""

    begin: float
    end: float
    drift: Drift
    energy: float
    pieces: int

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


def _line(turned: Complexes, padding: int = 4) -> tuple[float, float]:
    """(Hz, energy of the weighted sum squared) of the strongest line, shape (channels, n)."""
    n = turned.shape[1]
    size = 1 << (padding * n - 1).bit_length()
    power = np.square(np.abs(np.fft.fft(turned, size, axis=1))).sum(axis=0)
    top = int(np.argmax(power))
    left, peak, right = power[top - 1], power[top], power[(top + 1) % size]
    bend = left - 2 * peak + right
    offset = 0.0 if bend == 0 else 0.5 * (left - right) / bend
    cycle = (top + offset) / size
    return ((cycle + 0.5) % 1 - 0.5) / STEP_SECONDS, float(peak)


def _chirped(part: Envelope) -> Drift:
    """Best line on a grid of drifts: for weak, short bursts."""
    seconds = part.z.shape[1] * STEP_SECONDS
    steps = int(CHIRP_HZ_PER_S * seconds**2 / 1.3)
    weighted = Envelope(part.z * part.weight, part.weight, part.first)
    best, found = -1.0, _drift(part)
    for chirp in [k * 1.3 / seconds**2 for k in range(-steps, steps + 1)]:
        trial = _drift(part, (chirp, 0.0))
        hertz, power = _line(trial.unwind(weighted))
        if power > best:
            best, found = power, trial.plus((hertz,))
    return found


def _from_phase(part: Envelope, degree: int) -> Drift:
    """Drift read off the phase from step to step, smoothed over 0.1 s: for strong bursts."""
    n = part.z.shape[1]
    turns = np.sum(part.z[:, 1:] * np.conj(part.z[:, :-1]) * part.weight[:, 1:], axis=0)
    width = min(25, n - 1)
    smooth = np.convolve(turns, np.ones(width), mode="valid")
    plain = _drift(part)
    at = part.first + (width + 1) / 2 + np.arange(len(smooth))
    start = float(np.angle(turns.sum()))
    hertz = (np.angle(smooth * np.exp(-1j * start)) + start) / (2 * np.pi * STEP_SECONDS)
    power = min(degree, max(0, len(smooth) // 12 - 1))
    coefficients = np.polyfit((at - plain.centre) * STEP_SECONDS, hertz, power, w=np.sqrt(np.abs(smooth)))
    return plain.plus(tuple(float(c) for c in coefficients))


def follow(part: Envelope) -> Drift:
    """Frequency and drift of the tone that fills `part`."""
    n = part.z.shape[1]
    energy = float((np.abs(part.z) ** 2 * part.weight).sum() / max(n, 1) - len(part.z))
    if energy * 0.1 / STEP_SECONDS > STRONG and n >= 8:
        drift = _from_phase(part, 3)
    elif n * STEP_SECONDS <= SHORT:
        drift = _chirped(part)
    else:
        return _piecewise(part)
    return _polished(part, _polished(part, drift)) if n * STEP_SECONDS <= SHORT else drift


def _polished(part: Envelope, drift: Drift) -> Drift:
    """Take out what bend is left, by the phase of three to eight parts in turn.

    A warm-up drift is bent: a straight chirp left a third of the energy behind (measured). Parts hold PART_ENERGY each
    where they can, so that their phases err by 0.25 rad at most (theory: 1 / sqrt(2 E)).
    """
    n = part.z.shape[1]
    turned = drift.unwind(part) * part.weight
    energy = float((np.abs(turned.sum(axis=1)) ** 2 / part.weight.sum(axis=1)).sum())
    count = int(min(8, energy / PART_ENERGY, n // 4))
    if count < 2:
        return drift
    cuts = np.linspace(0, n, count + 1).astype(int)
    sums = np.stack([turned[:, a:b].sum(axis=1) for a, b in pairwise(cuts)], axis=1)
    steps = np.angle(np.sum(sums[:, 1:] * np.conj(sums[:, :-1]), axis=0))
    phase = np.concatenate([[0.0], np.cumsum(steps)])
    seconds = ((cuts[:-1] + cuts[1:]) / 2 + part.first - drift.centre) * STEP_SECONDS
    degree = min(count - 1, 2 if count < 5 else 4 if energy > 200 else 3)
    fitted = np.polyfit(seconds, phase, degree, w=np.abs(sums).sum(axis=0))
    return drift.plus(tuple(float(c) for c in np.polyder(fitted) / (2 * np.pi)))


def _piecewise(part: Envelope) -> Drift:
    """Straight or bent drift through the lines of pieces of PIECE seconds: for weak, long bursts."""
    n, size = part.z.shape[1], round(PIECE / STEP_SECONDS)
    starts = range(0, n - size + 1, size)
    weighted = part.z * part.weight
    padded = 4 * size
    spectra = [np.fft.fft(weighted[:, s : s + size], padded, axis=1) for s in starts]
    power = np.stack([np.square(np.abs(spectrum)).sum(axis=0) for spectrum in spectra])
    frequency = np.fft.fftfreq(padded, STEP_SECONDS)
    plain = _drift(part)
    top = frequency[int(np.argmax(power.sum(axis=0)))]
    near = np.abs(frequency - top) < 12
    places = frequency[near][np.argmax(power[:, near], axis=1)]
    strength = power[:, near].max(axis=1)
    seconds = (part.first + np.array(starts) + size / 2 - plain.centre) * STEP_SECONDS
    degree = min(2, max(0, len(places) // 4))
    coefficients = np.polyfit(seconds, places, degree, w=np.sqrt(strength))
    return plain.plus(tuple(float(c) for c in coefficients))


class _Sums:
    """Running sums of the unwound, weighted baseband, readable at fractions of a step."""

    def __init__(self, turned: Complexes, weight: Doubles, first: int) -> None:
        zero = np.zeros((len(turned), 1))
        self.c = np.concatenate([zero, np.cumsum(turned * weight, axis=1)], axis=1)
        self.v = np.concatenate([zero, np.cumsum(weight, axis=1)], axis=1)
        self.first = first
        self.length = turned.shape[1]

    def at(self, steps: Doubles) -> tuple[Complexes, Doubles]:
        """(C, V) of shape (channels, len(steps)) at step numbers."""
        place = np.clip(np.asarray(steps, np.float64) - self.first, 0, self.length)
        low = np.minimum(place.astype(np.int64), self.length - 1)
        part = place - low
        c = self.c[:, low] + part * (self.c[:, low + 1] - self.c[:, low])
        v = self.v[:, low] + part * (self.v[:, low + 1] - self.v[:, low])
        return c, v

    def likelihood(self, begins: Doubles, ends: Doubles) -> Doubles:
        """Log likelihood ratio for each pair, shape (len(begins), len(ends)); 0 where empty."""
        c0, v0 = self.at(begins)
        c1, v1 = self.at(ends)
        width = v1[:, None, :] - v0[:, :, None]
        each = np.square(np.abs(c1[:, None, :] - c0[:, :, None])) / np.where(width > 0, width, 1)
        total: Doubles = np.where(width > 0, each, 0.0).sum(axis=0)
        return total


def _median_place(places: Doubles, log_likelihood: Doubles) -> float:
    """Median of a likelihood given on a rising grid."""
    density = np.exp(log_likelihood - log_likelihood.max())
    total = np.cumsum(density) - density / 2
    return float(np.interp(density.sum() / 2, total, places))


def _edge(sums: _Sums, guess: float, reach: float, other: float, rising: bool) -> float:
    """Place of one edge near `guess` with the other edge fixed, refined from `reach` steps to a quarter step."""
    for spacing in (max(1.0, reach / 16), 0.25):
        span = min(reach, 16 * spacing)
        places = guess + np.arange(-span, span + spacing / 2, spacing)
        places = places[places < other - 1] if rising else places[places > other + 1]
        if len(places) < 2:
            return guess
        if rising:
            values = sums.likelihood(places, np.array([other]))[:, 0]
        else:
            values = sums.likelihood(np.array([other]), places)[0]
        guess = _median_place(places, values)
        if spacing <= 0.25 or reach <= 0:
            break
    return guess


def _short_edges(sums: _Sums, low: float, high: float) -> tuple[float, float]:
    """Both edges of a short burst somewhere in low..high: a grid of pairs first, then each edge finely."""
    places = np.linspace(low, high, GRID)
    values = sums.likelihood(places, places)
    values = np.where(places[None, :] > places[:, None], values, 0.0)
    density = np.exp(values - values.max())
    begin = _median_place(places, np.log(density.sum(axis=1) + 1e-300))
    end = _median_place(places, np.log(density.sum(axis=0) + 1e-300))
    reach = 2 * float(places[1] - places[0])
    for _ in range(2):
        begin = _edge(sums, begin, reach, end, rising=True)
        end = _edge(sums, end, reach, begin, rising=False)
    return begin, end


def fit_burst(whole: Envelope, begin: float, end: float) -> Burst:
    """Fit the burst that lies about from step `begin` to `end` of `whole`."""
    drift = follow(whole.part(int(begin), int(end) + 1))
    seconds = (end - begin) * STEP_SECONDS
    low = max(begin - BEFORE / STEP_SECONDS, whole.first)
    high = min(end + BEYOND / STEP_SECONDS, whole.first + whole.z.shape[1])
    sums = _Sums(drift.unwind(whole), whole.weight, whole.first)
    if seconds <= SHORT:
        a, b = _short_edges(sums, low, high)
        if abs((b - a) * STEP_SECONDS - seconds) > 0.08 * seconds and b - a > 8:
            drift = follow(whole.part(int(a), int(b) + 1))
            sums = _Sums(drift.unwind(whole), whole.weight, whole.first)
            a, b = _short_edges(sums, max(a - 75, low), min(b + 75, high))
        return Burst(a, b, drift, float(sums.likelihood(np.array([a]), np.array([b]))[0, 0]), len(whole.z))
    a, b = _long_edges(sums, begin, end, low, high)
    cuts = np.linspace(a, b, max(2, round((b - a) * STEP_SECONDS / PIECE)) + 1)
    energy = sum(float(sums.likelihood(cuts[i : i + 1], cuts[i + 1 : i + 2])[0, 0]) for i in range(len(cuts) - 1))
    return Burst(a, b, drift, energy, (len(cuts) - 1) * len(whole.z))


def _long_edges(sums: _Sums, begin: float, end: float, low: float, high: float) -> tuple[float, float]:
    """Each edge of a long burst on its own, against a second or more of tone beside it."""
    inside = 1.0 / STEP_SECONDS
    a = _long_edge(sums, np.arange(low, begin + inside / 2, 2.0), begin + inside, rising=True)
    b = _long_edge(sums, np.arange(end - inside / 2, high, 2.0), end - inside, rising=False)
    return a, b


def _long_edge(sums: _Sums, places: Doubles, other: float, *, rising: bool) -> float:
    fixed = np.array([other])
    values = sums.likelihood(places, fixed)[:, 0] if rising else sums.likelihood(fixed, places)[0]
    return _edge(sums, _median_place(places, values), 4.0, other, rising)
