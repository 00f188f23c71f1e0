"""The coherent fit of one tone burst: its drift, and the moments at which it begins and ends; how in `edges.py`.

Everything is in units of noise. Short bursts are fitted in one piece, long ones in several, loud ones by magnitude.
"""

from dataclasses import replace

import numpy as np

from .baseband import STEP_SECONDS
from .burst import Burst
from .drift import DRIFT_SHARE, PIECE, SHORT, WIDE_SHARE, Drift, Envelope, coherent, follow
from .edges import LOUD, Sums, edge, median_place, running_sums, short_edges
from .extent import along, extent
from .faint import ending, onset
from .known import MOST
from .loud import fit_loud, loud_channels
from .outside import OUTSIDE, reached, trimmed

BEFORE, BEYOND = 0.45, 0.25
"""Seconds before the coarse start and after the coarse end in which the edges are looked for."""
UNSURE = 1.6
"""A faint burst of up to so many SHORT may be a short one whose track began or ended in noise: both fits are tried."""
FAINT_RATE = 250.0
"""Energy in a second (tone over noise density) under which it may."""
HOPELESS = 14.0
"""Energy between the coarse edges under which better edges will not make it enough (measured: they add 10 at most)."""
WORTH = 9.0
"""Nats of a faint long burst, piece by piece, from which its line is drawn: noise has more about once in an hour, 10 s
of -30 dB six times in ten (measured; on its line that most often has over 30 nats, noise had 16 at most)."""
EDGES_IN_PIECES, EDGES_ON_LINE = 16.0, 6.0
"""Nats, piece by piece or on its line, from which its edges are sought: that costs ten times the rest of a fit. Of 400
faint long beeps none that is told had less on both; of tracks in an hour of noise all had (measured)."""
LONG_PIECE = 2.4
"""Seconds of a faint burst's pieces on its line (judgement: a room's drifting phase turns over in 10 s)."""
LINES = 8.0
"""Energy taken off for the choice of that line: ln of some 2000 different ones through 10 s (theory)."""
REACH = 1.3
"""Times a known length that its other edge is looked for in."""
EDGE_ENERGY = 40.0
"""Energy beside a long burst's edge that is enough to place it."""


def fit_burst(whole: Envelope, begin: float, end: float, length: float | None = None) -> Burst:
    """Fit the burst that lies about from step `begin` to `end` of `whole`; length: s, where it is known."""
    burst = _fit(whole, begin, end)
    if length is None or burst.seconds > SHORT or not HOPELESS < burst.energy < FAINT_RATE * burst.seconds:
        return burst
    return _timed(whole, burst, length)


def gathered(whole: Envelope, begin: float, end: float) -> float:
    """Nats against noise of a long faint burst from step `begin` to `end`, piece by piece."""
    return _in_pieces(whole, begin, end, follow(whole.part(int(begin), int(end) + 1))).evidence


def _timed(whole: Envelope, burst: Burst, length: float) -> Burst:
    """The same faint burst with the edges that are likeliest beside a known length: noise alone may move them far.

    Its evidence stays; edges that cost more of it than the known length can weigh are not taken.
    """
    steps = REACH * length / STEP_SECONDS
    low = max(min(burst.begin - BEFORE / STEP_SECONDS, burst.end - steps), whole.first)
    high = min(max(burst.end + BEYOND / STEP_SECONDS, burst.begin + steps), whole.first + whole.z.shape[1])
    sums = Sums(burst.drift.unwind(whole), whole.weight, whole.first)
    begin, end = short_edges(sums, low, high, length)
    values = sums.likelihood(np.array([burst.begin, begin]), np.array([burst.end, end]))
    return replace(burst, begin=begin, end=end) if values[0, 0] - values[1, 1] <= MOST else burst


def _fit(whole: Envelope, begin: float, end: float) -> Burst:
    """Fit it by its sound alone."""
    inner = whole.part(int(begin), int(end) + 1)
    energy = inner.energy
    rate = max(energy, 1e-3) / STEP_SECONDS
    low, high = _bounds(whole, begin, end, rate)
    if energy > LOUD:
        loud = loud_channels(inner, LOUD)
        if loud:
            return fit_loud(whole.part(int(low), int(high)), loud, begin, end)
    seconds = (end - begin) * STEP_SECONDS
    if seconds > SHORT and rate < FAINT_RATE:
        return _fit_faint(whole, begin, end, rate)
    if seconds > SHORT:
        return _fit_long(whole, begin, end, (low, high), None)
    return reached(whole, _fit_quiet(whole, (begin, end), (low, high)), begin, end)


def _bounds(whole: Envelope, begin: float, end: float, rate: float) -> tuple[float, float]:
    """First and last step at which the edges of a burst with energy `rate` in a second are looked for."""
    low = max(begin - min(2.0, max(BEFORE, 12.0 / rate)) / STEP_SECONDS, whole.first)
    return low, min(end + BEYOND / STEP_SECONDS, whole.first + whole.z.shape[1])


