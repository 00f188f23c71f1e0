"""Where a beep begins and ends in its harmonics, where a null of the room hides its fundamental there.

A harmonic is judged a cell at a time, outwards from an edge of the fundamental where it sounded with it: does it go on,
above the noise and above the tail that the slowest room would leave of it?
"""

import numpy as np

from .baseband import MARGIN, STEP_SECONDS
from .burst import Burst
from .drift import SHORT, Envelope, still
from .edges import Sums, edge
from .nulls import BEFORE, ORDERS, OVER_TAIL, SLOWEST, Harmonics
from .outside import OFFSETS, OUTSIDE, REDUCED, cells
from .spectrum import Doubles

CELL = 25
"""Steps (0.1 s) judged together: a room's echoes and a warm-up turn a harmonic by less (theory)."""
EVERY = np.concatenate([OFFSETS, np.arange(20.0, 65.0, 10.0), -np.arange(20.0, 65.0, 10.0)])
"""Hz by which it may lie beside a multiple of the fundamental (a warm-up of 0.2 % moves the second of 2.5 kHz by 10),
and those (to `nulls.RING`) at which the noise of a cell is read: it may swell."""
FINE = np.arange(-10.0, 10.5)
"""Hz at which it is sought once more, in a quarter of a second, to place its edge."""
LOOKED = 200
"""Steps (0.8 s) before a fundamental in which a harmonic is looked for (judgement)."""
FEWEST = 2
"""Cells by which it must go on, as a fundamental's own edge may err and its decay last for one; and of silence before
an onset (judgement)."""
SILENT = 6.0
"""Nats by which a sum falls from its greatest where the harmonic is over (judgement: three cells of noise)."""
INSIDE = 2
"""Cells within the fundamental's edge that show whether there is a harmonic, as `nulls.BESIDE`."""
SHORTEST = 50
"""Steps (0.2 s) of a burst whose edges are asked."""


def carried(whole: Envelope, harmonics: Harmonics, burst: Burst) -> tuple[float, float]:
    """Steps at which a burst of breath length begins and ends: its own, or those of a harmonic that lie further out."""
    begin, end = burst.begin, burst.end
    if not SHORTEST <= end - begin <= SHORT / STEP_SECONDS:
        return begin, end
    hertz = burst.drift.hertz(np.array([begin, end]))
    first = max(round(begin) - LOOKED - 1, harmonics.since + MARGIN, MARGIN)
    for order, harmonic in zip(ORDERS, harmonics.envelopes(whole, first), strict=False):
        beside = order * (whole.tone + hertz) - harmonic.tone
        begin = min(begin, _outwards(harmonic, burst, float(beside[0]), rising=True))
        end = max(end, _outwards(harmonic, burst, float(beside[1]), rising=False))
    return begin, end


def _outwards(harmonic: Envelope, burst: Burst, beside: float, *, rising: bool) -> float:
    """Step at which a harmonic begins, or ends, that sounded at that edge of the burst; the edge itself if with it.

    beside: Hz from the harmonic's oscillator, there.
    """
    place, sign = (burst.begin, -1) if rising else (burst.end, 1)
    room = place - harmonic.first if rising else harmonic.first + harmonic.z.shape[1] - place
    count, inner = int((room - 1) // CELL), int((burst.end - burst.begin) // CELL)
    if count < FEWEST:
        return place
    energy = _cells(harmonic, beside, place - sign * inner * CELL, inner + count, sign)
    further = _further(energy[:, :inner], energy[:, inner:], len(harmonic.z), rising=rising)
    if further < FEWEST or (rising and further + FEWEST > count):
        return place
    return _placed(harmonic, beside, place + sign * (further - 0.5) * CELL, sign)


def _further(inside: Doubles, outside: Doubles, channels: int, *, rising: bool) -> int:
    """For how many cells a harmonic goes on outside, of energies (OFFSETS, cells); 0 if it was not there or is over."""
    near = float(inside[:, -INSIDE:].sum(axis=1).max()) - channels * INSIDE
    if near < BEFORE:
        return 0
    loudest = 0.0 if rising else float(inside.max())
    totals = np.cumsum(_gains(outside, near / INSIDE, loudest, channels))
    over = np.flatnonzero(np.maximum.accumulate(np.maximum(totals, 0.0)) - totals > SILENT)
    goes_on = totals[: over[0]] if len(over) else totals
    return int(np.argmax(goes_on)) + 1 if goes_on.max(initial=0.0) >= OUTSIDE else 0


def _placed(harmonic: Envelope, beside: float, guess: float, sign: int) -> float:
    """The harmonic's own edge near step `guess`, against what lies a quarter of a second within it."""
    within = guess - sign * 2.5 * CELL
    part = harmonic.part(round(min(guess, within)) - 2 * CELL, round(max(guess, within)) + 2 * CELL)
    near = part.part(round(min(guess, within)), round(max(guess, within)))
    power, _ = cells(near, beside + FINE, near.first, 1, near.z.shape[1])
    own = beside + float(FINE[int(power.sum(axis=(1, 2)).argmax())])
    sums = Sums(still(part, (own,)).unwind(part), part.weight, part.first)
    place = edge(sums, guess, (1.5 * CELL, 1.0), within)
    return float(min(max(place, sums.first), sums.last))


def _cells(harmonic: Envelope, beside: float, start: float, count: int, sign: int) -> Doubles:
    """Energy in phase of `count` cells from step `start` on in the direction `sign`, at each of OFFSETS, (n, count).

    It is counted over the noise near it in the same cell, where that is more than it was taken for.
    """
    first = start if sign > 0 else round(start) - count * CELL
    each, _ = cells(harmonic, beside + EVERY, first, count, CELL)
    energy: Doubles = np.add.reduce(each, axis=1)
    ring = energy[len(OFFSETS) :].mean(axis=0) / len(harmonic.z)
    over: Doubles = energy[: len(OFFSETS)] / np.maximum(ring, 1.0)
    return over if sign > 0 else over[:, ::-1]


def _gains(energy: Doubles, level: float, loudest: float, channels: int) -> Doubles:
    """Log likelihood ratio of each cell, (count,): the harmonic at about REDUCED of `level` against noise and a tail.

    All of unknown phase and Rayleigh amplitude; its frequency is one of OFFSETS, as likely each. loudest: energy of a
    cell from which the tail dies away at the end of the burst.
    """
    seconds = (np.arange(energy.shape[1]) + 0.5) * CELL * STEP_SECONDS
    noise = channels + OVER_TAIL * loudest * 10 ** (-SLOWEST * seconds / 10)
    expected = max(REDUCED * level, 1.0)
    each = energy * expected / (noise * (noise + expected)) - np.log1p(expected / noise)
    gains: Doubles = np.logaddexp.reduce(each, axis=0) - np.log(len(OFFSETS))
    return gains
