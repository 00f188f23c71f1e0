"""Evidence: how much likelier each thing heard is from the alarm's sounder than from everything else.

All figures are natural logarithms of likelihood ratios (nats) and add up to a running ratio S. An alarm is raised when
S reaches Wald's upper bound A = ln((1 - b) / a) (Wald 1945, sequential test: the chance that S ever reaches A when the
alarm is *not* there is at most a). A stated false-wake budget sets a: one false wake in `nights` nights with `tests`
tests a night gives a = 1 / (tests x nights).

"Everything else" is speech, music, ringing and household beepers. It is not Poisson: music repeats itself, so one more
alike beep is worth a factor 3 only, not the 1e-4 that chance alone would give (prototype, 27 h of music: 37 % of alike
pairs become triples, 40 % of triples fours). And one sound's notes share their faults, so a beep's character counts by
its mean over the chain, not by its sum.

Where a comment in this folder says "prototype", the figure comes from an earlier study whose code and sounds are not
here: take it as judgement. What the whole does with such figures is measured by tests/bench/naming.py and nights.py.
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from beepwatch.events import Character

MISS = 0.05
"""b of Wald's bounds: the share of alarms that may stay below the bound for good (judgement; it moves A by 0.05)."""
NIGHTS = 30.0
"""The budget of false wakes while no tone is taught: one in 30 nights."""
NIGHTS_KNOWN = 1000.0
"""The budget once the household's tone is known: one in 1000 nights."""

KNOTS = (-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 7.0)
"""Nats of evidence over the bound ..."""
CURVE = {
    False: (-6.36, -6.19, -4.34, -2.62, -1.08, 0.6, 2.05, 2.49, 2.5),
    True: (-2.95, -2.95, -2.95, -0.03, 2.47, 3.57, 4.06, 5.24, 5.25),
}
"""... and the log odds there of a true alarm, straight between; False: on any tone, True: on a known one. Measured on
simulated nights with the device's alarms: `tests/bench/calibration.py --fit`, seeds 21 and 31; shown on others. Its
ceiling is what one beeper of no listed thing in 100 nights leaves (judgement): some of these call just as a breath
does. The standards' patterns use the same curve; for them it was not shown."""
CHARACTER = (-6.0, 3.0)
"""Bounds of one beep's evidence: no single beep may decide (judgement)."""
SHARE = 2.0
"""A chain counts its mean character twice (prototype's fit)."""
REPEAT = math.log(3.0)
"""One more alike beep at its due time (measured by a prototype: ln 2 to ln 2.7 in all music, ln 3 in its
first hours)."""
ROUGH = (0.95, 6.0, 30.0, 12.0)
"""Purity of a true beep, flatness (dB) from which a room's fading explains any lack of it, nats that a lack of 1 costs,
and nats at most. Pulses that ran together into one beep are rough: measured in rooms (tests/bench/stages.py), purity of
true beeps 0.89-1.00, on average 0.99 in noise; of merged pulses 0.47-0.9. The slope is judgement."""
UNEVEN = (3.0, 4.0, 4.0)
"""dB from the median level that cost nothing, dB more that cost a nat, and nats at most. One sounder's beeps in a room
differ by 0.8 dB (99 %, measured in rooms, tests/bench/stages.py), notes of music that looked like three of them by 1
to 19; the rest allows for people who walk about (judgement)."""
PARTNER = -6.0
"""All of a chain's beeps begin and end with a beep of a tone that is no harmonic: a warble, a chord (judgement)."""
PARTNER_COUNTED = -12.0
"""The same for a counted signal, which may weigh more (judgement): see memory.DUAL."""
LOUD = -10.0
"""A long tone louder than this, dB SNR in 0-8 kHz, stands out of the room."""
FAINT = -18.0
"""A long tone fainter than this, dB SNR in 0-8 kHz, must come twice."""
COMPANY = (6.0, 2.0, -8.0)
"""dB of a long tone over the strongest other line: alone; beside music; beside louder music (true ones in rooms at 0 to
-14 dB in talk, music and snoring: -6 to 6)."""
PURE_TONE = 0.8
"""Purity of a long tone (measured: 0.88 and more in 32 rooms, +10 to -14 dB, under noise, talk and music)."""
DYING = 7.0
"""dB from its strongest to its weakest quarter above which a long tone dies away or swells, as what is struck or bowed
does: it must come twice. True ones in rooms: up to 6.5 of 536; of tones of 13 s and more in the recordings a third are
above 9 (measured, tests/bench/stages.py and naming.py), and of an orchestra's held notes those at 8 to 9 remain."""
MOVES = 3.0
"""Hz that a tone moves, from which the room makes it louder and weaker: at two frequencies so far apart what it passes
on is alike no more (13.8 / (2 pi T60): 3.1 Hz at 0.7 s, the slowest furnished bedroom; Schroeder 1962, J. Acoust. Soc.
Am. 34:1819, from memory)."""
MOVING = -2.0
"""Nats of such a one: where it stands out of the room it is named at once, a fainter one must come twice (judgement:
held notes move and fade too)."""
LATE = (0.56, -5.0)
"""s past the length asked for by which a tone that stands out all the while is told, and nats of one that is told
later. Hearing looks at it each 0.51 s, so at 13.31 s first: half a look more (theory). Of 827 true ones in rooms, +10
to -14 dB in noise, talk and music, 1 was told later, of 349 of music 210 (measured, tests/bench/stages.py, unseen.py).
"""
UNSURE = (0.85, -4.0)
"""Purity under which a tone is not named before its end, and nats: of the same 3 and 110, so ln of the shares' ratio
is -4.5. At its end PURE_TONE is asked, so that noise delays a true one by seconds and not by a minute."""
ALIKE_DIPS = (2, 0.7, 1.0)
"""Beeps that dip alike show the room's null: at least so many (two decide on a known tone only), that share of them,
and dB by which their valleys may differ from the median (measured in rooms, tests/bench/stages.py: 22.4 to 22.8, 27.5
to 28.0 dB in two of them in noise, 19.0 to 19.5 dB in a third under talk, where the flatness was 5 to 15 dB: talk fills
the weakest quarter)."""
TURNS = 9.0
"""dB of such a dip from which the phase may well turn over too: past a point to which the tone's amplitude falls by so
much it moves by 138 degrees (2 arctan 2.6, theory)."""
STRAY_SHARE = 0.1
"""Share of an alarm's beeps whose time or length is off for some other reason (judgement) ..."""
STRAY = 0.3
"""... and the log sd of these."""
REGULAR = 10.0
"""What repeats, rhythm and likeness can add up to, nats: a looped ringtone is as regular as any alarm, so against what
is no sounder regularity alone never decides (the mixture of "everything else" has a part that repeats for ever)."""
COUNTED = 15.0
"""The same for groups that are counted: every pulse, gap and pause within a standard's tolerance is no mere regularity.
No other such groups came in 10.3 h of recordings (tests/bench/naming.py), so music's character may take off as much as
it does from a sounder beside music (measured in rooms: -6 nats), while a voice's (-12) stays under every bound."""
EXTRA = -1.5
"""One more sound of the same tone between two beeps (prototype's fit)."""
TWIN = -4.0
"""The same, but as long as the alarm's own beeps: something else beeps faster (judgement)."""


