"""Tone beside a fitted burst that the coherent fit left outside."""

from dataclasses import replace
from math import sqrt

import numpy as np

from .baseband import STEP_NOISE, STEP_SECONDS, turning
from .burst import Burst
from .drift import Drift, Envelope, coherent, follow, still
from .edges import Sums, edge
from .spectrum import Doubles

FURTHER = 1.15
"""Times its fitted length that a burst reaches, from which its drift is fitted anew (judgement)."""
CELL = 10
"""Steps (40 ms) judged together outside a fitted edge."""
REDUCED = 0.3
"""Power there over the burst's that is asked about."""
FADED = 0.08
"""The same before the onset of a strong tone, where no tail of a room lies: a warm-up may begin in a null."""
STRONG_CELL, FRAMES_SAY = 20.0, 5.0
"""Energy of a cell of a strong tone, and the nats asked there: its first frame says the same already."""
OFFSETS = np.array([-10.0, -5.0, 0.0, 5.0, 10.0])
"""Hz by which it may differ there: a warm-up moves it by 0.2 %, and a cell holds a tone to 5 Hz."""
LOOKED = 150
"""Steps (0.6 s) beyond an edge in which a tone is looked for past a null."""
PAST_NULL = 9.0
"""Nats from which it is taken for the same one: noise has as much anywhere at one of five frequencies six times in ten
thousand at most (Ville's inequality, theory)."""
SILENT = 2
"""Cells beyond the tone that must be seen to be silent."""
LONGEST, QUARTER = 100, 0.25
"""Steps (0.4 s), and share of the burst, that a null may hide: gaps as long are joined."""
LASTING = 2000
"""Steps (8 s) of a battery's tone: it is seldom heard, so its edges must not be missed. Notes of music are shorter."""
TRIMMED, NOISY = 500, 100
"""Steps (2 s: judgement) at each coarse edge of a long tone that may be noise, and those (0.4 s) from which they are
taken off: the search for the edge itself reaches as far."""
OUTSIDE = 12.0
"""Nats from which an edge is moved out: noise does it once in 160 000 (theory)."""


def reached(whole: Envelope, burst: Burst, begin: float, end: float) -> Burst:
    """The burst with an edge moved out to tone that the coherent fit left outside.

    In a room a drifting tone passes through nulls and comes back with another phase: its parts then add up to nothing.
    They are judged here by their energy, CELL steps at a time.
    """
    inner = whole.part(round(burst.begin), round(burst.end))
    level = power_of(inner)
    begin, end = min(begin, burst.begin), max(end, burst.end)
    a = further(whole, level * REDUCED, burst.begin, begin - 2 * CELL)
    if inner.energy * CELL > STRONG_CELL * len(whole.z):
        a = min(a, further(whole, level * FADED, burst.begin, begin - 2 * CELL, FRAMES_SAY))
    b = further(whole, level * REDUCED, burst.end, end + 2 * CELL)
    a = _faded(whole, burst.drift, a, begin) if a == burst.begin else a
    b = _faded(whole, burst.drift, b, end) if b == burst.end else b
    a, b = _loud_again(whole, level * REDUCED, a, begin), _loud_again(whole, level * REDUCED, b, end)
    a = _beyond_null(whole, burst.drift, level, (a, b))
    return replace(burst, begin=a, end=b, drift=_followed(whole.part(round(a), round(b)), burst))


def power_of(inner: Envelope) -> float:
    """Mean power |z|^2 of a tone that fills `inner`, beyond noise, at least 0."""
    return max(inner.energy, 0.0) / len(inner.z) / max(float(inner.weight.mean()), 1e-30)


def trimmed(whole: Envelope, begin: float, end: float) -> tuple[float, float]:
    """About where a clear tone of LASTING or more begins and ends: its coarse edges without what is noise alone."""
    if end - begin < LASTING:
        return begin, end
    inner = whole.part(int(begin), int(end) + 1)
    level = REDUCED * power_of(inner)
    count = TRIMMED // CELL
    a = begin + _noise_first(_gains(whole, level, begin, count))
    b = end - _noise_first(_gains(whole, level, end - count * CELL, count)[::-1])
    return a if _noise_alone(whole, begin, a) else begin, b if _noise_alone(whole, b, end) else end


def _noise_first(gains: Doubles) -> int:
    """Steps before the tone in cells of so many nats, the outermost first."""
    return CELL * int(np.argmin(np.concatenate([[0.0], np.cumsum(gains)])))


def _noise_alone(whole: Envelope, begin: float, end: float) -> bool:
    """Are these at least NOISY steps, with no more energy than noise has, to three standard errors?"""
    part = whole.part(round(begin), round(end))
    n = part.z.shape[1]
    return n >= NOISY and bool(part.energy * n < 3 * STEP_NOISE * sqrt(n * len(part.z)))


def _followed(part: Envelope, burst: Burst) -> Drift:
    """The drift over all of `part`, where the burst reaches that much further than it was fitted."""
    if part.z.shape[1] < FURTHER * (burst.end - burst.begin):
        return burst.drift
    return max((burst.drift, follow(part)), key=lambda drift: coherent(part, drift))


