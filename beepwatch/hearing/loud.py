"""The fit of a loud burst, whose magnitude alone shows where it is."""

import numpy as np
from numpy.typing import NDArray

from .burst import Burst
from .drift import Envelope, coherent, follow, still
from .ranks import quantile
from .spectrum import Complexes

EDGE_REACH = 25
"""Steps (0.1 s) beyond the coarse edges in which a loud burst's edges may lie."""
SETTLED = 36
"""Steps (0.14 s) inside an edge, from a third of it on, that show the tone's own phase."""
THIRDS = np.ones(3) / 3
"""12 ms."""
GAP = 12
"""Steps (48 ms) under half that do not end a loud burst: pulses were parted before."""


def fit_loud(near: Envelope, begin: float, end: float) -> Burst:
    """Fit a loud burst: where its magnitude, over 12 ms, passes half of its upper quartile; then on its own phase.

    What a room adds after the end is what it still lacked after the onset (superposition): on the phase of the steady
    tone both pass half equally late and the length is true; magnitudes hold the part out of phase too and are longer.
    """
    size = np.abs(near.z[0])
    smooth = np.convolve(size, THIRDS, mode="same")
    a, b = int(begin) - near.first, max(int(end) - near.first, int(begin) - near.first + 2)
    half = 0.5 * quantile(size[max(a, 0) : b + 1], 0.75)
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
    tone = turned[max(low, 0) : high + 1]
    inner = np.add.reduce(tone) / len(tone)
    part = (turned * np.conj(inner)).real / max(abs(inner) ** 2, 1e-30)
    smooth = np.convolve(part, THIRDS, mode="same")
    step = 1 if inwards > 0 else -1
    k = edge + min(abs(inwards) // 3, 8) * step
    while 0 < k < len(smooth) - 1 and abs(k - edge) <= EDGE_REACH and smooth[k] > 0.5:
        k -= step
    gain = smooth[min(max(k + step, 0), len(smooth) - 1)] - smooth[k]
    return k + step * min(max(float((0.5 - smooth[k]) / gain), 0.0), 1.0) if gain > 0 else float(k)


def _joined(over: NDArray[np.int64], a: int, b: int) -> tuple[int, int]:
    """First and last place of the runs of `over` that touch a..b, gaps up to GAP steps bridged."""
    cuts = np.flatnonzero(over[1:] - over[:-1] > GAP)
    starts, ends = over[np.concatenate([[0], cuts + 1])], over[np.concatenate([cuts, [len(over) - 1]])]
    touching = np.flatnonzero((ends >= a) & (starts <= b))
    if len(touching) == 0:
        return int(starts[0]), int(ends[-1])
    return int(starts[touching[0]]), int(ends[touching[-1]])