def bound(tests: float, nights: float, miss: float = MISS) -> float:
    """Wald's upper bound A = ln((1 - b)/a) for one false wake in `nights` nights of `tests` tests each."""
    return math.log((1.0 - miss) * max(tests * nights, 1.0))


@dataclass(frozen=True, slots=True)
class Weighed:
    """A hypothesis: its evidence S and the bound at which it wakes, nats; whether a known device's tone carries it."""

    ratio: float
    limit: float
    known: bool = False

    @property
    def enough(self) -> bool:
        """Whether it is an alarm."""
        return self.ratio >= self.limit


def confidence(excess: float, known: bool) -> float:
    """Probability that an alarm is what it is named, in a house with one alarm in 30 nights.

    excess: nats of evidence over the bound. known: whether the tone is a known device's.
    """
    curve, right = CURVE[known], bisect_left(KNOTS, excess, 1, len(KNOTS) - 1)
    low, high = KNOTS[right - 1 : right + 1]
    place = min(1.0, max(0.0, (excess - low) / (high - low)))
    return 1.0 / (1.0 + math.exp(-(curve[right - 1] + place * (curve[right] - curve[right - 1]))))


def sounder(character: Character) -> float:
    """Evidence of one beep's character, in CHARACTER's bounds: a buzzer, or a voice, a whistle, an instrument?

    Company and neighbours carry most of it: weights of a prototype's logistic fit (544 alarm beeps in rooms against 18
    h of real sound), the neighbours' taken down by a fifth for sounders that fade. The others start where 95 % of the
    alarm's own beeps lie (tests/bench/features.py prints quartiles and what each figure is worth); their slopes are
    judgement.
    """
    company = min(20.0, max(-15.0, character.company))
    figure = (
        -5.8
        + 0.13 * company
        + 0.11 * min(company, 0.0)
        + 0.22 * min(30.0, max(0.0, character.neighbours))
        - _dipped(character)
        - _turned(character)
        - 3.0 * max(0.0, character.before - 0.2)
        - 4.5 * max(0.0, character.after - 0.3)
    )
    return min(CHARACTER[1], max(CHARACTER[0], figure))


def _dipped(character: Character) -> float:
    """Nats that the uneven level within a beep costs."""
    return 0.2 * max(0.0, character.flatness - 7.0) + 0.3 * max(0.0, character.valley - 13.0)


def _turned(character: Character) -> float:
    """Nats that its phase costs, which turns over within the beep."""
    return 3.0 * max(0.0, character.wander - 0.5) + 10.0 * max(0.0, 0.9 - settled(character))


