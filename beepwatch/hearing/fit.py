"""The coherent fit of one tone burst: its drift, and the moments at which it begins and ends.

Everything is in units of noise: with C the running sum of weighted baseband samples and V that of their weights,
|C(b) - C(a)|^2 / (V(b) - V(a)) is the log likelihood ratio of "a steady tone from a to b" against noise alone, with
amplitude and phase left free (Kay, Detection Theory, ch. 7, from memory). Where it is greatest is the step fit: its
edges sit where the amplitude is half, so a room that builds up and dies away alike does not change the length.
Each edge is the median of its likelihood, not the maximum: that halves the large errors near the limit.
"""

from dataclasses import dataclass, replace
from math import lgamma, log

import numpy as np
from numpy.typing import NDArray

from .baseband import STEP_NOISE, STEP_SECONDS
from .drift import DRIFT_SHARE, PIECE, SHORT, WIDE_SHARE, Drift, Envelope, coherent, follow, still
from .faint import ending, onset
from .known import MOST, prior
from .spectrum import Complexes, Doubles

BEFORE, BEYOND = 0.45, 0.25
"""Seconds before the coarse start and after the coarse end in which the edges are looked for."""
UNSURE = 1.6
"""A faint burst of up to so many SHORT may be a short one whose track began or ended in noise: both fits are tried."""
FAINT_RATE = 250.0
"""Energy in a second (tone over noise density) under which it may."""
GRID = 48
FINE = 0.5
"""Energy of one step from which an edge lies finer than a step (edge error in steps: about 1 / energy, theory)."""
LOUD = 16.0
"""Energy of one step from which edges are read from magnitudes: they are then clear, whatever the frequency does."""
HOPELESS = 14.0
"""Energy between the coarse edges under which better edges will not make it enough (measured: they add 10 at most)."""
EDGE_REACH = 25
"""Steps (0.1 s) beyond the coarse edges in which a loud burst's edges may lie."""
SETTLED = 36
"""Steps (0.14 s) inside an edge, from a third of it on, that show the tone's own phase."""
GAP = 12
"""Steps (48 ms) under half that do not end a loud burst: pulses were parted before."""
CELL = 10
"""Steps (40 ms) judged together outside a fitted edge."""
REDUCED = 0.3
"""Power there over the burst's that is asked about."""
FADED = 0.08
"""The same before the onset of a strong tone, where no tail of a room lies: a warm-up may begin in a null."""
STRONG_CELL, FRAMES_SAY = 20.0, 5.0
"""Energy of a cell of a strong tone, and the nats asked there: its first frame says the same already."""
OUTSIDE = 12.0
"""Nats from which an edge is moved out: noise does it once in 160 000 (theory)."""
REACH = 1.3
"""Times a known length that its other edge is looked for in."""
EDGE_ENERGY = 40.0
"""Energy beside a long burst's edge that is enough to place it."""


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


class _Sums:
    """Running sums of weighted baseband: C and V of shape (channels, n + 1), the first at step `first`."""

    def __init__(self, turned: Complexes, weight: Doubles, first: int) -> None:
        self.first, self.last = first, first + turned.shape[1]
        self._c = np.zeros((len(turned), turned.shape[1] + 1), np.complex128)
        self._v = np.zeros((len(turned), turned.shape[1] + 1))
        np.cumsum(turned * weight, axis=1, out=self._c[:, 1:])
        np.cumsum(weight, axis=1, out=self._v[:, 1:])

    def _at(self, steps: Doubles) -> tuple[Complexes, Doubles]:
        """(C, V) at step numbers, between steps by straight lines; shape (channels, len(steps))."""
        place = np.minimum(np.maximum(steps - self.first, 0), self.last - self.first)
        low = np.minimum(place.astype(np.int64), self._c.shape[1] - 2)
        part = place - low
        c, v = self._c[:, low], self._v[:, low]
        return c + part * (self._c[:, low + 1] - c), v + part * (self._v[:, low + 1] - v)

    def likelihood(self, begins: Doubles, ends: Doubles) -> Doubles:
        """Log likelihood ratio for each pair, shape (len(begins), len(ends)); 0 where empty."""
        (c0, v0), (c1, v1) = self._at(begins), self._at(ends)
        total = np.zeros((len(begins), len(ends)))
        for channel in range(len(c0)):
            step = c1[channel][None, :] - c0[channel][:, None]
            width = v1[channel][None, :] - v0[channel][:, None]
            power = step.real**2 + step.imag**2
            total += np.where(width > 0, power / np.where(width > 0, width, 1.0), 0.0)
        return total


