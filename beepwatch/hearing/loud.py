"""The fit of a loud burst, whose magnitude alone shows where it is."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .baseband import STEP_NOISE, STEP_SECONDS, turning
from .burst import Burst
from .drift import PIECE, SHORT, Drift, Envelope, coherent, follow, still
from .ranks import quantile
from .spectrum import Complexes, Doubles

EDGE_REACH = 25
"""Steps (0.1 s) beyond the coarse edges in which a loud burst's edges may lie."""
SETTLED = 36
"""Steps (0.14 s) inside an edge, from a third of it on, that show the tone's own phase."""
THIRDS = np.ones(3) / 3
"""12 ms."""
STEADY = 20
"""Steps (80 ms) before a break that show the tone's phasor and frequency."""
SMEARED = 2
"""Steps on each side of a break that the low-pass spreads it over (MARGIN, `baseband.py`)."""
KEPT = 0.3
"""Of the phasor: rms that those steps lie off it at most where the tone itself is clear of noise."""
BREAK = 0.6
"""Of the phasor: what a tone that goes on does not jump by in so short a time; where it is not clear, three times its
usual distance (e^-9 by noise, theory)."""
AT_ONCE = 3
"""Steps after a break that all lie so far off."""
GONE = 0.8
"""Share of the steps from there to the end found by phase that are off clearly (by 0.1 more than three times the usual
distance, at most BREAK; by half as much again as it where that is wide): what comes back had not ended."""
LATE, SOONEST = 40, 6
"""Steps (0.16 s, 24 ms) before that end in which the tone may have broken off; a later break changes little. STEADY to
SOONEST are judgement; measured on 2160 breaths in 60 rooms at 0 and +10 dB, they take the 95th percentile of the error
of length from 80 to 35-51 ms, in nulls from 124 to 12 ms (tests/bench/detection.py, "rooms")."""
FADED = 80
"""Steps (0.32 s) that the end in one channel may lie before that in another: earlier ones have faded (judgement: a tail
falls by 27 dB meanwhile, T60 0.7 s)."""
TURNED, TURNED_PIECE = 0.1, 0.2
"""Share of its energy that adds up in phase, under which the phase turns over, and seconds of the pieces that are then
taken one by one (judgement)."""
GAP = 12
"""Steps (48 ms) under half that do not end a loud burst: pulses were parted before."""


def loud_channels(part: Envelope, least: float) -> list[int]:
    """Channels in which one step holds more than `least` beyond noise, in noise units, the loudest first."""
    energy = np.add.reduce(np.square(np.abs(part.z)) * part.weight, axis=1) / max(part.z.shape[1], 1) - STEP_NOISE
    return [int(channel) for channel in np.argsort(-energy) if energy[channel] > least]


def fit_loud(near: Envelope, channels: Sequence[int], begin: float, end: float) -> Burst:
    """Fit a loud burst: where its magnitude, over 12 ms, passes half of its upper quartile; then on its own phase.

    What a room adds after the end is what it still lacked after the onset (superposition): on the phase of the steady
    tone both pass half equally late and the length is true; magnitudes hold the part out of phase too and are longer.
    A tone that has changed meanwhile, as one that warms up does, leaves another rest: where it is seen to break off,
    that is its end, and its first rise is its onset.

    channels: those in which it is loud, the loudest first. A null at one of these places makes an edge late, so the
    earlier one is the truer, unless the tone has faded there altogether.
    """
    places = begin - near.first, end - near.first
    spans = [(channel, _span(np.abs(near.z[channel]), *places)) for channel in channels]
    heard = [(channel, span) for channel, span in spans if span is not None]
    if not heard:
        return Burst(begin, end, still(near), 0.0, len(near.z))
    first, last = heard[0][1]
    body = near.part(near.first + first, near.first + last + 1)
    drift = follow(body)
    turned = drift.unwind(near)
    onsets, ends, tails = zip(*(_edges(turned[channel], *span) for channel, span in heard), strict=True)
    stop = min(end for end in ends if end >= max(tails) - FADED)
    energy, pieces = _energy(body, drift)
    return Burst(near.first + min(onsets), near.first + stop + 1, drift, energy, pieces, max(tails) - stop)


def _energy(body: Envelope, drift: Drift) -> tuple[float, int]:
    """(energy, pieces) of a burst whose pieces each add up in phase.

    A drift drawn over a long tone is never that exact; and what passes a null adds up to nothing, as its phase turns.
    """
    n = body.z.shape[1]
    count = 1 if n * STEP_SECONDS <= SHORT else round(n * STEP_SECONDS / PIECE)
    energy = coherent(body, drift, _cuts(body, count))
    turned = count == 1 and energy < TURNED * body.energy * n
    if turned:
        count = max(1, round(n * STEP_SECONDS / TURNED_PIECE))
        energy = coherent(body, drift, _cuts(body, count))
    return energy, count * len(body.z)


