"""How a tone's frequency moves while it sounds, found on its baseband.

Weak tones: the best of a grid of straight drifts, then its bend by the phases of a few parts in turn. Strong ones: read
off the phase from step to step as well. Long ones: through the lines of pieces.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from .baseband import STEP_NOISE, STEP_SECONDS, turning
from .ranks import cuts
from .spectrum import Complexes, Doubles

SHORT = 2.6
"""Seconds up to which a beep is fitted in one coherent piece; longer ones in pieces of PIECE."""
PIECE = 0.8
STRONG = 400.0
"""Energy in 0.1 s, in noise units, from which the drift is also read off the phase from step to step: 0.1 s of that
errs by about 2 Hz (theory: sqrt(1 / (25 snr)) / (2 pi 4 ms) at snr 16 a step)."""
PART_ENERGY = 8.0
"""Energy in each part whose phase is read: an error of 0.25 rad (theory: 1 / sqrt(2 E))."""
SHORTEST_PART = 12
"""Steps (48 ms): shorter parts would let noise bend itself into a tone."""
DRIFT_SHARE = 0.003
"""Drift searched for at first in weak beeps, as a share of the tone over the beep: a warming sounder moves 0.2 %
(common practice, no source)."""
WIDE_SHARE = 0.015
"""Drift searched for where the first fit leaves tone over at an edge: the most that +-42 Hz hold at 4 kHz."""
CHIRP_HZ_PER_S = 60.0
SLAB = 8
"""Drifts tried at once: a few hundred would take megabytes."""
LINE = 1000
"""Steps (4 s) that a weak tone's line is drawn through at least: 80 nats at -26 dB."""
ALL = np.zeros(1, np.int64)
"""Where the only piece begins."""
STRAIGHT = 0.85
"""Energy of the longer line over that of the shorter one, per step, from which the longer one is believed."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """A stretch of baseband: z and weight of shape (channels, n), the first sample numbered `first` (in steps)."""

    z: Complexes
    weight: Doubles
    first: int
    tone: float
    """Hz of the local oscillator."""

    @property
    def energy(self) -> float:
        """Mean energy of one step beyond noise, in noise units, all channels together."""
        if self.z.shape[1] == 0:
            return 0.0
        energy = np.square(np.abs(self.z)) * self.weight
        return float(np.add.reduce(energy, axis=None) / energy.size - STEP_NOISE) * len(self.z)

    def part(self, begin: int, end: int) -> "Envelope":
        """The steps begin <= m < end, by number."""
        a, b = max(begin - self.first, 0), max(end - self.first, 0)
        return Envelope(self.z[:, a:b], self.weight[:, a:b], max(begin, self.first), self.tone)


@dataclass(frozen=True, slots=True)
class Drift:
    """Frequency against time: a polynomial of Hz beside the local oscillator, held still outside low..high."""

    coefficients: tuple[float, ...]
    """Highest power first, of seconds from step `centre`."""
    centre: float
    low: float
    high: float
    beside: "Drift | None" = None
    """What it is counted from, where that moves too."""

    def hertz(self, steps: Doubles) -> Doubles:
        """Hz at each step number; they rise."""
        own = self._own(steps)
        return own if self.beside is None else own + self.beside.hertz(steps)

    def _own(self, steps: Doubles) -> Doubles:
        if len(steps) and (steps[0] < self.low or steps[-1] > self.high):
            steps = np.minimum(np.maximum(steps, self.low), self.high)
        if len(self.coefficients) == 1:
            return np.full(len(steps), self.coefficients[0])
        seconds = (steps - self.centre) * STEP_SECONDS
        value = self.coefficients[0] * seconds
        for coefficient in self.coefficients[1:-1]:
            value += coefficient
            value *= seconds
        value += self.coefficients[-1]
        return value

    def unwind(self, part: Envelope) -> Complexes:
        """Baseband with the drift taken out, but for a constant phase."""
        first = float(part.first)
        cycles = self.hertz(np.arange(first, first + part.z.shape[1])).cumsum()
        cycles *= STEP_SECONDS
        cycles *= -2 * np.pi
        return part.z * turning(cycles)

    def extended(self, part: Envelope) -> "Drift":
        """The same, going on as it is over all of `part`."""
        low, high = min(self.low, part.first), max(self.high, part.first + part.z.shape[1])
        return replace(self, low=low, high=high)

    def plus(self, coefficients: tuple[float, ...]) -> "Drift":
        """The same with a polynomial added."""
        longer, shorter = sorted((self.coefficients, coefficients), key=len, reverse=True)
        gap = len(longer) - len(shorter)
        total = (*longer[:gap], *(a + b for a, b in zip(longer[gap:], shorter, strict=True)))
        return replace(self, coefficients=total)


def still(part: Envelope, coefficients: tuple[float, ...] = (0.0,)) -> Drift:
    """No drift, or that of `coefficients`, over `part`."""
    n = part.z.shape[1]
    return Drift(coefficients, part.first + n / 2, part.first, part.first + n)


def _chirped(part: Envelope, share: float) -> Drift:
    """Best line on a grid of straight drifts: for weak, short bursts.

    Three steps are added before the transform: +-42 Hz are left, of which drift and a wrong bin need 15.
    """
    n = part.z.shape[1] // 3
    if n < 2:
        return still(part)
    weighted = part.z[:, : 3 * n] * part.weight[:, : 3 * n]
    cells = weighted[:, ::3] + weighted[:, 1::3]
    cells += weighted[:, 2::3]
    length = 3 * n * STEP_SECONDS
    steps = int(min(share * part.tone / length, CHIRP_HZ_PER_S) * length**2 / 1.3)
    spacing = 1.3 / length**2
    size = 1 << (2 * n - 1).bit_length()
    power, best, most = np.zeros(size), 0.0, 0.0
    for drifts, turns in _chirps(n, steps, spacing):
        grid = powers(fft.fft(cells[:, None, :] * turns, size, axis=2))
        tops = np.maximum.reduce(grid, axis=1)
        row = int(tops.argmax())
        if tops[row] > most:
            power, best, most = grid[row], float(drifts[row]), float(tops[row])
    top = int(power.argmax())
    left, peak, right = power[top - 1], power[top], power[(top + 1) % size]
    bend = left - 2 * peak + right
    cycle = (top + (0.5 * (left - right) / bend if bend < 0 else 0.0)) / size
    hertz = ((cycle + 0.5) % 1 - 0.5) / (3 * STEP_SECONDS)
    return still(part, (best, float(hertz)))


def _chirps(n: int, steps: int, spacing: float) -> Iterator[tuple[Doubles, Complexes]]:
    """Straight drifts of -`steps` to `steps` times `spacing` Hz/s, up to SLAB at once, and the phasors that undo them.

    phasors: (drifts, n cells of 3 steps); a quarter of all is the rest's mirror image.
    """
    seconds = (np.arange((n + 1) // 2) - (n - 1) / 2) * 3 * STEP_SECONDS
    every: Doubles = np.multiply(np.arange(steps + 1), spacing)
    left = turning(-np.pi * every[:, None] * seconds**2)
    for first in range(0, steps + 1, SLAB):
        some, drifts = left[first : first + SLAB], every[first : first + SLAB]
        up = np.concatenate([some, some[:, : n // 2][:, ::-1]], axis=1)
        yield drifts, up
        yield -drifts, np.conj(up)


def _from_phase(part: Envelope, degree: int) -> Drift:
    """Drift read off the phase from step to step, smoothed over 0.1 s: for strong bursts."""
    n = part.z.shape[1]
    turns = np.sum(part.z[:, 1:] * np.conj(part.z[:, :-1]) * part.weight[:, 1:], axis=0)
    width = min(25, n - 1)
    smooth = np.convolve(turns, np.ones(width), mode="valid")
    plain = still(part)
    at = part.first + (width + 1) / 2 + np.arange(len(smooth))
    start = float(np.angle(turns.sum()))
    hertz = (np.angle(smooth * np.exp(-1j * start)) + start) / (2 * np.pi * STEP_SECONDS)
    power = min(degree, max(0, len(smooth) // 12 - 1))
    return plain.plus(polynomial((at - plain.centre) * STEP_SECONDS, hertz, power, np.sqrt(np.abs(smooth))))


def follow(part: Envelope, share: float = DRIFT_SHARE, energy: float | None = None) -> Drift:
    """Frequency and drift of the tone that fills `part`; straight drifts up to `share` of the tone are tried.

    energy: that of `part`, where it was asked before.
    """
    n = part.z.shape[1]
    strong = (part.energy if energy is None else energy) * 0.1 / STEP_SECONDS > STRONG and n >= 8
    if n * STEP_SECONDS > SHORT:
        return _from_phase(part, 3) if strong else _piecewise(part)
    if strong:
        return polished(part, _from_phase(part, 3))
    return polished(part, polished(part, _chirped(part, share)))


def coherent(part: Envelope, drift: Drift, pieces: NDArray[np.int64] | None = None) -> float:
    """Energy of the whole part, unwound; or of its pieces, which begin with steps `pieces`, each on its own phase."""
    starts = ALL if pieces is None else np.clip(pieces - part.first, 0, part.z.shape[1] - 1)
    return _energy(drift.unwind(part) * part.weight, part.weight, starts)


def _energy(turned: Complexes, weight: Doubles, starts: NDArray[np.int64]) -> float:
    """Energy of the pieces of weighted, unwound baseband that begin at the places `starts`."""
    sums = np.add.reduceat(turned, starts, axis=1)
    energy = (np.square(sums.real) + np.square(sums.imag)) / np.add.reduceat(weight, starts, axis=1)
    return float(np.add.reduce(energy, axis=None))


def powers(spectra: Complexes) -> Doubles:
    """|.|^2 of spectra whose first axis is the channels', summed over it."""
    power = np.square(spectra.real)
    power += np.square(spectra.imag)
    total: Doubles = power[0] if len(power) == 1 else np.add.reduce(power, axis=0)
    return total