def _median_place(places: Doubles, log_likelihood: Doubles) -> float:
    """Median of a likelihood given on a rising grid."""
    density = np.exp(log_likelihood - log_likelihood.max())
    total = np.cumsum(density)
    return float(np.interp(total[-1] / 2, total - density / 2, places))


def _edge(sums: _Sums, guess: float, span: tuple[float, float], other: float, length: float | None = None) -> float:
    """Place of one edge within `span` = (reach, spacing) steps of `guess`, with the other edge at `other`.

    length: s, where it is known.
    """
    reach, spacing = span
    rising = guess < other
    places = np.arange(guess - reach, guess + reach + spacing / 2, spacing)
    places = places[places < other - 1] if rising else places[places > other + 1]
    if len(places) < 2:
        return guess
    fixed = np.array([other])
    values = sums.likelihood(places, fixed)[:, 0] if rising else sums.likelihood(fixed, places)[0]
    return _median_place(places, values + prior(np.abs(places - other) * STEP_SECONDS, length))


def _short_edges(sums: _Sums, low: float, high: float, length: float | None = None) -> tuple[float, float]:
    """Both edges of a short burst somewhere in low..high: a grid of pairs first, then each edge finely."""
    places = np.linspace(low, high, GRID)
    values = np.triu(sums.likelihood(places, places), 1)
    best = float(values.max())
    values += prior((places[None, :] - places[:, None]) * STEP_SECONDS, length)
    density = np.exp(values - values.max())
    begin = _median_place(places, np.log(density.sum(axis=1) + 1e-300))
    end = _median_place(places, np.log(density.sum(axis=0) + 1e-300))
    coarse = (2 * float(places[1] - places[0]), 1.0)
    begin = _edge(sums, begin, coarse, end, length)
    end = _edge(sums, end, coarse, begin, length)
    if best > FINE * (end - begin):
        begin = _edge(sums, begin, (2.0, 0.25), end, length)
        end = _edge(sums, end, (2.0, 0.25), begin, length)
    return begin, end


def _sums(whole: Envelope, drift: Drift, energy: float) -> _Sums:
    """Running sums for the edges: of the unwound baseband, or of magnitudes above noise where a step is loud."""
    if energy < LOUD * len(whole.z):
        return _Sums(drift.unwind(whole), whole.weight, whole.first)
    size = np.sqrt(np.maximum(np.abs(whole.z) ** 2 - STEP_NOISE / whole.weight, 0.0)).astype(np.complex128)
    return _Sums(size, whole.weight, whole.first)


def fit_burst(whole: Envelope, begin: float, end: float, length: float | None = None) -> Burst:
    """Fit the burst that lies about from step `begin` to `end` of `whole`; length: s, where it is known."""
    burst = _fit(whole, begin, end)
    if length is None or burst.seconds > SHORT or not HOPELESS < burst.energy < FAINT_RATE * burst.seconds:
        return burst
    return _timed(whole, burst, length)


def _timed(whole: Envelope, burst: Burst, length: float) -> Burst:
    """The same faint burst with the edges that are likeliest beside a known length: noise alone may move them far.

    Its evidence stays; edges that cost more of it than the known length can weigh are not taken.
    """
    steps = REACH * length / STEP_SECONDS
    low = max(min(burst.begin - BEFORE / STEP_SECONDS, burst.end - steps), whole.first)
    high = min(max(burst.end + BEYOND / STEP_SECONDS, burst.begin + steps), whole.first + whole.z.shape[1])
    sums = _Sums(burst.drift.unwind(whole), whole.weight, whole.first)
    begin, end = _short_edges(sums, low, high, length)
    values = sums.likelihood(np.array([burst.begin, begin]), np.array([burst.end, end]))
    return replace(burst, begin=begin, end=end) if values[0, 0] - values[1, 1] <= MOST else burst


