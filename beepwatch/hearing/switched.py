"""Where a loud beep is switched on and off, though a null of the room hides most of it there.

Only where nothing else sounds near it: in music all that is asked here is another note's.
"""

import numpy as np

from .baseband import STEP_NOISE, STEP_SECONDS
from .burst import Burst
from .drift import Envelope
from .edges import LOUD, edge, magnitudes
from .loud import EDGE_REACH, THIRDS
from .nulls import OVER_TAIL, SAME_TURN, SLOWEST, TAIL_STEPS
from .outside import CELL, FADED, FRAMES_SAY, further, power_of
from .ranks import quantile
from .spectrum import Complexes, Doubles

SLOW = 25
"""Steps (0.1 s) that a loud tone takes to rise to half of its amplitude, from which a null of the room hid it at first:
echoes alone take a sixth of that (T60 0.7 s, theory), and as long after its end, so its length is true."""
AT_ONCE = 0.1
"""Power just before such an onset over that just after it, noise and all, at most: else nothing was switched on."""
EVEN = 0.9
"""Of its steps' products, one with the next, that add up (judgement; 1 for a clear tone): talk turns otherwise."""
LASTING = 50
"""Steps (0.2 s), after the 0.1 s of a tail, for which what goes on must last: a tail then lies 26 dB down (T60 0.7 s),
and the clumps of one are shorter (judgement)."""
CLEARLY = 6.0
"""Its power over that of noise at least: 12 ms of noise reach 4 once in 10 000 times (theory)."""


def switched(part: Envelope, burst: Burst, about: tuple[float, float], channel: int) -> tuple[float, float]:
    """Steps at which a burst begins and ends: its own; of a loud one those where it was heard first and last.

    about: steps at which its track began and ended. channel: the one in which it is loudest.
    """
    if part.part(round(burst.begin), round(burst.end)).energy <= LOUD:
        return burst.begin, burst.end
    return _on(part, burst, about[0], channel), _off(part, burst, about[1], channel)


def _on(part: Envelope, burst: Burst, begin: float, channel: int) -> float:
    """Its onset. Before it there is no tail of a room: what rises there at once, and goes on, is the tone."""
    inner = part.part(round(burst.begin), round(burst.end))
    a = round(further(part, FADED * power_of(inner), burst.begin, min(begin, burst.begin) - 2 * CELL, FRAMES_SAY))
    before, after = part.part(a - 2 * CELL, a - CELL // 2), part.part(a + CELL, a + 3 * CELL)
    if burst.begin - a < SLOW or before.z.shape[1] < CELL:
        return burst.begin
    if before.energy + STEP_NOISE * len(part.z) > AT_ONCE * after.energy:
        return burst.begin
    faded = part.part(a, round(burst.begin))
    if not _same_tone(faded.z[channel], inner.z[channel]):
        return burst.begin
    return edge(magnitudes(part.part(a - CELL, a + 2 * CELL)), a + CELL / 2, (CELL, 1.0), a + 2.0 * CELL)


def _same_tone(z: Complexes, own: Complexes) -> bool:
    """Does `z` turn from step to step as evenly as a clear tone does, and as fast as its own do?"""
    turn, its = (np.add.reduce(one[1:] * np.conj(one[:-1])) for one in (z, own))
    even = abs(turn) > EVEN * float(np.add.reduce(np.abs(z[1:] * z[:-1])))
    return bool(even and abs(np.angle(turn * np.conj(its))) < SAME_TURN)


def _off(part: Envelope, burst: Burst, end: float, channel: int) -> float:
    """Its end: the last place over half of what goes on after it, faded. A null takes a tone slowly, a tail falls."""
    size = np.abs(part.z[channel])
    smooth: Doubles = np.convolve(size, THIRDS, mode="same")
    first, last, stop = (round(step) - part.first for step in (burst.begin, burst.end - 1, end + 1))
    rest = smooth[last + TAIL_STEPS : stop]
    if burst.tail > 0 or len(rest) < LASTING:
        return burst.end
    local, level = quantile(rest, 0.75), quantile(size[max(first, 0) : last + 1], 0.75)
    tail = smooth[last] ** 2 * 10 ** (-SLOWEST * (TAIL_STEPS + len(rest) / 2) * STEP_SECONDS / 10)
    noise = STEP_NOISE / max(float(part.weight[channel, last]), 1e-30)
    if local**2 < max(OVER_TAIL * tail, FADED * level**2, CLEARLY * noise):
        return burst.end
    return part.first + last + 1.0 + int(np.flatnonzero(smooth[last : stop + EDGE_REACH] > 0.5 * local)[-1])