def _fit_quiet(whole: Envelope, about: tuple[float, float], bounds: tuple[float, float]) -> Burst:
    """Fit a short burst that is not loud, with more drift where the first fit leaves tone over."""
    begin, end = about
    burst = _fit_short(whole, about, bounds, DRIFT_SHARE)
    if burst.end - burst.begin < 0.85 * (end - begin) and end - begin > 75:
        wider = _fit_short(whole, about, bounds, WIDE_SHARE)
        return max(burst, wider, key=lambda one: one.energy)
    return burst


def _fit_short(whole: Envelope, about: tuple[float, float], bounds: tuple[float, float], share: float) -> Burst:
    """Fit in one coherent piece; once more with the edges found, if they moved."""
    inner = whole.part(int(about[0]), int(about[1]) + 1)
    energy = inner.energy
    drift = follow(inner, share, energy)
    evidence = coherent(inner, drift)
    if evidence < HOPELESS:
        return Burst(about[0], about[1], drift, evidence, len(whole.z))
    a, b = short_edges(running_sums(whole, drift, energy), *bounds)
    seconds = about[1] - about[0]
    if abs(b - a - seconds) > 0.08 * seconds and b - a > 8:
        inner = whole.part(int(a), int(b) + 1)
        energy = inner.energy
        drift = follow(inner, share, energy)
        near = (max(a - 75, bounds[0]), min(b + 75, bounds[1]))
        a, b = short_edges(running_sums(whole, drift, energy), *near)
    return Burst(a, b, drift, coherent(whole.part(round(a), max(round(b), round(a) + 1)), drift), len(whole.z))


def _fit_faint(whole: Envelope, begin: float, end: float, rate: float) -> Burst:
    """Fit a long faint burst, where it begins and ends found anew; it may then be a short one."""
    long = _in_pieces(whole, begin, end, follow(whole.part(int(begin), int(end) + 1)))
    if long.evidence > WORTH:
        begin, end, line = extent(whole, begin, end)
        long = _in_pieces(whole, begin, end, follow(whole.part(int(begin), int(end) + 1)))
        if long.evidence > EDGES_IN_PIECES or _on_line(whole, begin, end, line).evidence > EDGES_ON_LINE:
            long = _fit_long(whole, begin, end, _bounds(whole, begin, end, rate), line)
    if (end - begin) * STEP_SECONDS > UNSURE * SHORT:
        return long
    short = _fit_quiet(whole, (begin, end), _bounds(whole, begin, end, rate))
    return short if short.seconds < SHORT * 0.8 and short.evidence > long.evidence else long


def _fit_long(whole: Envelope, begin: float, end: float, bounds: tuple[float, float], line: Drift | None) -> Burst:
    """Fit in pieces, each edge on its own; line: of a faint one, that of its strongest seconds."""
    a = b = None
    if line is None:
        low, high = trimmed(whole, begin, end)
    else:
        low, high = begin, end
        a = onset(whole, begin, end)
        b = ending(whole, end, a)
    a = _long_edge(whole, low, bounds[0], high, rising=True, unless=a)
    b = _long_edge(whole, high, bounds[1], low, rising=False, unless=b)
    burst = _in_pieces(whole, a, b, follow(whole.part(int(a), int(b) + 1)))
    if line is not None:
        burst = max(burst, _on_line(whole, a, b, line), key=lambda one: one.evidence)
    return reached(whole, burst, begin, end)


def _on_line(whole: Envelope, a: float, b: float, line: Drift) -> Burst:
    """The burst from step `a` to `b`, gathered on one line in few pieces: a second of it may hold too little to see."""
    burst = _in_pieces(whole, a, b, along(whole.part(int(a), int(b) + 1), line), LONG_PIECE)
    return replace(burst, energy=max(burst.energy - LINES, 0.0))


def _in_pieces(whole: Envelope, a: float, b: float, drift: Drift, piece: float = PIECE) -> Burst:
    """The burst from step `a` to `b`, its energy gathered piece by piece."""
    cuts = np.linspace(a, b, max(2, round((b - a) * STEP_SECONDS / piece)) + 1).astype(int)
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
    strength = beside.energy
    sums = running_sums(whole, follow(beside, energy=strength), strength)
    inside = guess + sign * abs(fixed - guess) / 2
    places = np.arange(min(bound, inside), max(bound, inside), 2.0)
    against = np.array([fixed])
    values = sums.likelihood(places, against)[:, 0] if rising else sums.likelihood(against, places)[0]
    near = edge(sums, median_place(places, values), (4.0, 1.0), fixed)
    if unless is not None:
        kept = np.array([unless])
        than = float((sums.likelihood(kept, against) if rising else sums.likelihood(against, kept))[0, 0])
        if sign * (unless - near) <= 0 or float(values.max()) - than < OUTSIDE:
            return unless
    return edge(sums, near, (2.0, 0.25), fixed)
