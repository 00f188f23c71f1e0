"""What else sounds near a tone: a hum, or one other sounder.

A voice or an instrument has line after line; two sounders at once are two lines and nothing else. So the strongest
other line is left out, where it is a pure one, before a tone is asked whether it stands alone. Where a line lies so
near that it would beat with the tone in its baseband, the baseband is narrowed to half their distance.

Two sounders of 0 dB and more are told apart from 60 Hz on, one up to 12 dB weaker than the other, and a beep from a hum
20 dB stronger from 60 Hz on (measured: tests/hearing); nearer than 31 Hz two lines are one tone that beats.
"""

from functools import lru_cache
from math import ceil, inf

import numpy as np

from .baseband import STEP_SECONDS
from .ranks import median
from .rows import Rows
from .spectrum import BIN_HZ, BINS, Complexes, Doubles, Floats, Mask

NEAREST, FURTHEST, FAR = 3, 30, 45
"""Bins (23, 234 and 350 Hz): a nearer line is the tone's own, one beyond FURTHEST is 60 dB down in the baseband as it
is, and within FAR a voice has more than one."""
LINE = 4.0
"""Floor of a bin over its neighbours' from which it is a hum's."""
ASIDE = 4
"""Bins (31 Hz) to each side, or one less, at which these are: beyond the lobe, between two harmonics of the mains."""
OF_TWO = 10.0
"""Power (10 dB) by which one of two sounders stands over all but the other (judgement)."""
PRESENT = 0.6
"""Quantile over frames that is a line's power: it sounds for 0.4 of the time, as no tone that drifts past does."""
SHARE = 0.02
"""Power of a line over the tone's, -17 dB, from which it is kept out (it then turns the tone's phase by 8 degrees)."""
OVER_NOISE = 6.0
"""Power of a line over the noise round it: the quantile of noise passes it once in 10^4 frames (theory)."""
STOPPED = 60.0
"""dB by which it is kept out."""
LOBE, SKIRT = 2, 8
"""Bins to each side that hold a steady line, and in which a pure one has"""
PURE = 0.8
"""of its power at least (a Hann line has over 0.99, theory; a voice's glides over more bins than that)."""
LEFT_OUT = 6
"""Bins left out to each side: a line and its drift."""


def nearest_line(rows: Rows, first: int, stop: int, swept: tuple[int, int]) -> float:
    """Hz from the tone in pairs `swept` of bins to the nearest line that is kept out of its baseband; inf: none.

    Of frames first <= t < stop. Such a line is a hum, or the only other one within FAR bins: of a voice all are kept,
    so that they show.
    """
    low, high = max(swept[0] - FAR, 0), min(swept[1] + FAR + 2, BINS)
    floor = rows.noise(first, stop, low, high)[0]
    power = rows.ratio(first, stop)[:, low:high] * floor
    rank = min(int(PRESENT * len(power)), len(power) - 1)
    line = np.partition(power, rank, axis=0)[rank]
    place, last = swept[0] - low, swept[1] - low
    own = float(line[place : last + 2].max())
    least = max(SHARE * own, OVER_NOISE * float(median(line)))
    line[max(place - NEAREST, 0) : last + NEAREST + 2] = 0
    near = line[max(place - FURTHEST - 1, 0) : last + FURTHEST + 3]
    if float(np.maximum.reduce(near)) <= least:
        return inf
    tops = 1 + ((line[1:-1] > least) & (line[1:-1] >= line[:-2]) & (line[1:-1] > line[2:])).nonzero()[0]
    lasting = _hums(floor[0]) | rows.lasting(first)[low:high]
    others = np.where(lasting, np.float32(0), line)
    rest = but_one(others) if others.any() else None
    single = int(np.argmax(others)) if rest is not None and rest.max() < own / OF_TWO else -1
    found = tops[lasting[tops] | (tops == single)]
    away = np.maximum(place + 0.5 - found, found - (last + 0.5))
    away = away[away < FURTHEST]
    return float(away.min()) * BIN_HZ if len(away) else inf


def _hums(floor: Floats) -> Mask:
    """Bins of a floor (bins,) that stand LINE over what lies to both sides: the edge of a wide noise is no line."""
    found: Mask = floor > LINE * median(floor)
    if not found.any():
        return found
    around = np.pad(floor, ASIDE, mode="edge")
    left = np.minimum(around[: len(floor)], around[1 : len(floor) + 1])
    right = np.minimum(around[2 * ASIDE :], around[2 * ASIDE - 1 : -1])
    found &= floor > LINE * np.maximum(left, right)
    return found


def but_one(power: Floats) -> Floats | None:
    """`power` (bins,) without its strongest line, where that is a pure one; None where it is not."""
    top = int(power.argmax())
    within = float(np.add.reduce(power[max(top - LOBE, 0) : top + LOBE + 1]))
    if within < PURE * float(np.add.reduce(power[max(top - SKIRT, 0) : top + SKIRT + 1])):
        return None
    rest = power.copy()
    rest[max(top - LEFT_OUT, 0) : top + LEFT_OUT + 1] = 0
    return rest


@lru_cache(maxsize=64)
def _taps(hertz: int) -> Doubles:
    """A low-pass of odd length that stops STOPPED dB from 0.75 `hertz` on (Kaiser's formulas, from memory)."""
    width = 2 * np.pi * 0.5 * hertz * STEP_SECONDS
    half = ceil((STOPPED - 8) / (2.285 * width) / 2)
    place = np.arange(-half, half + 1)
    taps = np.sinc(place * hertz * STEP_SECONDS) * np.kaiser(2 * half + 1, 0.1102 * (STOPPED - 8.7))
    summed: Doubles = taps / taps.sum()
    return summed


def reach(hertz: float) -> int:
    """Steps to each side that `narrowed` needs beyond its own."""
    return 0 if hertz == inf else len(_taps(int(hertz))) // 2


def narrowed(z: Complexes, hertz: float) -> Complexes:
    """Baseband (channels, n + 2 reach) without what lies `hertz` away: (channels, n)."""
    if hertz == inf:
        return z
    taps = _taps(int(hertz))
    windows = np.lib.stride_tricks.sliding_window_view(z, len(taps), axis=1)
    kept: Complexes = np.einsum("cmn,n->cm", windows, taps)
    return kept
