"""A made-up house at night, as beeps without sound: talk, music, telephones, things that beep, and the alarms.

What hearing does to an alarm's beep at a given SNR is in EARS; what the sounds of a house are like to it was measured
on the recordings of tests/realsounds.py. The house itself is judgement.
"""

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from beepwatch.events import Beep, Character, Heard, Sounding

NIGHT = 8 * 3600.0
"""s."""
RATES = (6, 8, 10, 12, 15, 20, 25, 30, 35, 40)
"""Breaths a minute."""


@dataclass(frozen=True, slots=True)
class Ear:
    """What hearing does to an alarm's beeps: share missed, sd of an onset and of a length (s), its delay
    (s).
    """

    missed: float
    onset: float
    length: float
    latency: float
    score: tuple[float, float]
    """Mean and sd over rooms of the neighbours' level, dB."""


EARS = {
    10: Ear(0.02, 0.02, 0.025, 0.45, (30.0, 2.0)),
    0: Ear(0.03, 0.02, 0.025, 0.45, (30.0, 2.0)),
    -8: Ear(0.06, 0.03, 0.035, 0.48, (30.0, 2.0)),
    -14: Ear(0.12, 0.06, 0.064, 0.52, (30.0, 2.0)),
    -20: Ear(0.25, 0.06, 0.100, 0.60, (30.0, 2.0)),
}
"""By SNR in 0-8 kHz, dB."""


def heard(
    lot: random.Random, ear: Ear, onset: float, duration: float, *, tone: float, character: Character
) -> Beep | None:
    """One beep of an alarm as hearing tells it; None when it misses it."""
    if lot.random() < ear.missed:
        return None
    start = onset + lot.gauss(0, ear.onset)
    length = max(0.05, duration + lot.gauss(0, ear.length))
    known = onset + duration + ear.latency
    return Beep(start, length, tone * (1 + lot.gauss(0, 2e-5)), -35.0, 0.0, max(known, start + length), True, character)


# -- the house


Row = tuple[float, float, float, float, float, float, float, float]
MUSIC: tuple[Row, ...] = (
    (1.00, 0.2, 0.0, 4, -14, 0.00, 0.24, 0.0),
    (1.00, 0.0, 0.0, 30, -4, 0.00, 0.00, 0.0),
    (0.73, 4.2, 0.4, 3, -12, 0.00, 0.16, 3.0),
    (1.00, 0.8, 0.0, 11, 1, 0.00, 0.00, 0.0),
    (1.00, 0.0, 0.0, 30, -4, 0.00, 0.00, 0.0),
    (0.73, 3.4, 4.9, 30, -3, 0.00, 0.11, 0.7),
    (1.00, 5.4, 1.8, 8, -10, 0.00, 0.00, 0.0),
    (0.87, 7.2, 0.0, 10, -3, 0.00, 0.13, 1.7),
    (1.00, 0.0, 0.0, 30, -9, 0.00, 0.00, 0.0),
    (0.78, 2.7, 0.0, 30, 30, 0.00, 0.27, 5.2),
    (0.91, 7.7, 0.0, 6, 23, 0.02, 0.13, 1.0),
    (0.84, 5.6, 0.5, 10, 7, 0.00, 0.44, 6.0),
    (1.00, 0.0, 0.0, 7, -18, 0.00, 0.00, 0.0),
    (1.00, 0.0, 0.0, 4, -3, 0.00, 0.00, 0.0),
    (0.77, 5.1, 0.0, 6, -19, 0.00, 0.27, 0.0),
    (0.91, 5.8, 0.9, 30, -7, 0.00, 0.43, 0.3),
    (1.00, 6.7, 1.4, 30, -12, 0.00, 0.00, 0.0),
    (0.78, 7.5, 0.6, 12, -12, 0.00, 0.10, 0.7),
    (1.00, 0.0, 0.0, 15, 15, 0.27, 0.00, 0.0),
    (0.73, 2.7, 0.0, 3, 3, 0.81, 0.07, 10.0),
    (0.89, 7.2, 0.0, 16, 16, 0.28, 0.09, 1.4),
    (1.00, 0.0, 0.0, 5, -8, 0.03, 0.00, 3.1),
    (0.87, 3.2, 0.0, 30, -43, 0.00, 0.00, 2.2),
    (0.69, 6.2, 1.4, 30, 2, 0.18, 0.07, 2.2),
    (0.74, 10.2, 0.0, 13, -6, 0.13, 0.35, 1.3),
    (1.00, 5.3, 2.3, 12, 5, 0.00, 0.59, 0.0),
    (1.00, 0.0, 0.0, 4, 5, 0.00, 0.01, 0.0),
    (0.89, 7.0, 0.1, 5, -4, 0.00, 0.02, 0.0),
    (0.71, 5.0, 0.5, 3, -2, 0.00, 0.35, 1.7),
    (0.88, 3.0, 0.6, 7, 9, 0.00, 0.00, 6.4),
    (0.78, 0.8, 0.2, 30, -53, 0.80, 0.88, 3.7),
    (1.00, 6.2, 0.0, 14, 14, 0.15, 0.00, 3.8),
    (1.00, 0.0, 0.0, 30, -41, 0.00, 0.00, 0.0),
    (1.00, 15.0, 0.0, 30, 30, 0.00, 0.00, 0.0),
    (0.96, 4.5, 0.2, 30, 30, 0.00, 0.02, 1.2),
    (1.00, 0.0, 0.0, 6, 6, 0.00, 0.00, 0.0),
    (0.81, 1.7, 1.1, 7, 2, 0.00, 0.14, 4.7),
    (0.90, 3.3, 2.3, 6, 6, 0.00, 0.02, 3.7),
    (0.79, 0.2, 1.2, 30, -27, 0.00, 0.00, 3.1),
    (0.74, 4.8, 0.6, 6, 8, 0.00, 0.13, 5.1),
)
"""Purity, flatness, wander, neighbours, company, before, after, valley of forty beeps of 0.35 s and more,
drawn from what
hearing told of the music and ringtones of tests/realsounds.py (half A, at -25 dBFS)."""
TALK: tuple[Row, ...] = (
    (0.45, 4.3, 4.7, 30, -54, 0.00, 0.00, 6.3),
    (0.85, 5.8, 1.5, 5, 16, 0.00, 0.00, 2.1),
    (0.80, 3.7, 0.0, 30, 30, 0.00, 0.00, 2.3),
    (0.75, 3.7, 0.9, 11, 17, 0.00, 0.09, 5.5),
    (0.84, 4.9, 1.2, 11, 30, 0.32, 0.18, 5.5),
)
"""The same of all the beeps of 0.25 s and more in its spoken prompts (half A)."""


