"""Which bursts are told as beeps: those with evidence enough, and of a buzzer's character."""

from dataclasses import dataclass

from beepwatch.events import Character

from .fit import Burst

EVIDENCE = 28.0
"""Nats against noise. 16.6 would be one false beep an hour over 1.7e7 cells of tone, length and time (theory);
the search over edges and drift and the noise estimate's own error take the rest."""
TAUGHT_GAIN = 4.0
"""Nats less within 3 % of a known tone: ln of the share of the band that is left to search (theory)."""
SHORTEST = 0.045
"""Seconds: the standards' shortest pulse is 75 ms (IEC 60601-1-8, quoted)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The least a beep must look like a buzzer."""

    purity: float
    flatness: float
    wander: float
    neighbours: float
    beside: float


STRICT = Limits(purity=0.65, flatness=10.0, wander=3.0, neighbours=3.0, beside=0.8)
"""Measured on one set of real recordings and rooms: nearly all buzzers in rooms pass, 9 of 10 voices do not."""
SOFT = Limits(purity=0.35, flatness=20.0, wander=6.0, neighbours=3.0, beside=1.6)
"""For a tone that was heard before in the last half minute: a room's null spoils the same tone each time."""


def enough(burst: Burst, taught: bool) -> bool:
    """Is there evidence enough that something sounds at all?"""
    return burst.seconds >= SHORTEST and burst.evidence >= EVIDENCE - (TAUGHT_GAIN if taught else 0.0)


def within(character: Character, limits: Limits) -> bool:
    """Does the burst look like a buzzer?"""
    return (
        character.purity >= limits.purity
        and character.flatness <= limits.flatness
        and character.wander <= limits.wander
        and character.neighbours >= limits.neighbours
        and max(character.before, character.after) <= limits.beside
    )
