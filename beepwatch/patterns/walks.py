"""Walks back through the beeps of one tone: each beep with the one before it, one or a few periods earlier.

Every earlier beep of the tone is tried as the newest one's neighbour, and then the beep nearest to each next due time
is taken.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

from beepwatch.patterns.memory import Note, fold

NEIGHBOURS = 10
"""How many earlier beeps are tried as the newest one's neighbour."""
LONGEST = 16
"""Beeps in a chain at most: by then every true alarm is raised."""
UNLIKE = math.log(1.35)
"""Lengths of one chain differ by less than this factor from the newest (prototype: 2-5 % sd in rooms)."""
TONE = 0.004
"""Beeps of one chain agree in tone to this (prototype: 0.002 % in rooms; nothing is gained below 0.3 %)."""


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
"""In a quiet room: 40 % of the beeps may be missed, breaths wander by 10 % sd (judgement, checked on recordings)."""
STRICT = Grip(1, 0.0, math.log(1.25))
"""For a regular beeping that is not named: no miss."""

Walk: TypeAlias = list[tuple[Note, int]]
"""Beeps, newest first, each with the count of periods to the next younger one (0 for the newest)."""


def walks(
    notes: Sequence[Note],
    length: tuple[float, float],
    period: tuple[float, float],
    pause: float,
    grip: Grip,
    *,
    beeps: tuple[int, int],
) -> Iterator[Walk]:
    """Every walk that ends at the last of `notes` (one tone, by onset), for bounds of length, period and pause in s.

    beeps: how many a walk must have to be of use, and how many are enough.
    """
    newest = notes[-1]
    size = newest.beep.duration
    if newest.part or not (length[0] <= size <= length[1] and newest.beep.onset_known):
        return
    able = [note for note in notes[:-1] if likes(note, newest)]
    for place in range(len(able) - 1, max(beeps[0] - 3, len(able) - 1 - NEIGHBOURS), -1):
        apart = newest.beep.onset - able[place].beep.onset
        for steps in range(1, grip.gap + 1):
            unit = apart / steps
            if period[0] <= unit <= period[1] and unit - size >= pause:
                yield _back(able, place, [(newest, 0), (able[place], steps)], unit, grip, beeps=beeps)


def likes(note: Note, newest: Note) -> bool:
    """Whether a beep may be of one chain with the newest: its length and its tone, or a harmonic's."""
    beep, other = note.beep, newest.beep
    return (
        beep.onset_known
        and not note.part
        and abs(math.log(beep.duration / other.duration)) <= UNLIKE
        and fold(beep.frequency, other.frequency, TONE) is not None
    )


def _back(able: Sequence[Note], place: int, walk: Walk, unit: float, grip: Grip, *, beeps: tuple[int, int]) -> Walk:
    """Walk on from the beep at `place`, whose younger neighbour is one or more `unit` away."""
    least, enough = beeps
    while len(walk) < enough and len(walk) + place >= least:
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


def _recent(walk: Walk) -> float:
    """Mean unit period of the four oldest intervals of a walk: it follows a breath that slows."""
    tail = walk[-5:]
    steps = sum(steps for _, steps in tail[1:])
    return (tail[0][0].beep.onset - tail[-1][0].beep.onset) / steps


def units(walk: Walk) -> list[float]:
    """The walk's periods, s, newest first, missed beeps divided out."""
    return [(young.beep.onset - old.beep.onset) / steps for (young, _), (old, steps) in pairwise(walk)]