def voice(lot: random.Random, rows: Sequence[Row]) -> Character:
    """The character of one instrument, or one speaker's vowel: shared by its notes."""
    purity, flatness, wander, neighbours, company, before, after, valley = lot.choice(rows)
    return Character(
        purity=purity,
        flatness=flatness,
        wander=wander,
        neighbours=neighbours,
        company=company,
        before=before,
        after=after,
        valley=valley,
        spread=max(0.0, lot.gauss(0.006, 0.004)),
    )


def near(lot: random.Random, character: Character) -> Character:
    """The next note of the same voice."""
    return Character(
        purity=min(1.0, character.purity + lot.gauss(0, 0.02)),
        flatness=max(0.0, character.flatness + lot.gauss(0, 1)),
        wander=max(0.0, character.wander + lot.gauss(0, 0.2)),
        neighbours=min(30.0, max(3.0, character.neighbours + lot.gauss(0, 3))),
        company=max(-30.0, min(30.0, character.company + lot.gauss(0, 4))),
        before=character.before,
        after=character.after,
        valley=character.valley,
        spread=character.spread,
    )


def note(onset: float, duration: float, tone: float, character: Character) -> Beep:
    """A sound of the house that hearing takes for a beep."""
    return Beep(onset, duration, tone, -35.0, 5.0, onset + duration + 0.42, True, character)


def talk(lot: random.Random, start: float, seconds: float) -> Iterator[Beep]:
    """Speech: 684 beeps an hour, nearly Poisson, one in a hundred over 0.3 s (measured on spoken prompts)."""
    time = start
    while (time := time + lot.expovariate(684 / 3600)) < start + seconds:
        duration = min(3.0, 0.05 + lot.expovariate(1 / 0.055))
        yield note(time, duration, lot.uniform(400, 3500), voice(lot, TALK))


def length(lot: random.Random) -> float:
    """A note's length as hearing tells it, s: 79 % under 0.3 s, 16 % to 0.6 s, 5 % to 2.6 s (measured)."""
    draw = lot.random()
    low, high = (0.05, 0.3) if draw < 0.79 else (0.3, 0.6) if draw < 0.95 else (0.6, 2.6)
    return low * math.exp(lot.random() * math.log(high / low))


