"""One sounder, one beep: harmonics that begin and end together are told as their fundamental."""

from dataclasses import dataclass, replace

from .finish import Found

PARTIALS = 12
TOLERANCE = 0.004
"""Relative; edges of two lines place a weak partial's tone to a few Hz (Rife & Boorstyn), 1.6 kHz x 0.4 % = 6 Hz."""
ONSET = 0.06
"""Seconds by which partials of one sounder may differ at either edge, beside a tenth of their length."""


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


def order(hertz: float, fundamental: float) -> int:
    """The n >= 2 for which hertz = n * fundamental within TOLERANCE, or 0."""
    n = round(hertz / fundamental)
    return n if 2 <= n <= PARTIALS and abs(hertz / (n * fundamental) - 1) < TOLERANCE else 0


def together(one: Found, other: Found) -> bool:
    """Do both begin and end at the same moments?"""
    slack = ONSET + 0.1 * min(one.duration, other.duration)
    return abs(one.onset - other.onset) < slack and abs(one.end - other.end) < slack


def fundamental(one: Waiting, others: list[Waiting]) -> Found | None:
    """What to tell of `one` beside `others`: itself, itself at the fundamental's frequency, or nothing (None)."""
    below = [o for o in others if together(one.found, o.found) and order(one.found.hertz, o.found.hertz)]
    if any(o.sounder for o in below):
        return None
    if below:
        lowest = min(below, key=lambda o: o.found.hertz).found
        n = order(one.found.hertz, lowest.hertz)
        return replace(one.found, hertz=one.found.hertz / n)
    return one.found
