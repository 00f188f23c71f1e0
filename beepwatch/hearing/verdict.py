"""Which bursts are told as beeps: those with evidence enough, and of a buzzer's character."""

from dataclasses import dataclass, replace

from beepwatch.events import Character

from .burst import Burst

EVIDENCE = 29.0
"""Nats against noise. 16.6 would be one false beep an hour over 1.7e7 cells of tone, length and time (theory);
the search over edges and drift and the noise estimate's own error take the rest (measured: 28 gave 0.25 an hour)."""
TAUGHT_GAIN = 5.0
"""Nats less within 3 % of a known tone, so that it adds no more false beeps an hour than there are elsewhere. By theory
3.4 to 4, ln of the share of the band that is left; in 20 h of white noise, where the chance fell by e each 1.6 nats, 24
gave 2 near the tone and 29 gave 4 elsewhere (measured: `python -m tests.bench.teaching --only noise`)."""
SHORTEST = 0.045
"""Seconds: the standards' shortest pulse is 75 ms (IEC 60601-1-8, quoted)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The least a beep must look like a buzzer; the fields are those of `Character`."""

    purity: float
    flatness: float
    wander: float
    neighbours: float
    company: float
    beside: float


STRICT = Limits(purity=0.75, flatness=12.0, wander=1.0, neighbours=8.0, company=0.0, beside=0.8)
"""Measured on recordings of music, insects and games, against beeps in 36 simulated rooms and under talk and music: of
beeps 95 % have purity over 0.91, flatness under 7.1 dB, wander under 0.2 Hz, neighbours over 19 dB, company over 4;
the median tone of music has 0.91, 3 dB, 0.4 Hz, 30 dB, -5."""
BENT = Limits(purity=0.55, flatness=25.0, wander=2.5, neighbours=20.0, company=20.0, beside=0.5)
"""For a tone of breath length with nothing beside it, while nothing else is heard: a drifting tone that passes through
a room's null is bent so, its first beep too (measured: 36 rooms, `python -m tests.bench.detection --only rooms`)."""
NULLED = replace(BENT, purity=0.9, flatness=40.0, neighbours=15.0)
"""The same where so much of its power lies on a smooth curve (`Inside.smooth`), which counts for its purity then: the
null itself takes far more of its level, so that its build-up splashes. Measured in 60 rooms, the tone in their deepest
null, 0 and -8 dB: of 567 beeps that look bent 93 % are so; of an hour of recordings six tones."""
BENT_LONG = 0.7
"""Seconds; shorter ones are a voice's or a bird's as often."""
SOFT = Limits(purity=0.45, flatness=18.0, wander=2.0, neighbours=5.0, company=-30.0, beside=1.2)
"""For a tone that was heard before in the last half minute: a room's null spoils the same tone each time, and a smoke
alarm may be 30 dB over a beep."""


BOTH_SIDES = 0.8
"""Most power just before and just after over the burst's: beyond it on both sides the tone goes on, as a hum does that
wobbles through a bin (it has 0.88 to 0.95; a 0.1 s pulse has 0.66 of the one before it at most, theory)."""


def enough(burst: Burst, taught: bool) -> bool:
    """Is there evidence enough that something sounds at all?"""
    return burst.seconds >= SHORTEST and burst.evidence >= EVIDENCE - (TAUGHT_GAIN if taught else 0.0)


def alone(character: Character, limits: Limits) -> bool:
    """Is nothing heard beside it, as far as the limits ask?"""
    return character.neighbours >= limits.neighbours and character.company >= limits.company


def within(character: Character, limits: Limits) -> bool:
    """Does the burst look like a buzzer?"""
    return (
        character.purity >= limits.purity
        and character.flatness <= limits.flatness
        and character.wander <= limits.wander
        and alone(character, limits)
        and max(character.before, character.after) <= limits.beside
        and min(character.before, character.after) <= BOTH_SIDES
    )