def tune(lot: random.Random, start: float, seconds: float) -> Iterator[Beep]:
    """Music: some 3600 beeps an hour (measured), in bars that repeat the same notes to 0.1 % in time and
    0.01 % in
    tone; hearing tells six of ten (judgement).
    """
    end = start + seconds
    time = start
    while time < end:
        bar = lot.uniform(1.5, 8.0)
        notes = [
            (lot.uniform(0, bar), length(lot), min(5000.0, 1320 * math.exp(lot.gauss(0, 0.75))), voice(lot, MUSIC))
            for _ in range(max(1, round(bar * lot.uniform(2.2, 5.5))))
        ]
        for repeat in range(lot.choice((1, 1, 2, 2, 4, 8))):
            for offset, duration, tone, character in notes:
                if lot.random() < 0.25:
                    begin = time + repeat * bar + offset + lot.gauss(0, 0.004)
                    alone = character if lot.random() < 0.6 else voice(lot, MUSIC)
                    yield note(begin, duration * (1 + lot.gauss(0, 0.06)), tone, near(lot, alone))
        time += bar * (repeat + 1) + lot.uniform(0, 3)


SOUNDER = Character(neighbours=26.0, company=24.0, flatness=1.0, valley=3.0)
"""A household beeper is as pure as the device's own."""


def beeper(lot: random.Random, start: float) -> Iterator[Beep]:
    """One household thing that beeps: its rhythm is what makes it known."""
    tone = lot.choice((1000.0, 2000.0, 2050.0, 2700.0, 3100.0, 4096.0)) * lot.uniform(0.98, 1.02)
    duration, period, count = lot.choice(
        [
            (0.5, 1.0, 40),  # reversing truck
            (0.6, 1.2, 5),  # microwave
            (1.0, 2.0, 5),  # another
            (0.3, 0.7, 10),  # washer
            (0.1, 50.0, 30),  # low-battery chirp
            (0.2, 1.0, 60),  # kitchen timer
            (0.13, 0.5, 80),  # quartz alarm clock
            (1.0, 1.0, 1),  # a single beep
            (0.4, 20.0, 4),  # a reminder
            (4.0, 60.0, 1),  # coffee machine
        ]
    )
    for index in range(count):
        yield note(start + index * period, duration, tone, near(lot, SOUNDER))


def ringing(lot: random.Random, start: float) -> Iterator[Beep]:
    """A telephone in the room: ringback or a bell, 1 s on / 4 s off or 2 s / 4 s (ITU-T E.180, from
    memory).
    """
    duration, period = lot.choice([(1.0, 5.0), (2.0, 6.0)])
    tone = lot.choice((425.0, 440.0, 1070.0))
    shape = Character(neighbours=4.0 if tone > 1000 else 26.0, company=8.0, flatness=3.0)
    for index in range(lot.randrange(3, 9)):
        yield note(start + index * period, duration, tone, near(lot, shape))


def house(lot: random.Random) -> list[Beep]:
    """The beeps of one night in which no alarm sounds."""
    beeps: list[Beep] = []
    for _ in range(lot.randrange(2, 6)):
        beeps += talk(lot, lot.uniform(0, NIGHT - 900), lot.uniform(60, 900))
    for _ in range(lot.randrange(0, 4)):
        beeps += tune(lot, lot.uniform(0, NIGHT - 1200), lot.uniform(60, 1200))
    for _ in range(lot.randrange(1, 5)):
        beeps += beeper(lot, lot.uniform(0, NIGHT - 1600))
    for _ in range(lot.randrange(0, 3)):
        beeps += ringing(lot, lot.uniform(0, NIGHT - 60))
    return beeps


# -- the alarms


@dataclass(frozen=True, slots=True)
class Truth:
    """The alarm of a night: its pattern, where its evidence is complete (s), breaths a minute."""

    pattern: str
    tone: float
    start: float
    enough: float
    rate: int


def alarm(lot: random.Random, ear: Ear, pattern: str, tone: float, taught: bool) -> tuple[Truth, list[Heard]]:
    """The beeps of one alarm, about twenty breaths or three tones, and the time at which it might be
    named.
    """
    start = lot.uniform(600, NIGHT - 1200)
    character = Character(neighbours=min(30.0, lot.gauss(*ear.score)), company=30.0, spread=0.001)
    rate = lot.choice(RATES)
    if pattern == "lead-disconnect":
        period = 60 / rate
        duration = min(1.5, 0.36 * period)
        onsets = [start + period * index for index in range(40)]
        enough = onsets[1 if taught else 2] + duration
    else:
        period, duration = (60.0, 20.0) if pattern == "battery-critical" else (3600.0, 10.0)
        onsets = [start + period * index for index in range(3 if period < 100 else 1)]
        early = taught and pattern == "battery-critical"
        enough = start + (13.0 if early else duration)
    beeps = [one for o in onsets if (one := heard(lot, ear, o, duration, tone=tone, character=near(lot, character)))]
    told: list[Heard] = [*beeps]
    if duration > 13:
        told += [Sounding(b.onset, 13.0, b.frequency, b.level, b.snr, b.onset + 13.1, True, b.character) for b in beeps]
    return Truth(pattern, tone, start, enough, rate), told
