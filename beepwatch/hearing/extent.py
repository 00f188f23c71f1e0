"""About where a faint long tone begins and ends, before its edges are sought.

A track of such a tone may begin and end seconds off, in noise alone. On the line that its strongest seconds draw, each
piece of EACH nats says whether it holds the tone: the run of pieces that says so is where it sounds.
"""

import numpy as np
from scipy.special import i0e

from .baseband import STEP_SECONDS, turning
from .drift import LINE, Drift, Envelope, coherent, polished, straight
from .spectrum import Doubles

EACH = 8.0
"""Energy expected of a piece of the tone: 5 nats for it, 6 against it without it (theory)."""
SHORTEST, LONGEST = 75, 250
"""Steps (0.3 s, 1 s) of a piece, at least and at most."""
OFFSETS = np.linspace(-1.5, 1.5, 7)
"""Hz beside the line, as it is drawn further than it is known (judgement)."""
SILENT = 9.0
"""Nats against the tone outside its own run at which it is over (a tone looks as weak once in e^9, Wald)."""
FOUND = 15.0
"""Nats for the run under which the track is believed instead."""


def extent(whole: Envelope, begin: float, end: float) -> tuple[float, float, Drift]:
    """About the steps at which the tone of a track from step `begin` to `end` begins and ends, and its line."""
    begin, end = max(begin, whole.first), min(end, whole.first + whole.z.shape[1])
    drift, rate = _strongest(whole, begin, end)
    size = int(np.clip(EACH / max(rate, 1e-9), SHORTEST, LONGEST))
    gains = _gains(whole, drift, rate, size)
    if len(gains) < 3:
        return begin, end, drift
    low = int((begin - whole.first) / size)
    first, last = _run(gains[low : int((end - whole.first) / size) + 1])
    first, last = first + low, last + low
    if gains[first : last + 1].sum() < FOUND:
        return begin, end, drift
    first -= _further(gains[:first][::-1])
    last += _further(gains[last + 1 :])
    places = (whole.first + first * size, whole.first + (last + 1) * size)
    a, b = (old if abs(new - old) < size else float(new) for new, old in zip(places, (begin, end), strict=True))
    return a, b, drift


def along(part: Envelope, line: Drift) -> Drift:
    """The line, drawn through all of `part` as far as that is straight."""
    drift = line.extended(part)
    best = coherent(part, drift)
    for _ in range(2):
        nearer = polished(part, drift, 2)
        energy = coherent(part, nearer)
        if energy <= best:
            break
        drift, best = nearer, energy
    return drift


def _strongest(whole: Envelope, begin: float, end: float) -> tuple[Drift, float]:
    """(the line of LINE steps with the most energy, energy of a step on it)."""
    n = min(LINE, int(end - begin))
    starts = np.unique(np.linspace(begin, end - n, max(1, round(2 * (end - begin) / n) - 1)).astype(int))
    drawn = []
    for start in starts:
        part = whole.part(int(start), int(start) + n)
        drift = straight(part, rising=True)
        drawn.append((drift, coherent(part, drift)))
    drift, energy = max(drawn, key=lambda one: one[1])
    return drift, max(energy - len(whole.z), 1.0) / n


def _gains(whole: Envelope, drift: Drift, rate: float, size: int) -> Doubles:
    """Log likelihood of the tone against noise in each piece of `size` steps: phase and place near the line free."""
    n = whole.z.shape[1] // size
    turned = (drift.extended(whole).unwind(whole) * whole.weight)[:, : n * size].reshape(len(whole.z), n, size)
    weight = whole.weight[:, : n * size].reshape(len(whole.z), n, size).sum(axis=2)
    near = turning(-2 * np.pi * OFFSETS[:, None] * np.arange(size) * STEP_SECONDS)
    sums = np.einsum("cns,os->cno", turned, near)
    energy = ((sums.real**2 + sums.imag**2) / weight[:, :, None]).sum(axis=0)
    expected = rate * size
    x = 2 * np.sqrt(energy * expected)
    top = x.max(axis=1)
    gains: Doubles = np.log((i0e(x) * np.exp(x - top[:, None])).mean(axis=1)) + top - expected
    return gains


def _run(gains: Doubles) -> tuple[int, int]:
    """First and last of the run with the greatest sum."""
    sums = np.concatenate([[0.0], np.cumsum(gains)])
    over = sums - np.minimum.accumulate(sums)
    last = int(np.argmax(over[1:]))
    return int(np.argmin(sums[: last + 1])), last


def _further(gains: Doubles) -> int:
    """How many pieces more belong to the tone, outwards, before SILENT nats say that it is over."""
    sums = np.cumsum(gains)
    if len(sums) == 0:
        return 0
    over = np.flatnonzero(np.maximum.accumulate(np.maximum(sums, 0.0)) - sums > SILENT)
    stop = int(over[0]) if len(over) else len(sums)
    if stop == 0:
        return 0
    best = int(np.argmax(sums[:stop]))
    return best + 1 if sums[best] > 0 else 0
