"""One sounder, one beep: harmonics that begin and end together are told as their fundamental."""

from dataclasses import dataclass, replace

from .finish import Found
from .spectrum import BIN_HZ

PARTIALS = 12
TOLERANCE = 0.004
"""Relative; edges of two lines place a weak partial's tone to a few Hz (Rife & Boorstyn), 1.6 kHz x 0.4 % = 6 Hz."""
LEAST_TOLERANCE = 0.0005
"""The same for bursts of 8 s and more: the edges of a warm-up of 0.2 % count so little there (theory)."""
WAITED_FOR = 0.01
"""The same for tones still under way, and at least a bin of the fundamental's, which is known no better; something else
may have sounded as it began."""
EDGE = 0.1
"""Seconds by which partials of one sounder may differ at their better edge, beside a tenth of their length: in rooms
each builds up and fades in its own way."""
AT_ONCE = 0.04
"""Seconds by which both edges of two partials differ at most where neither is shortened (rooms move edges by 0.03 s,
measured; less than the shortest gap between pulses, 0.05 s: IEC 60601-1-8, quoted)."""
MOST_EDGE = 0.3
"""The most of both: what begins further from a long tone's onset is another's (judgement)."""
SHORTENED = 1.5
"""Times a fundamental's length that a partial may have and still be no more than it (judgement)."""
LEAST = 0.2
"""Share of a partial's length that its fundamental is heard for at least, however a null shortens it: a voice's note
may begin with a long tone, at a part of its frequency (judgement)."""
HIDDEN, HELD_BACK, WARM = 10000.0, 300.0, 2.0
"""Nats that a tone would have had while it was not heard, at its own level, from which no room hides it: 30 that are
heard, and a null 25 dB deeper than where it was heard; where it was silent for over WARM s, 10 dB: so long no tone
drifts through a null (judgement)."""
WEAK_DB = 10.0
"""A partial so far under its fundamental tells nothing of its own (a square wave's third has 9.5 dB, over pulses and
pauses alike 3 to 6 less)."""
FILLED = 0.25
"""Share of such a partial that the pulses fill: three of 0.5 s each 4 s are 0.375 (ISO 8201, quoted), some unheard."""
REMEMBERED = 20.0
"""Seconds for which pulses are remembered: of a longer partial that much is asked (`telling.RECENT`)."""
CLEARER = 2.0
"""Times a burst's evidence that a partial must have to give it its edges (judgement)."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A burst held back until tracks that may be its relatives have closed too, or until frame `due`."""

    found: Found
    sounder: bool
    """It passed the strict limits; a soft one only lends its frequency."""
    frame: int
    due: int
    relatives: tuple[int, ...]
    """Serial numbers of tracks that still sounded."""


def order(hertz: float, fundamental: float, tolerance: float = TOLERANCE) -> int:
    """The n >= 2 for which hertz = n * fundamental within `tolerance` (relative), or 0."""
    n = round(hertz / fundamental)
    return n if 2 <= n <= PARTIALS and abs(hertz / (n * fundamental) - 1) < tolerance else 0


def relative(hertz: float, fundamental: float) -> int:
    """`order` of two tones still under way."""
    return order(hertz, fundamental, max(WAITED_FOR, BIN_HZ / fundamental))


def _multiple(partial: Found, below: Found) -> int:
    """`order` of two bursts: the longer both are the closer their tones are known, and agree."""
    tolerance = max(TOLERANCE / max(1.0, min(partial.duration, below.duration)), LEAST_TOLERANCE)
    return order(partial.hertz, below.hertz, tolerance)


def _slack(one: Found, other: Found) -> float:
    return min(EDGE + 0.1 * min(one.duration, other.duration), MOST_EDGE)


def together(one: Found, other: Found) -> bool:
    """Do both begin, or end, at the same moment and sound together for most of the shorter one?"""
    edge = min(abs(one.onset - other.onset), abs(one.end - other.end)) < _slack(one, other)
    return edge and _overlap(one, other) > 0.6 * min(one.duration, other.duration)


