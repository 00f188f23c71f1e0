"""Tone beside a fitted burst that the coherent fit left outside."""

from dataclasses import replace

import numpy as np

from .baseband import STEP_NOISE
from .burst import Burst
from .drift import Drift, Envelope
from .edges import Sums

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


def reached(whole: Envelope, burst: Burst, begin: float, end: float) -> Burst:
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
    sums = Sums(drift.unwind(whole), whole.weight, whole.first)
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
