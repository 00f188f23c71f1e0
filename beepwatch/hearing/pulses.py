"""Where a burst falls into pulses: silences inside it that are too long to be bridged.

A frame of 128 ms cannot see the 0.1 s silences of the standards' patterns; the 4 ms baseband can, when the tone is
strong enough for 20 ms of it to stand clear of the noise.
"""

import numpy as np

from .baseband import STEP_SECONDS
from .drift import Envelope
from .spectrum import Doubles, Mask
from .track import JOIN

SMOOTH = 5
"""Steps (20 ms) of the running mean."""
CLEAR = 4.0
"""Energy of 20 ms of tone over noise below which no silence is looked for."""
MISSED = 60.0
"""Energy that the tone, at its mean level, would have had in a silence: its noise is then 12 at most (theory), and a
quarter of it is 3.7 standard errors away, so noise does not cut a beep."""
HALF = 0.25
"""Power at half amplitude: a pulse's edge."""
DEEP = 0.16
"""A silence goes down at least this far (-8 dB): the tail of a room with T60 0.5 s falls 12 dB in 0.1 s (theory)."""
SHORTEST_GAP = 8
"""Steps (32 ms); shorter dips are noise."""


def smoothed_power(part: Envelope, width: int = SMOOTH) -> Doubles:
    """Power over noise of `width` steps together, shape (n,), channels added; about 1 for noise alone."""
    power = (np.abs(part.z) ** 2 * part.weight).sum(axis=0)
    kernel = np.ones(width)
    total = np.convolve(power, kernel, mode="same")
    count: Doubles = np.convolve(np.ones(len(power)), kernel, mode="same") * len(part.z)
    return total / count


def _runs(mask: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def silences(part: Envelope) -> list[tuple[int, int]]:
    """Silences inside the burst that fills `part`, as (first step, step after), too long to be one beep.

    Empty where the tone is too weak to tell. A silence splits when it is longer than JOIN or a quarter of the sound
    before it.
    """
    if part.z.shape[1] < 4 * SHORTEST_GAP:
        return []
    raw = (np.abs(part.z) ** 2 * part.weight).sum(axis=0) / len(part.z) - 1.0
    if raw.mean() * SMOOTH < CLEAR:
        return []
    power = smoothed_power(part) - 1.0
    plateau = float(np.quantile(power, 0.8))
    gaps = [(a, b) for a, b in _runs(power < HALF * plateau) if b - a >= SHORTEST_GAP]
    gaps = [(a, b) for a, b in gaps if power[a:b].min() < DEEP * plateau and a > 0 and b < len(power)]
    level = float(raw.mean())
    gaps = [(a, b) for a, b in gaps if level * (b - a) > MISSED and raw[a:b].sum() < HALF * level * (b - a)]
    found, since = [], 0
    for a, b in gaps:
        if b - a > min(JOIN / STEP_SECONDS, (a - since) / 4):
            found.append((part.first + a, part.first + b))
            since = b
    return found
