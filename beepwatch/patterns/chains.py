"""Chains of single beeps: breaths, and any other regular beeping.

A chain ends at the newest beep and is walked backwards: every earlier beep of the tone is tried as its
neighbour, one or two periods away, and then the beep nearest to each next due time is taken. The running
ratio S
is worked out at every length of the walk, so that a bad start is forgotten, and the best is kept.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from beepwatch.patterns import evidence
from beepwatch.patterns.memory import WIDTH, Note, fold
from beepwatch.patterns.profiles import Breaths, Steady

NEIGHBOURS = 10
"""How many earlier beeps are tried as the newest one's neighbour."""
LONGEST = 16
"""Beeps in a chain at most: by then every true alarm is raised."""
UNLIKE = math.log(1.35)
"""Lengths of one chain differ by less than this factor from the newest (prototype: 2-5 % sd in rooms)."""
TONE = 0.004
"""Beeps of one chain agree in tone to this (prototype: 0.002 % in rooms; nothing is gained below 0.3 %)."""
STRAY = 0.08
"""A sound of the tone shorter than this is no extra beep, s (prototype)."""
STICKS_OUT = 0.4
"""A piece of a beep reaches no further beyond what was told of it than this share of its length
(judgement)."""
HARMONICS = (0.25, 1.0 / 3.0, 0.5)
"""A fundamental over the harmonic at which a sounder may be heard."""
MOST_EXTRA = 4
"""Strangers that count (prototype); twins all count."""


@dataclass(frozen=True, slots=True)
class Grip:
    """How closely a chain must keep its beat."""

    gap: int
    """Periods from a beep to the next, at most: all but one of them missed."""
    missed: float
    """Evidence of one due beep that was not heard, nats."""
    off_beat: float
    """Largest log deviation of one period from the last four's mean."""


TIGHT = Grip(2, math.log(0.15), math.log(1.25))
"""Amid music: prototype; two misses in a row found nothing more there and named one alarm wrongly."""
LOOSE = Grip(4, math.log(0.4), math.log(1.4))
"""In a quiet room: 40 % of the beeps may be missed, breaths wander by 10 % sd (judgement, checked on
recordings)."""
STRICT = Grip(1, 0.0, math.log(1.25))
"""For a regular beeping that is not named: no miss."""


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


def breaths(
    profile: Breaths, notes: Sequence[Note], least: int, limit: float, *, known: bool, quiet: bool
) -> Chain | None:
    """The best chain of `least` or more beeps that ends at the last of `notes` and reaches `limit`, or None.

    notes: all sounds of one tone by onset, the newest last. known: the tone itself is no doubt.
    quiet: little else is heard, so beeps may be missed and breaths may wander at a lower price.
    """
    best: Chain | None = None
    floor = limit
    grip = LOOSE if quiet else TIGHT
    for walk in _walks(notes, profile.length, profile.period, profile.pause, grip):
        for count in range(least, len(walk) + 1):
            if math.gcd(*(steps for _, steps in walk[1:count])) > 1:
                continue  # nothing was ever heard one unit apart: the unit is a guess
            chain = _weigh(profile, walk[:count], grip, known=known)
            if chain.ratio >= floor:  # strangers only take away: they are looked for last
                ratio = chain.ratio + _extra(notes, walk[:count])
                if ratio >= floor:
                    best, floor = replace(chain, ratio=ratio), ratio
    return best


def fundamental(chain: Chain, notes: Sequence[Note]) -> float:
    """Hz of the chain's sounder: its lowest tone, or one lower still that came with half of its beeps.

    notes: all sounds of the tone.
    """
    tone = min(note.beep.frequency for note in chain.notes)
    for share in HARMONICS:
        low = [n.beep for n in notes if abs(n.beep.frequency / (tone * share) - 1.0) <= WIDTH]
        with_low = sum(any(b.onset < n.beep.end and n.beep.onset < b.end for b in low) for n in chain.notes)
        if 2 * with_low >= len(chain.notes):
            return tone * share
    return tone


def steady(profile: Steady, notes: Sequence[Note], least: int) -> Chain | None:
    """A chain of `least` beeps without a miss, as regular as `profile.wander`, that ends at the last of
    `notes`.
    """
    for walk in _walks(notes, profile.length, profile.period, 0.0, STRICT):
        if len(walk) < least:
            continue
        chosen = walk[:least]
        units = _units(chosen)
        if _wander(units) > profile.wander or _wander([n.beep.duration for n, _ in chosen]) > 3 * profile.wander:
            continue
        extra = _extra(notes, chosen)
        if extra == 0.0:
            return _chain(chosen, units, 0, _character(chosen) + evidence.REPEAT * (least - 1))
    return None


_Walk = list[tuple[Note, int]]
"""Beeps, newest first, each with the count of periods to the next younger one (0 for the newest)."""


def _walks(
    notes: Sequence[Note], length: tuple[float, float], period: tuple[float, float], pause: float, grip: Grip
) -> Iterator[_Walk]:
    newest = notes[-1]
    size = newest.beep.duration
    if newest.part or not (length[0] <= size <= length[1] and newest.beep.onset_known):
        return
    able = [note for note in notes[:-1] if _likes(note, newest)]
    for place in range(len(able) - 1, max(-1, len(able) - 1 - NEIGHBOURS), -1):
        apart = newest.beep.onset - able[place].beep.onset
        for steps in range(1, grip.gap + 1):
            unit = apart / steps
            if period[0] <= unit <= period[1] and unit - size >= pause:
                yield _back(able, place, [(newest, 0), (able[place], steps)], unit, grip)


