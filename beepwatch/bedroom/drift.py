"""Slow drift of a sounder's tone over months: followed within stated bounds, and told. Pure.

Sounders drift by 1-3 % over their life (from memory). Hearing takes a tone for known within 3 % of what it was told.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

NEAR = 0.01
"""An alarm this near to the tone as it is now is the same sounder's; another is not looked at."""
SHARE = 0.5
"""Of the way to a night's tone that is gone (judgement: one odd night counts half)."""
STEP = 0.003
"""The most that one night moves it: drift is slow, and a larger jump is another sounder (judgement)."""
MOST = 0.02
"""The most that it is followed from the tone as it was taught: 1 % is left of the 3 % that hearing allows."""
TOLD = 0.001
"""A move smaller than this, since it was last told, is not told: teaching is to 0.1 %."""


@dataclass(frozen=True, slots=True)
class Drift:
    """The tone as it is now."""

    tone: float
    """Hz."""
    nights: int
    """Nights that it was heard on since."""
    at_bound: bool
    """It would go on, but is followed no further: teach it again."""


def follow(taught: float, now: float, nights: Sequence[Sequence[float]]) -> Drift:
    """Follow the tone over nights, oldest first.

    taught: Hz when it was taught. now: Hz up to now. nights: Hz of each of a night's alarms by the device.
    """
    tone, heard, at_bound = now, 0, False
    low, high = taught * (1 - MOST), taught * (1 + MOST)
    for alarms in nights:
        near = [frequency for frequency in alarms if abs(frequency / tone - 1) <= NEAR]
        if not near:
            continue
        heard += 1
        step = SHARE * (median(near) - tone)
        wanted = tone + max(-STEP * tone, min(STEP * tone, step))
        tone = max(low, min(high, wanted))
        at_bound = tone != wanted
    return Drift(tone, heard, at_bound)


def told(name: str, taught: float, before: float, drift: Drift) -> str | None:
    """One line for a person about what was followed; None where it is too little to tell."""
    if drift.at_bound:
        return (
            f"The tone of {name} has moved by more than {100 * MOST:.0f} % since it was taught. "
            f"I follow it no further: please teach it again"
        )
    if abs(drift.tone / before - 1) < TOLD:
        return None
    percent = 100 * (drift.tone / taught - 1)
    return f"The tone of {name} has slowly moved to {drift.tone:.0f} Hz ({percent:+.1f} % since taught); I follow it"