def _fit(whole: Envelope, begin: float, end: float) -> Burst:
    """Fit it by its sound alone."""
    inner = whole.part(int(begin), int(end) + 1)
    energy = inner.energy
    rate = max(energy, 1e-3) / STEP_SECONDS
    low = max(begin - min(2.0, max(BEFORE, 12.0 / rate)) / STEP_SECONDS, whole.first)
    high = min(end + BEYOND / STEP_SECONDS, whole.first + whole.z.shape[1])
    if energy > LOUD * len(whole.z) and len(whole.z) == 1:
        return _fit_loud(whole.part(int(low), int(high)), begin, end)
    seconds = (end - begin) * STEP_SECONDS
    if seconds > SHORT:
        long = _reached(whole, _fit_long(whole, begin, end, (low, high)), begin, end)
        if seconds > UNSURE * SHORT or rate > FAINT_RATE:
            return long
        short = _fit_quiet(whole, (begin, end), (low, high))
        return short if short.seconds < SHORT * 0.8 and short.evidence > long.evidence else long
    return _reached(whole, _fit_quiet(whole, (begin, end), (low, high)), begin, end)


def _fit_quiet(whole: Envelope, about: tuple[float, float], bounds: tuple[float, float]) -> Burst:
    """Fit a short burst that is not loud, with more drift where the first fit leaves tone over."""
    begin, end = about
    burst = _fit_short(whole, about, bounds, DRIFT_SHARE)
    if burst.end - burst.begin < 0.85 * (end - begin) and end - begin > 75:
        wider = _fit_short(whole, about, bounds, WIDE_SHARE)
        return max(burst, wider, key=lambda one: one.energy)
    return burst


def _reached(whole: Envelope, burst: Burst, begin: float, end: float) -> Burst:
    """The burst with an edge moved out to tone that the coherent fit left outside.

    In a room a drifting tone passes through nulls and comes back with another phase: its parts then add up to nothing.
    They are judged here by their energy, CELL steps at a time.
    """
    inner = whole.part(round(burst.begin), round(burst.end))
    level = max(inner.energy, 0.0) / len(whole.z) / max(float(inner.weight.mean()), 1e-30)
    begin, end = min(begin, burst.begin), max(end, burst.end)
    a = _further(whole, level * REDUCED, burst.begin, begin - 2 * CELL)
    if inner.energy * CELL > STRONG_CELL * len(whole.z):
        a = min(a, _further(whole, level * FADED, burst.begin, begin - 2 * CELL, FRAMES_SAY))
    b = _further(whole, level * REDUCED, burst.end, end + 2 * CELL)
    a = _faded(whole, burst.drift, a, begin) if a == burst.begin else a
    b = _faded(whole, burst.drift, b, end) if b == burst.end else b
    return replace(burst, begin=a, end=b)


def _faded(whole: Envelope, drift: Drift, edge: float, bound: float) -> float:
    """Where a tone that a room has faded, too weak to show step by step, goes on in one phase towards `bound`."""
    low, high = sorted((edge, bound))
    if high - low < 4 * CELL:
        return edge
    sums = _Sums(drift.unwind(whole), whole.weight, whole.first)
    places = np.arange(low, high + 1.0, CELL / 2)
    here = np.array([edge])
    values = sums.likelihood(here, places)[0] if bound > edge else sums.likelihood(places, here)[:, 0]
    best = int(np.argmax(values))
    return float(places[best]) if values[best] > OUTSIDE else edge