def _likes(note: Note, newest: Note) -> bool:
    beep, other = note.beep, newest.beep
    return (
        beep.onset_known
        and not note.part
        and abs(math.log(beep.duration / other.duration)) <= UNLIKE
        and fold(beep.frequency, other.frequency, TONE) is not None
    )


def _back(able: Sequence[Note], place: int, walk: _Walk, unit: float, grip: Grip) -> _Walk:
    """Walk on from the beep at `place`, whose younger neighbour is one or more `unit` away."""
    while len(walk) < LONGEST:
        onset = walk[-1][0].beep.onset
        best: tuple[int, float, int] | None = None
        for index in range(place - 1, -1, -1):
            periods = (onset - able[index].beep.onset) / unit
            if periods > grip.gap + 0.7:
                break
            steps = max(1, round(periods))
            off = abs(math.log(max(periods, 0.01) / steps))
            if (
                steps <= grip.gap
                and off <= grip.off_beat / math.sqrt(steps)
                and (best is None or (steps, off) < best[:2])
            ):
                best = (steps, off, index)
        if best is None:
            break
        place = best[2]
        walk.append((able[place], best[0]))
        unit = _recent(walk)
    return walk


def _recent(walk: _Walk) -> float:
    """Mean unit period of the four oldest intervals of a walk: it follows a breath that slows."""
    tail = walk[-5:]
    steps = sum(steps for _, steps in tail[1:])
    return (tail[0][0].beep.onset - tail[-1][0].beep.onset) / steps


def _units(walk: _Walk) -> list[float]:
    return [(young.beep.onset - old.beep.onset) / steps for (young, _), (old, steps) in pairwise(walk)]


def _weigh(profile: Breaths, walk: _Walk, grip: Grip, *, known: bool) -> Chain:
    """S of a walk without its strangers: character, repeats, rhythm, likeness, missed beeps, doubts."""
    units = _units(walk)
    lengths = [note.beep.duration for note, _ in walk]
    missed = sum(steps - 1 for _, steps in walk[1:])
    regular = evidence.REPEAT * (len(walk) - 1) + evidence.rhythm(units) + evidence.alike(lengths)
    doubts = _doubt(profile, walk, sum(units) / len(units), known=known)
    ratio = _character(walk) + min(evidence.REGULAR, regular + grip.missed * missed) - doubts
    return _chain(walk, units, missed, ratio)


def _wander(values: Sequence[float]) -> float:
    """Relative standard deviation."""
    mean = sum(values) / len(values)
    return math.sqrt(sum((value - mean) ** 2 for value in values) / len(values)) / mean


def _chain(walk: _Walk, units: Sequence[float], missed: int, ratio: float) -> Chain:
    notes = tuple(note for note, _ in reversed(walk))
    return Chain(notes, tuple(reversed(units)), missed, ratio)


def _character(walk: _Walk) -> float:
    return evidence.SHARE * sum(note.score for note, _ in walk) / len(walk)


def _doubt(profile: Breaths, walk: _Walk, period: float, *, known: bool) -> float:
    """What speaks against a breath of this length, period and tone, nats."""
    length = sum(note.beep.duration for note, _ in walk) / len(walk)
    purity = sum(note.beep.character.purity for note, _ in walk) / len(walk)
    flatness = sum(note.beep.character.flatness for note, _ in walk) / len(walk)
    figures = {"duty": length / period, "period": period, "length": length}
    if not known:
        figures["tone"] = min(note.beep.frequency for note, _ in walk)  # some may be heard at a harmonic
    doubts = sum(doubt.price(figures[doubt.of]) for doubt in profile.doubt if doubt.of in figures)
    return doubts + sum(clash.price(length, period, purity, flatness) for clash in profile.clash)


def _extra(notes: Sequence[Note], walk: _Walk) -> float:
    """What other sounds of the tone say, from two periods before the oldest beep on."""
    newest, oldest = walk[0][0].beep, walk[-1][0].beep
    unit = (newest.onset - oldest.onset) / sum(steps for _, steps in walk[1:])
    own = {id(note) for note, _ in walk}
    between = [
        abs(math.log(note.beep.duration / newest.duration)) <= UNLIKE
        for note in notes
        if id(note) not in own
        and not note.part
        and note.beep.duration > STRAY
        and not _piece(note, walk)
        and note.beep.onset > oldest.onset - 2.0 * unit
        and not _before(note, oldest.onset, unit)
    ]
    twins = sum(between)
    return evidence.TWIN * twins + evidence.EXTRA * min(MOST_EXTRA, len(between) - twins)


def _piece(note: Note, walk: _Walk) -> bool:
    """Whether a sound is a piece of a beep of the chain, broken by a cough or a room's null, or its
    harmonic: it
    touches that beep and does not reach far beyond it."""
    beep = note.beep
    for own, _ in walk:
        over = own.beep.duration * STICKS_OUT
        if own.beep.onset - over <= beep.onset and beep.end <= own.beep.end + over:
            return True
    return False


def _before(note: Note, oldest: float, unit: float) -> bool:
    """A beep before the chain's first that sits on its beat is no stranger: the walk only ended there."""
    periods = (oldest - note.beep.onset) / unit
    return periods > 0 and abs(periods - round(periods)) <= 0.2 and round(periods) >= 1
