"""Evidence: how much likelier each thing heard is from the alarm's sounder than from everything else.

All figures are natural logarithms of likelihood ratios (nats) and add up to a running ratio S. An alarm is
raised
when S reaches Wald's upper bound A = ln((1 - b) / a) (Wald 1945, sequential test: the chance that S ever
reaches A
when the alarm is *not* there is at most a). A stated false-wake budget sets a: one false wake in `nights`
nights with `tests` tests a night gives a = 1 / (tests x nights).

"Everything else" is speech, music, ringing and household beepers. It is not Poisson: music repeats itself, so
one more alike beep is worth a factor 3 only, not the 1e-4 that chance alone would give (measured by a
prototype
on 27 h of music: 37 % of alike pairs become triples, 40 % of triples fours). And one sound's notes share
their
faults, so a beep's character counts by its mean over the chain, not by its sum.
"""

import math
from collections.abc import Sequence

from beepwatch.events import Character

MISS = 0.05
"""b of Wald's bounds: the share of alarms that may stay below the bound for good (judgement; it moves A by
0.05)."""
NIGHTS = 30.0
"""The budget of false wakes while no tone is taught: one in 30 nights."""
NIGHTS_KNOWN = 1000.0
"""The budget once the household's tone is known: one in 1000 nights."""

PRIOR = 2.0
"""Log odds of a true alarm at the bound. The budget allows one false for one true (0); simulated nights bring
about a tenth of that (tests/bench/nights.py: 3 in 1000 nights untaught, with one true alarm in 30)."""
CHARACTER = (-6.0, 3.0)
"""Bounds of one beep's evidence: no single beep may decide (judgement)."""
SHARE = 2.0
"""A chain counts its mean character twice (prototype's fit)."""
REPEAT = math.log(3.0)
"""One more alike beep at its due time (measured by a prototype: ln 2 to ln 2.7 in all music, ln 3 in its
first hours)."""
FAINT = -18.0
"""A long tone fainter than this, dB SNR in 0-8 kHz, must come twice."""
PURE_TONE = 0.8
"""Purity of a long tone (measured: 0.88 and more in 32 rooms, +10 to -14 dB, under noise, talk and music)."""
STRAY_SHARE = 0.1
"""Share of an alarm's beeps whose time or length is off for some other reason (judgement) ..."""
STRAY = 0.3
"""... and the log sd of these."""
REGULAR = 10.0
"""What repeats, rhythm and likeness can add up to, nats: a looped ringtone is as regular as any alarm, so
against
what is no sounder regularity alone never decides (the mixture of "everything else" has a part that repeats
for ever)."""
EXTRA = -1.5
"""One more sound of the same tone between two beeps (prototype's fit)."""
TWIN = -4.0
"""The same, but as long as the alarm's own beeps: something else beeps faster (judgement)."""


def bound(tests: float, nights: float, miss: float = MISS) -> float:
    """Wald's upper bound A = ln((1 - b)/a) for one false wake in `nights` nights of `tests` tests each."""
    return math.log((1.0 - miss) * max(tests * nights, 1.0))


def confidence(ratio: float, limit: float) -> float:
    """Probability that an alarm is what it is named, in a house with one alarm in 30 nights: PRIOR at the
    bound.

    tests/bench/nights.py shows how it is calibrated.
    """
    return 1.0 / (1.0 + math.exp(-min(40.0, max(-40.0, ratio - limit + PRIOR))))


def sounder(character: Character) -> float:
    """Evidence of one beep's character, in CHARACTER's bounds: a buzzer, or a voice, a whistle, an
    instrument?

    Company and neighbours carry most of it: weights of a prototype's logistic fit (544 alarm beeps in rooms
    against
    18 h of real sound), the neighbours' taken down by a fifth for sounders that fade. The others start
    where 95 % of
    the alarm's own beeps lie (tests/bench/features.py prints quartiles and what each figure is worth);
    their slopes
    are judgement.
    """
    company = min(20.0, max(-15.0, character.company))
    figure = (
        -5.8
        + 0.13 * company
        + 0.11 * min(company, 0.0)
        + 0.22 * min(30.0, max(0.0, character.neighbours))
        - 3.0 * max(0.0, character.wander - 0.5)
        - 0.2 * max(0.0, character.flatness - 7.0)
        - 10.0 * max(0.0, 0.9 - character.purity)
        - 3.0 * max(0.0, character.before - 0.2)
        - 4.5 * max(0.0, character.after - 0.3)
        - 0.3 * max(0.0, character.valley - 13.0)
    )
    return min(CHARACTER[1], max(CHARACTER[0], figure))


def long_tone(character: Character, snr: float, drone: bool) -> float:
    """Evidence of a long tone: yes-or-no questions of its character, its level and what sounds beside it.

    snr: dB in 0-8 kHz. drone: whether another long tone sounded at the same time.
    Shares among a prototype's 127 true long beeps in rooms and 205 tones of 8.5-11.5 s in 47.5 h of real
    sound:
    steady to 0.4 % 127 and 26; neighbours 8 dB down 127 and 22 (8 of the 26); company 6 dB down 119 and 2
    of those 8.
    A share of 0 or of all is read by the rule of three. The others by judgement, from the recordings that
    tests/bench/features.py hears: a game's drone of three pure tones at once, and a partial of electronic
    music
    30 dB below the rest; such a tone must come twice.
    """
    return (
        (2.06 if character.spread <= 0.004 else -3.6)
        + (1.2 if character.neighbours >= 8.0 else -3.6)
        + (1.3 if character.company >= 6.0 else -2.5)
        + (0.5 if max(character.before, character.after) < 0.8 else -1.5)
        + (0.0 if character.purity >= PURE_TONE else -3.6)
        + (0.0 if snr >= FAINT else -2.0)
        + (-4.0 if drone else 0.0)
    )


def rhythm(units: Sequence[float]) -> float:
    """Evidence of how steady the periods are: log deviates of sd 0.10 for the alarm, 0.25 for everything
    else.

    units: s from onset to onset, missed beeps divided out. One unit says nothing; a wandering breath costs
    little.
    """
    return _steadiness(units, 0.10, 0.25)


def alike(lengths: Sequence[float]) -> float:
    """Evidence of how alike the lengths are: log deviates of sd 0.05 for the alarm, 0.12 for everything
    else.
    """
    return _steadiness(lengths, 0.05, 0.12)


def _steadiness(values: Sequence[float], own: float, other: float) -> float:
    """Half the log ratio of two densities, summed over the log deviates of `values` from their mean, nats.

    The alarm's density is normal with a share STRAY_SHARE of strays: a beep whose start a room's null ate
    is no
    proof against the rest. Half, and a degree of freedom less: neighbours are not independent (prototype's
    fit).
    """
    logs = [math.log(value) for value in values]
    mean = sum(logs) / len(logs)
    total = sum(_ratio(value - mean, own, other) for value in logs)
    return 0.5 * total * (len(logs) - 1) / len(logs)


def _ratio(deviate: float, own: float, other: float) -> float:
    """Log ratio of the two densities at one log deviate."""
    square = -0.5 * deviate**2
    alarm = (1.0 - STRAY_SHARE) / own * math.exp(square / own**2) + STRAY_SHARE / STRAY * math.exp(square / STRAY**2)
    return math.log(alarm * other) - square / other**2