def polynomial(x: Doubles, y: Doubles, degree: int, weight: Doubles) -> tuple[float, ...]:
    """Coefficients, highest power first, of the weighted least squares polynomial through y (n,) at x (n,).

    x is scaled to +-1 for the sake of its condition.
    """
    scale = float(np.abs(x).max()) or 1.0
    scaled = x / scale
    columns = np.empty((len(x), degree + 1))
    columns[:, degree] = 1.0
    for power in range(degree - 1, -1, -1):
        np.multiply(columns[:, power + 1], scaled, out=columns[:, power])
    columns *= weight[:, None]
    square = columns.T @ columns
    square.ravel()[:: degree + 2] += 1e-9 * float(np.add.reduce(np.square(weight)))
    found = np.linalg.solve(square, columns.T @ (y * weight))
    return tuple(float(c) / scale ** (degree - i) for i, c in enumerate(found))


def straight(part: Envelope, *, rising: bool) -> Drift:
    """The straight drift that a weak tone filling `part` draws: of LINE steps at its start (`rising`) or its end.

    It is drawn through all of `part` where that is straight: the slope errs by the length to the power -2.5.
    """
    n = part.z.shape[1]
    near = part.part(part.first, part.first + LINE) if rising else part.part(part.first + n - LINE, part.first + n)
    if n <= LINE:
        near = part
    short = polished(near, polished(near, _chirped(near, DRIFT_SHARE), 2), 2)
    if n < 1.2 * LINE:
        return short
    long = polished(part, polished(part, short.extended(part), 2), 2)
    return long if coherent(part, long) / n > STRAIGHT * coherent(near, short) / near.z.shape[1] else short