def _loud_again(whole: Envelope, level: float, edge: float, bound: float) -> float:
    """The far end of the last cells before `bound` that are loud again, the tone having faded meanwhile; or `edge`."""
    outwards = 1 if bound > edge else -1
    count = int(abs(bound + outwards * 2 * CELL - edge) // CELL)
    if outwards * (bound - edge) < 4 * CELL:
        return edge
    gain = _gains(whole, level, min(edge, edge + outwards * count * CELL), count)
    best, place, total = 0.0, 0, 0.0
    for cell, one in enumerate(gain if outwards > 0 else gain[::-1], 1):
        total = max(total, 0.0) + float(one)
        if total > OUTSIDE and (total > best or place < cell - 1):
            best, place = total, cell
    return edge + outwards * place * CELL


def _faded(whole: Envelope, drift: Drift, edge: float, bound: float) -> float:
    """Where a tone that a room has faded, too weak to show step by step, goes on in one phase towards `bound`."""
    low, high = sorted((edge, bound))
    if high - low < 4 * CELL:
        return edge
    sums = Sums(drift.unwind(whole), whole.weight, whole.first)
    places = np.arange(low, high + 1.0, CELL / 2)
    here = np.array([edge])
    values = sums.likelihood(here, places)[0] if bound > edge else sums.likelihood(places, here)[:, 0]
    best = int(np.argmax(values))
    return float(places[best]) if values[best] > OUTSIDE else edge


def _beyond_null(whole: Envelope, drift: Drift, level: float, edges: tuple[float, float]) -> float:
    """The onset where the tone itself begins, if a null of the room hides it there but for its first arrival.

    The direct sound comes alone, before the echoes that cancel it. Cells are gathered in phase, each on its own. Before
    it there must be silence: else it is the tail of another beep.
    """
    onset, end = edges
    count = int((onset - max(whole.first, onset - LOOKED)) // CELL)
    if count < 2 + SILENT:
        return onset
    middle = float(drift.hertz(np.array([(onset + end) / 2]))[0])
    energy, weight = cells(whole, middle + OFFSETS, onset - count * CELL, count, CELL)
    expected = level * REDUCED * weight
    gains = np.add.reduce(energy * expected / (1 + expected) - np.log1p(expected), axis=1)[:, ::-1]
    totals = (np.logaddexp(gains, 0.0) - np.log(2.0)).cumsum(axis=1)  # a cell is hidden or not, as likely
    line, best = divmod(int(totals.argmax()), count)
    if totals[line, best] < PAST_NULL or best + SILENT >= count:
        return onset
    earlier = onset - (best + 1) * CELL
    heard = np.flatnonzero(gains[line, : best + 1] > 0)
    hidden = CELL * int(np.diff(heard, prepend=-1).max() - 1)
    if hidden > min(LONGEST, QUARTER * (end - earlier)):
        return onset
    arrival = whole.part(round(earlier) - CELL, round(earlier) + 2 * CELL)
    sums = Sums(still(arrival, (middle + float(OFFSETS[line]),)).unwind(arrival), arrival.weight, arrival.first)
    return min(onset, edge(sums, earlier + CELL / 2, (CELL, 1.0), earlier + 2 * CELL))


def cells(whole: Envelope, hertz: Doubles, start: float, count: int, size: int) -> tuple[Doubles, Doubles]:
    """Energy in phase at each frequency, (n, channels, count), of `count` cells of `size` steps, and their weights.

    hertz: beside the local oscillator, (n,). start: step with which the first begins; all lie within `whole`.
    """
    part = whole.part(round(start), round(start) + count * size)
    shape = (len(part.z), count, size)
    weight = np.add.reduce(part.weight.reshape(shape), axis=2)
    turns = turning(-2 * np.pi * STEP_SECONDS * hertz[:, None] * np.arange(float(size)))
    sums = (part.z * part.weight).reshape(shape) @ turns.T
    energy = np.moveaxis(np.square(np.abs(sums)) / np.maximum(weight, 1e-300)[:, :, None], 2, 0)
    return energy, weight


def further(whole: Envelope, level: float, edge: float, bound: float, nats: float = OUTSIDE) -> float:
    """Where tone at about `level` or more goes on from `edge` towards `bound`; `edge` if it does not."""
    outwards = 1 if bound > edge else -1
    count = int(abs(bound - edge) // CELL)
    if outwards * (bound - edge) < 4 * CELL:
        return edge
    gain = _gains(whole, level, min(edge, edge + outwards * count * CELL), count)
    if len(gain) < 3:
        return edge
    sums = np.cumsum(gain if outwards > 0 else gain[::-1])
    best = int(np.argmax(sums))
    if sums[best] < nats:
        return edge
    return edge + outwards * (best + 1) * CELL


def _gains(whole: Envelope, level: float, start: float, count: int) -> Doubles:
    """Log likelihood ratio of a tone of about `level` against noise, of each of `count` cells from step `start` on."""
    part = whole.part(round(start), round(start) + count * CELL)
    cells = part.z.shape[1] // CELL
    shape = (len(part.z), cells, CELL)
    energy = ((np.abs(part.z) ** 2 * part.weight)[:, : cells * CELL]).reshape(shape).sum(axis=(0, 2))
    expected = level * part.weight[:, : cells * CELL].reshape(shape).sum(axis=(0, 2))
    noise = CELL * len(part.z) * STEP_NOISE
    gain: Doubles = energy * expected / (noise + expected) - noise * np.log1p(expected / noise)
    return gain
