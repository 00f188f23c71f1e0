"""Chains of single beeps: breaths, and any other regular beeping.

A chain ends at the newest beep and is walked backwards (walks.py). The running ratio S is worked out at every length
of the walk, so that a bad start is forgotten, and the best is kept.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from beepwatch.events import Beep
from beepwatch.patterns import evidence
from beepwatch.patterns.memory import WIDTH, Note, fold
from beepwatch.patterns.profiles import Breaths, Figures, Steady
from beepwatch.patterns.walks import LONGEST, LOOSE, STRICT, TIGHT, TONE, UNLIKE, Grip, Walk, likes, units, walks

STRAY = 0.08
"""A sound of the tone shorter than this is no extra beep, s (prototype)."""
NEAR = 0.005
"""An extra beep of the tone, or of a harmonic, agrees with it to this (folded.PULSE: so do pulses of 0.1 s)."""
STICKS_OUT = 0.4
"""A piece of a beep reaches no further beyond what was told of it than this share of its length (judgement)."""
HARMONICS = (0.25, 1.0 / 3.0, 0.5)
"""A fundamental over the harmonic at which a sounder may be heard."""
FURTHER = 6.0
"""dB by which another sounder of the same tone is weaker or louder: half or twice as far (free field)."""
MOST_EXTRA = 4
"""Strangers that count (prototype); twins all count."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Beeps that repeat, oldest first, with the evidence S for them in nats."""

    notes: tuple[Note, ...]
    units: tuple[float, ...]
    missed: int
    ratio: float

    @property
    def period(self) -> float:
        """Mean unit period, s."""
        return sum(self.units) / len(self.units)


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known beside the beeps of a tone.

    known: the tone itself is no doubt. quiet: little else is heard, so beeps may be missed and breaths may wander at
    a lower price. accompanied: whether a tone that is no harmonic sounded with a beep, from its onset to its end.
    """

    known: bool
    quiet: bool
    accompanied: Callable[[Beep], bool]


def breaths(profile: Breaths, notes: Sequence[Note], least: int, limit: float, setting: Setting) -> Chain | None:
    """The best chain of `least` or more beeps that ends at the last of `notes` and reaches `limit`, or None.

    notes: all sounds of one tone by onset, the newest last.
    """
    best: Chain | None = None
    floor = limit
    grip = LOOSE if setting.quiet else TIGHT
    for walk in walks(notes, profile.length, profile.period, profile.pause, grip, beeps=(least, LONGEST)):
        for count in range(least, len(walk) + 1):
            if math.gcd(*(steps for _, steps in walk[1:count])) > 1:
                continue  # nothing was ever heard one unit apart: the unit is a guess
            chain = _weigh(profile, walk[:count], grip, known=setting.known)
            if chain.period < profile.fast.period and count < profile.fast.beeps:
                continue
            if chain.ratio >= floor:  # what only takes away is looked for last
                ratio = chain.ratio + _extra(notes, walk[:count]) - _rough(notes)
                ratio += evidence.PARTNER * sum(setting.accompanied(n.beep) for n in chain.notes) / count
                if ratio >= floor:
                    best, floor = replace(chain, ratio=ratio), ratio
    return best


def lowest(tones: Sequence[float]) -> float:
    """Hz of the lowest tone that a third of the beeps have (judgement).

    Some may be heard at a harmonic, and one at a part of its tone, with a note of music that begins with it.
    """
    least = len(tones) / 3
    often = (tone for tone in tones if sum(abs(other / tone - 1.0) <= WIDTH for other in tones) >= least)
    return min(often, default=min(tones))


def fundamental(chain: Chain, notes: Sequence[Note]) -> float:
    """Hz of the chain's sounder: its lowest tone, or one lower still that came with half of its beeps.

    notes: all sounds of the tone.
    """
    tone = lowest([note.beep.frequency for note in chain.notes])
    for share in HARMONICS:
        low = [n.beep for n in notes if abs(n.beep.frequency / (tone * share) - 1.0) <= WIDTH]
        with_low = sum(any(b.onset < n.beep.end and n.beep.onset < b.end for b in low) for n in chain.notes)
        if 2 * with_low >= len(chain.notes):
            return tone * share
    return tone


def steady(profile: Steady, notes: Sequence[Note], least: int, accompanied: Callable[[Beep], bool]) -> Chain | None:
    """A chain of `least` beeps without a miss, as regular as `profile.wander`, that ends at the last of
    `notes`. accompanied: as in Setting.
    """
    for walk in walks(notes, profile.length, profile.period, 0.0, STRICT, beeps=(least, least)):
        if len(walk) < least:
            continue
        chosen = walk[:least]
        times = units(chosen)
        if _wander(times) > profile.wander or _wander([n.beep.duration for n, _ in chosen]) > 3 * profile.wander:
            continue
        if _extra(notes, chosen) == 0.0:
            ratio = _character(chosen) + min(evidence.REGULAR, evidence.REPEAT * (least - 1))
            ratio += evidence.PARTNER * sum(accompanied(n.beep) for n, _ in chosen) / least
            return _chain(chosen, times, 0, ratio - _uneven(chosen) - _rough(notes))
    return None


def _weigh(profile: Breaths, walk: Walk, grip: Grip, *, known: bool) -> Chain:
    """S of a walk without its strangers: character, repeats, rhythm, likeness, missed beeps, doubts."""
    times = units(walk)
    lengths = [note.beep.duration for note, _ in walk]
    missed = sum(steps - 1 for _, steps in walk[1:])
    regular = evidence.REPEAT * (len(walk) - 1) + evidence.rhythm(times) + evidence.alike(lengths)
    doubts = _doubt(profile, walk, sum(times) / len(times), known=known) + _uneven(walk)
    ratio = _character(walk) + min(evidence.REGULAR, regular + grip.missed * missed) - doubts
    return _chain(walk, times, missed, ratio)


def _wander(values: Sequence[float]) -> float:
    """Relative standard deviation."""
    mean = sum(values) / len(values)
    return math.sqrt(sum((value - mean) ** 2 for value in values) / len(values)) / mean


def _chain(walk: Walk, times: Sequence[float], missed: int, ratio: float) -> Chain:
    notes = tuple(note for note, _ in reversed(walk))
    return Chain(notes, tuple(reversed(times)), missed, ratio)


def _character(walk: Walk) -> float:
    mean = sum(note.score for note, _ in walk) / len(walk)
    mean += evidence.nulled([note.beep.character for note, _ in walk])
    return evidence.SHARE * min(evidence.CHARACTER[1], mean)


def _doubt(profile: Breaths, walk: Walk, period: float, *, known: bool) -> float:
    """What speaks against a breath of this length, period and tone, nats."""
    length = sum(note.beep.duration for note, _ in walk) / len(walk)
    snr = sum(note.beep.snr for note, _ in walk) / len(walk)
    tone = min(note.beep.frequency for note, _ in walk)  # some may be heard at a harmonic
    figures = {"duty": length / period, "period": period, "length": length, "snr": snr}
    if not known:
        figures["tone"] = tone
    held = (one for one in profile.doubt if one.of in figures and period <= one.slowest)
    doubts = sum(doubt.price(figures[doubt.of]) for doubt in held)
    heard = Figures(length, period, tone, snr, [note.beep.onset for note, _ in walk])
    return doubts + sum(clash.price(heard) for clash in profile.clash)


def _uneven(walk: Walk) -> float:
    """What different levels of the beeps cost, of those that were heard at the newest one's harmonic."""
    tone = walk[0][0].beep.frequency
    return evidence.uneven([n.beep.level for n, _ in walk if fold(n.beep.frequency, tone, TONE) == 1.0])