def polished(part: Envelope, drift: Drift, most: int = 4) -> Drift:
    """Take out what bend is left, by the phase of three to eight parts in turn.

    A warm-up drift is bent: a straight chirp left a third of the energy behind (measured). Parts hold PART_ENERGY each
    where they can, so that their phases err by 0.25 rad at most (theory: 1 / sqrt(2 E)).
    """
    n = part.z.shape[1]
    turned = drift.unwind(part) * part.weight
    energy = _energy(turned, part.weight, ALL)
    count = int(min(8, energy / PART_ENERGY, n // SHORTEST_PART))
    if count < 2:
        return drift
    borders = cuts(n, count)
    sums = np.add.reduceat(turned, borders[:-1], axis=1)
    steps = np.add.reduce(sums[:, 1:] * np.conj(sums[:, :-1]), axis=0)
    phase = np.zeros(count)
    np.cumsum(np.arctan2(steps.imag, steps.real), out=phase[1:])
    seconds = ((borders[:-1] + borders[1:]) / 2 + part.first - drift.centre) * STEP_SECONDS
    degree = min(count - 1, most, 2 if count < 5 else 4 if energy > 200 else 3)
    fitted = polynomial(seconds, phase, degree, np.add.reduce(np.abs(sums), axis=0))
    return drift.plus(tuple(c * k / (2 * np.pi) for c, k in zip(fitted[:-1], range(degree, 0, -1), strict=True)))


def _piecewise(part: Envelope) -> Drift:
    """Straight or bent drift through the lines of pieces of PIECE seconds: for weak, long bursts."""
    n, size = part.z.shape[1], round(PIECE / STEP_SECONDS)
    starts = np.arange(0, n - size + 1, size)
    weighted = (part.z * part.weight)[:, : len(starts) * size].reshape(-1, len(starts), size)
    padded = 4 * size
    spectra = fft.fft(weighted, padded, axis=2)
    power = powers(spectra)
    frequency = fft.fftfreq(padded, STEP_SECONDS)
    plain = still(part)
    top = frequency[int(np.argmax(power.sum(axis=0)))]
    near = np.abs(frequency - top) < 12
    places = frequency[near][np.argmax(power[:, near], axis=1)]
    strength = power[:, near].max(axis=1)
    seconds = (part.first + starts + size / 2 - plain.centre) * STEP_SECONDS
    degree = min(2, max(0, len(places) // 4))
    return plain.plus(polynomial(seconds, places, degree, np.sqrt(strength)))