def _could_be_one(partial: Found, below: Found) -> bool:
    """Do both sound all the time, but for what a room may hide of the shorter one?

    A clear tone that is silent while the other sounds is another's: music has notes at a part of any tone. A far louder
    fundamental may have filled its pauses in a faint partial.
    """
    short, long = sorted((partial, below), key=lambda one: one.duration)
    silent = long.duration - _overlap(partial, below)
    if silent <= 2 * _slack(partial, below) or below.level > partial.level + WEAK_DB:
        return True
    return short.evidence * silent / short.duration < (HIDDEN if silent < WARM else HELD_BACK)


def _outweighs(below: Found, partial: Found) -> bool:
    """Is the partial no more than the fundamental's? A faint one may run on over the fundamental's pauses."""
    return below.duration * SHORTENED > partial.duration or below.level > partial.level + WEAK_DB


def _shown(found: Found, others: list[Waiting]) -> bool:
    """Does one of its partials begin and end with it, to AT_ONCE? A null of the room shortens one of them, not two."""
    return any(
        max(abs(o.found.onset - found.onset), abs(o.found.end - found.end)) < AT_ONCE and _multiple(o.found, found) > 0
        for o in others
    )


def _runs_on(one: Waiting, others: list[Waiting]) -> bool:
    """Is it a partial that has taken several pulses of its fundamental for one beep?

    They are much louder, or another partial shows them, too. A louder note or two at a part of a long tone are no such
    pulses: these fill their share of it.
    """
    found = one.found
    within = [o.found for o in others if o.sounder and _overlap(found, o.found) > 0.6 * o.found.duration]
    pulses = [o for o in within if o.level > found.level + WEAK_DB or _shown(o, others)]
    rows = ([o for o in pulses if _multiple(found, o) == n] for n in range(2, PARTIALS + 1))
    filled = FILLED * min(found.duration, REMEMBERED)
    return any(len(row) >= 2 and sum(_overlap(found, o) for o in row) > filled for row in rows)


def _overlap(one: Found, other: Found) -> float:
    """Seconds for which both sound; below 0 where a gap lies between them."""
    return min(one.end, other.end) - max(one.onset, other.onset)


def fundamental(one: Waiting, others: list[Waiting]) -> Found | None:
    """What to tell of `one` beside `others`: itself, itself at the fundamental's frequency, or nothing (None).

    A fundamental that a room's null has shortened gives its name to the longer partial and is not told itself.
    """
    kin = [o for o in others if together(one.found, o.found)]
    below = [o for o in kin if _multiple(one.found, o.found) and o.found.duration > LEAST * one.found.duration]
    above = [o for o in kin if _multiple(o.found, one.found) and o.sounder]
    if any(o.sounder and _outweighs(o.found, one.found) for o in below) or _runs_on(one, others):
        return None
    if any(not _outweighs(one.found, o.found) for o in above) and not _shown(one.found, others):
        return None
    found = _timed(one.found, [o.found for o in (*above, *below)])
    own = [o for o in below if _could_be_one(one.found, o.found)]
    if own:
        lowest = min(own, key=lambda o: o.found.hertz).found
        return replace(found, hertz=found.hertz / _multiple(one.found, lowest))
    return found


def _timed(found: Found, partials: list[Found]) -> Found:
    """The burst with the end of a partial that stands out far more: in a null of the room its own is a tail's.

    It begins with whichever begins first: none sounds before the sounder. One that is SHORTENED times as long is no
    partial of it, but several pulses in one or another's note.
    """
    alike = [one for one in partials if one.duration < SHORTENED * found.duration]
    best = max(alike, key=lambda o: o.evidence, default=found)
    if best.evidence < CLEARER * found.evidence:
        return found
    onset = min(found.onset, best.onset)
    return replace(found, onset=onset, duration=best.end - onset)