def _rough(notes: Sequence[Note]) -> float:
    """What the lack of purity of all beeps like the newest one costs: of pulses that ran together some look pure."""
    newest = notes[-1]
    alike = (note.beep.character for note in (*notes[:-1], newest) if note is newest or likes(note, newest))
    return min(evidence.ROUGH[3], sum(evidence.rough(one) for one in alike))


def _extra(notes: Sequence[Note], walk: Walk) -> float:
    """What other sounds of the tone say, from two periods before the oldest beep on.

    As long and as loud as the chain's own they are twins: the same thing beeps faster. Weaker ones may be a further
    device's, so many of them hide nothing.
    """
    newest, oldest = walk[0][0].beep, walk[-1][0].beep
    unit = (newest.onset - oldest.onset) / sum(steps for _, steps in walk[1:])
    own = {id(note) for note, _ in walk}
    between = [
        abs(math.log(note.beep.duration / newest.duration)) <= UNLIKE and note.beep.level >= newest.level - FURTHER
        for note in notes
        if id(note) not in own
        and not note.part
        and note.beep.duration > STRAY
        and fold(note.beep.frequency, newest.frequency, NEAR) is not None
        and not _piece(note, walk)
        and note.beep.onset > oldest.onset - 2.0 * unit
        and not _before(note, oldest, unit)
    ]
    twins = sum(between)
    return evidence.TWIN * twins + evidence.EXTRA * min(MOST_EXTRA, len(between) - twins)


def _piece(note: Note, walk: Walk) -> bool:
    """Whether a sound is a piece of a beep of the chain, broken by a cough or a room's null, or its harmonic: it
    touches that beep and does not reach far beyond it."""
    beep = note.beep
    for own, _ in walk:
        over = own.beep.duration * STICKS_OUT
        if own.beep.onset - over <= beep.onset and beep.end <= own.beep.end + over:
            return True
    return False


def _before(note: Note, oldest: Beep, unit: float) -> bool:
    """A beep before the first that sits on the beat and is as loud is no stranger: the walk only ended there."""
    periods = (oldest.onset - note.beep.onset) / unit
    on_beat = periods > 0 and abs(periods - round(periods)) <= 0.2 and round(periods) >= 1
    return on_beat and abs(note.beep.level - oldest.level) <= FURTHER