def _further(whole: Envelope, level: float, edge: float, bound: float, nats: float = OUTSIDE) -> float:
    """Where tone at about `level` or more goes on from `edge` towards `bound`; `edge` if it does not."""
    outwards = 1 if bound > edge else -1
    count = int(abs(bound - edge) // CELL)
    if outwards * (bound - edge) < 4 * CELL:
        return edge
    start = min(edge, edge + outwards * count * CELL)
    part = whole.part(round(start), round(start) + count * CELL)
    cells = part.z.shape[1] // CELL
    if cells < 3:
        return edge
    shape = (len(part.z), cells, CELL)
    energy = ((np.abs(part.z) ** 2 * part.weight)[:, : cells * CELL]).reshape(shape).sum(axis=(0, 2))
    expected = level * part.weight[:, : cells * CELL].reshape(shape).sum(axis=(0, 2))
    noise = CELL * len(part.z) * STEP_NOISE
    gain = energy * expected / (noise + expected) - noise * np.log1p(expected / noise)
    sums = np.cumsum(gain if outwards > 0 else gain[::-1])
    best = int(np.argmax(sums))
    if sums[best] < nats:
        return edge
    return edge + outwards * (best + 1) * CELL


def _fit_loud(near: Envelope, begin: float, end: float) -> Burst:
    """Fit a loud burst: where its magnitude, over 12 ms, passes half of its upper quartile; then on its own phase.

    What a room adds after the end is what it still lacked after the onset (superposition): on the phase of the steady
    tone both pass half equally late and the length is true; magnitudes hold the part out of phase too and are longer.
    """
    size = np.abs(near.z[0])
    smooth = np.convolve(size, np.ones(3) / 3, mode="same")
    a, b = int(begin) - near.first, max(int(end) - near.first, int(begin) - near.first + 2)
    half = 0.5 * float(np.quantile(size[max(a, 0) : b + 1], 0.75))
    over = np.flatnonzero(smooth > half)
    over = over[(over >= a - EDGE_REACH) & (over <= b + EDGE_REACH)]
    if len(over) < 2:
        return Burst(begin, end, still(near), 0.0, 1)
    first, last = _joined(over, a, b)
    body = near.part(near.first + first, near.first + last + 1)
    drift = follow(body)
    turned = drift.unwind(near)[0]
    span = last - first
    onset, stop = _half_way(turned, first, min(span, SETTLED)), _half_way(turned, last, -min(span, SETTLED))
    return Burst(near.first + onset, near.first + stop + 1, drift, coherent(body, drift), 1)


def _half_way(turned: Complexes, edge: int, inwards: int) -> float:
    """Place near step `edge` at which the part in phase with the tone further inside passes half of it."""
    low, high = sorted((edge + inwards // 3, edge + inwards))
    inner = turned[max(low, 0) : high + 1].mean()
    part = (turned * np.conj(inner)).real / max(abs(inner) ** 2, 1e-30)
    smooth = np.convolve(part, np.ones(3) / 3, mode="same")
    step = 1 if inwards > 0 else -1
    k = edge + min(abs(inwards) // 3, 8) * step
    while 0 < k < len(smooth) - 1 and abs(k - edge) <= EDGE_REACH and smooth[k] > 0.5:
        k -= step
    gain = smooth[min(max(k + step, 0), len(smooth) - 1)] - smooth[k]
    return k + step * float(np.clip((0.5 - smooth[k]) / gain, 0, 1)) if gain > 0 else float(k)


def _joined(over: NDArray[np.int64], a: int, b: int) -> tuple[int, int]:
    """First and last place of the runs of `over` that touch a..b, gaps up to GAP steps bridged."""
    cuts = np.flatnonzero(np.diff(over) > GAP)
    starts, ends = over[np.concatenate([[0], cuts + 1])], over[np.concatenate([cuts, [len(over) - 1]])]
    touching = np.flatnonzero((ends >= a) & (starts <= b))
    if len(touching) == 0:
        return int(starts[0]), int(ends[-1])
    return int(starts[touching[0]]), int(ends[touching[-1]])


def _fit_short(whole: Envelope, about: tuple[float, float], bounds: tuple[float, float], share: float) -> Burst:
    """Fit in one coherent piece; once more with the edges found, if they moved."""
    inner = whole.part(int(about[0]), int(about[1]) + 1)
    drift = follow(inner, share)
    evidence = coherent(inner, drift)
    if evidence < HOPELESS:
        return Burst(about[0], about[1], drift, evidence, len(whole.z))
    a, b = _short_edges(_sums(whole, drift, inner.energy), *bounds)
    seconds = about[1] - about[0]
    if abs(b - a - seconds) > 0.08 * seconds and b - a > 8:
        inner = whole.part(int(a), int(b) + 1)
        drift = follow(inner, share)
        near = (max(a - 75, bounds[0]), min(b + 75, bounds[1]))
        a, b = _short_edges(_sums(whole, drift, inner.energy), *near)
    return Burst(a, b, drift, coherent(whole.part(round(a), max(round(b), round(a) + 1)), drift), len(whole.z))


def _fit_long(whole: Envelope, begin: float, end: float, bounds: tuple[float, float]) -> Burst:
    """Fit in pieces, each edge on its own."""
    inner = whole.part(int(begin), int(end) + 1)
    if inner.energy < FAINT_RATE * STEP_SECONDS:
        coarse = _in_pieces(whole, begin, end, follow(inner))
        if coarse.evidence < HOPELESS:
            return coarse
        a = onset(whole, begin, end)
        b = ending(whole, end, a)
        a = _long_edge(whole, begin, bounds[0], end, rising=True, unless=a)
        b = _long_edge(whole, end, bounds[1], begin, rising=False, unless=b)
    else:
        a = _long_edge(whole, begin, bounds[0], end, rising=True)
        b = _long_edge(whole, end, bounds[1], begin, rising=False)
    return _in_pieces(whole, a, b, follow(whole.part(int(a), int(b) + 1)))


def _in_pieces(whole: Envelope, a: float, b: float, drift: Drift) -> Burst:
    """The burst from step `a` to `b`, its energy gathered piece by piece."""
    cuts = np.linspace(a, b, max(2, round((b - a) * STEP_SECONDS / PIECE)) + 1).astype(int)
    energy = coherent(whole.part(int(cuts[0]), int(cuts[-1])), drift, cuts[:-1])
    return Burst(a, b, drift, energy, (len(cuts) - 1) * len(whole.z))


def _long_edge(
    whole: Envelope, guess: float, bound: float, other: float, *, rising: bool, unless: float | None = None
) -> float:
    """One edge of a long burst, against the tone beside it, whose drift is fitted there anew.

    So much tone is taken as holds EDGE_ENERGY, 0.8 to 2.4 s of it: more places the edge no better.
    unless: an edge to be kept unless this one lies further out by OUTSIDE nats: rooms bend phases otherwise.
    """
    sign = 1 if rising else -1
    energy = whole.part(int(min(guess, other)), int(max(guess, other))).energy
    steps = float(np.clip(EDGE_ENERGY / max(energy, 1e-3), 200, 600))
    fixed = guess + sign * min(steps, abs(other - guess))
    beside = whole.part(int(min(guess, fixed)), int(max(guess, fixed)) + 1)
    sums = _sums(whole, follow(beside), beside.energy)
    inside = guess + sign * abs(fixed - guess) / 2
    places = np.arange(min(bound, inside), max(bound, inside), 2.0)
    against = np.array([fixed])
    values = sums.likelihood(places, against)[:, 0] if rising else sums.likelihood(against, places)[0]
    near = _edge(sums, _median_place(places, values), (4.0, 1.0), fixed)
    if unless is not None:
        kept = np.array([unless])
        than = float((sums.likelihood(kept, against) if rising else sums.likelihood(against, kept))[0, 0])
        if sign * (unless - near) <= 0 or float(values.max()) - than < OUTSIDE:
            return unless
    return _edge(sums, near, (2.0, 0.25), fixed)