def nulled(characters: Sequence[Character]) -> float:
    """Nats of mean character to give back where every beep dips alike: the room does that, not the sounder.

    A sounder that drifts as it warms up passes a null of the room, in each of its beeps at the same place. Past a deep
    one its phase turns over.
    """
    least, share, apart = ALIKE_DIPS
    middle = median(one.valley for one in characters)
    same = [abs(one.valley - middle) <= apart for one in characters]
    if len(characters) < least or sum(same) < share * len(characters):
        return 0.0
    costs = [_dipped(one) + (_turned(one) if middle >= TURNS else 0.0) for one in characters]
    return sum(cost for cost, alike in zip(costs, same, strict=True) if alike) / len(characters)


def long_tone(character: Character, snr: float, drone: bool) -> float:
    """Evidence of a long tone: yes-or-no questions of its character, its level and what sounds beside it.

    snr: dB in 0-8 kHz. drone: whether another long tone sounded at the same time. Shares among a prototype's 127 true
    long beeps in rooms and 205 tones of 8.5-11.5 s in 47.5 h of real sound: steady to 0.4 % 127 and 26; neighbours 8 dB
    down 127 and 22 (8 of the 26); company 6 dB down 119 and 2 of those 8. A share of 0 or of all is read by the rule of
    three. Level: of the tones over 800 Hz and 8.3-24 s that hearing tells of the recordings at four levels
    (tests/bench/naming.py prints them), none of 18 is louder than LOUD, and most are fainter than FAINT; true ones are
    louder in 9 of 10 rooms down to -14 dB. The others by judgement, from the recordings that tests/bench/features.py
    hears: a game's drone of three pure tones at once, and a partial of electronic music 30 dB below the rest; such a
    tone must come twice.
    """
    return (
        (2.06 if character.spread <= 0.004 else -3.6)
        + (1.2 if character.neighbours >= 8.0 else -3.6)
        + _alone(character.company)
        + (0.5 if max(character.before, character.after) < 0.8 else -3.5)
        + (0.0 if character.purity >= PURE_TONE else -4.0)
        + _fading(character)
        + (2.0 if snr >= LOUD else 0.0 if snr >= FAINT else -2.0)
        + (-4.0 if drone else 0.0)
    )


def _fading(character: Character) -> float:
    """Nats that an uneven level costs a long tone; fewer where it moves, and the room may make it so."""
    if character.flatness <= DYING:
        return 0.0
    return -4.0 if character.moved < MOVES else MOVING


def under_way(character: Character, late: float) -> float:
    """What else a long tone is worth while it still sounds, nats: in doubt its end, seconds later, is waited for.

    late: s from the length that was asked for to the one at which it was told. One that fades and moves is doubted too
    (judgement: its end tells more).
    """
    unsure = character.purity < UNSURE[0] or _fading(character) == MOVING
    return (LATE[1] if late > LATE[0] else 0.0) + (UNSURE[1] if unsure else 0.0)


def _alone(company: float) -> float:
    """What a long tone's company is worth, in steps, nats."""
    alone, beside, under = COMPANY
    return 1.3 if company >= alone else 0.0 if company >= beside else -1.0 if company >= under else -2.5


def settled(character: Character) -> float:
    """Purity once the room has settled; of the whole beep where it is too short to tell."""
    return character.purity if character.settled is None else character.settled


def rough(character: Character) -> float:
    """Nats that one beep's lack of purity costs, where no fading explains it, nor a room's build-up and decay.

    A room in which a tone is weak lets its start stand out: then its middle is pure, as that of pulses is not.
    """
    whole, faded, slope, _ = ROUGH
    return slope * max(0.0, whole - settled(character)) * max(0.0, 1.0 - character.flatness / faded)


def uneven(levels: Sequence[float]) -> float:
    """Nats that beeps of different levels, dB, cost."""
    free, nat, most = UNEVEN
    middle = median(levels)
    return min(most, sum(max(0.0, abs(level - middle) - free) for level in levels) / nat)


def rhythm(units: Sequence[float]) -> float:
    """Evidence of how steady the periods are: log deviates of sd 0.10 for the alarm, 0.25 for everything else.

    units: s from onset to onset, missed beeps divided out. One unit says nothing; a wandering breath costs little."""
    return _steadiness(units, 0.10, 0.25)


def alike(lengths: Sequence[float]) -> float:
    """Evidence of how alike the lengths are: log deviates of sd 0.05 for the alarm, 0.12 for everything else."""
    return _steadiness(lengths, 0.05, 0.12)


def _steadiness(values: Sequence[float], own: float, other: float) -> float:
    """Half the log ratio of two densities, summed over the log deviates of `values` from their mean, nats.

    The alarm's density is normal with a share STRAY_SHARE of strays: a beep whose start a room's null ate is no proof
    against the rest. Half, and a degree of freedom less: neighbours are not independent (prototype's fit).
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