def _cuts(body: Envelope, count: int) -> NDArray[np.int64]:
    """First steps of `count` pieces."""
    return body.first + np.linspace(0, body.z.shape[1], count + 1).astype(np.int64)[:-1]


def _span(size: Doubles, begin: float, end: float) -> tuple[int, int] | None:
    """First and last place about begin..end at which a magnitude, over 12 ms, is over half of its upper quartile."""
    a, b = int(begin), max(int(end), int(begin) + 2)
    over = np.flatnonzero(np.convolve(size, THIRDS, mode="same") > 0.5 * quantile(size[max(a, 0) : b + 1], 0.75))
    over = over[(over >= a - EDGE_REACH) & (over <= b + EDGE_REACH)]
    return _joined(over, a, b) if len(over) >= 2 else None


def _edges(turned: Complexes, first: int, last: int) -> tuple[float, float, float]:
    """(onset, end, where the room has rung out) of the tone that is loud from `first` to `last`."""
    inwards = min(last - first, SETTLED)
    onset, rung_out = _half_way(turned, first, inwards), _half_way(turned, last, -inwards)
    end = _broken(turned, round(onset), rung_out)
    return (onset if end == rung_out else min(onset, float(first))), end, rung_out


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


def _broken(turned: Complexes, onset: int, stop: float) -> float:
    """Where the tone, steady until then, breaks off in the last LATE steps before `stop`; or `stop`.

    A tone in a room changes slowly, but its end takes the direct sound off at once. In a null that is more than the
    tone was: what had cancelled it is louder, and passes half long after the end.
    """
    last = int(stop)
    places = np.arange(max(last - LATE, onset + STEADY + 3 * SMEARED), min(last - SOONEST, len(turned) - 4))
    if len(places) == 0:
        return stop
    off = _off(turned, places, last)
    steps = np.arange(places[0] - SMEARED - STEADY, last + 1) - places[:, None]
    before, after = (steps >= -SMEARED - STEADY) & (steps < -SMEARED), steps > 0
    usual = np.sqrt(np.add.reduce(np.square(off), axis=1, where=before) / STEADY)
    least = np.minimum.reduce(off, axis=1, where=after & (steps <= AT_ONCE), initial=np.inf)
    clear = np.where(usual < KEPT, np.minimum(BREAK, 0.1 + 3 * usual), 1.5 * usual)
    gone = np.count_nonzero((off > clear[:, None]) & after, axis=1) / np.count_nonzero(after, axis=1)
    found = np.flatnonzero((least > np.where(usual < KEPT, BREAK, 3 * usual)) & (gone >= GONE))
    return float(places[found[0]] + 1) if len(found) else stop


def _off(turned: Complexes, places: NDArray[np.int64], last: int) -> Doubles:
    """How far off the tone before each of `places` lie the steps up to `last`, over that tone's amplitude.

    Its phasor and frequency are those of the STEADY steps that end SMEARED before the place, the first of all of which
    is the first of the steps; shape (places, steps).
    """
    half = STEADY // 2
    sums = np.concatenate([[0.0], np.cumsum(turned[: last + 1])])
    stop = places - SMEARED
    new, old = (sums[stop] - sums[stop - half]) / half, (sums[stop - half] - sums[stop - STEADY]) / half
    turn = np.angle(new * np.conj(old)) / half
    steps = np.arange(places[0] - SMEARED - STEADY, last + 1)
    model = new[:, None] * turning(turn[:, None] * (steps - (stop - (half + 1) / 2)[:, None]))
    off: Doubles = np.abs(turned[steps] - model) / np.maximum(np.abs(new), 1e-30)[:, None]
    return off


def _joined(over: NDArray[np.int64], a: int, b: int) -> tuple[int, int]:
    """First and last place of the runs of `over` that touch a..b, gaps up to GAP steps bridged."""
    cuts = np.flatnonzero(over[1:] - over[:-1] > GAP)
    starts, ends = over[np.concatenate([[0], cuts + 1])], over[np.concatenate([cuts, [len(over) - 1]])]
    touching = np.flatnonzero((ends >= a) & (starts <= b))
    if len(touching) == 0:
        return int(starts[0]), int(ends[-1])
    return int(starts[touching[0]]), int(ends[touching[-1]])
