"""A made-up house at night, as beeps without sound: talk, music, telephones, things that beep, and the alarms.

What hearing does to an alarm's beep at a given SNR, and what talk and music are like to it, was measured by
tests/bench/ears.py and is read from its `ears.json`. The house itself is judgement.
"""

import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeAlias

from beepwatch.events import Beep, Character, Heard, Sounding

NIGHT = 8 * 3600.0
"""s."""
NOTES = 4.0
"""Notes a second of music (judgement)."""
RATES = (6, 8, 10, 12, 15, 20, 25, 30, 35, 40)
"""Breaths a minute."""


MEASURED = json.loads((Path(__file__).parent / "results" / "ears.json").read_text("utf-8"))
"""What tests/bench/ears.py measured of hearing."""
Rows: TypeAlias = list[list[float]]


@dataclass(frozen=True, slots=True)
class Ear:
    """What hearing does to an alarm's beeps: see tests/bench/ears.py."""

    snr: int
    beeps: int
    missed: float
    onset: float
    length: float
    longer: float
    latency: list[float]
    broken: float
    extra: float
    characters: list[Rows]
    long_characters: list[Rows]


EARS = {one["snr"]: Ear(**one) for one in MEASURED["ears"]}
"""By SNR in 0-8 kHz, dB."""
HOUSE = {one["kind"]: one for one in MEASURED["house"]}
"""What hearing tells of talk and of music, at -25 dBFS."""
NAMES = tuple(MEASURED["names"])
"""Figures of a character that were measured, as its rows have them; any other is as by default."""


def character(row: Sequence[float]) -> Character:
    """A measured one."""
    return Character(**dict(zip(NAMES, row, strict=True)))


def heard(
    lot: random.Random, ear: Ear, onset: float, duration: float, *, tone: float, character: Character
) -> Beep | None:
    """One beep of an alarm as hearing tells it; None when it misses it."""
    if lot.random() < ear.missed:
        return None
    start = onset + lot.gauss(0, ear.onset)
    length = max(0.05, duration + lot.gauss(ear.longer, ear.length))
    known = max(onset + duration + lot.choice(ear.latency), start + length)
    return Beep(start, length, tone * (1 + lot.gauss(0, 2e-5)), -35.0, float(ear.snr), known, True, character)


# -- the house


def sound(lot: random.Random, kind: str) -> Beep:
    """One sound of those that hearing told of, at 0 s, its length moved by up to a tenth: none comes twice."""
    told = HOUSE[kind]
    long = lot.random() * told["an_hour"] < told["long_an_hour"]
    length, tone, snr, *row = lot.choice(told["long" if long else "short"])
    return note(0.0, length * lot.uniform(0.9, 1.1), tone, character(row), snr)


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


def note(onset: float, duration: float, tone: float, character: Character, snr: float = 5.0) -> Beep:
    """A sound of the house that hearing takes for a beep."""
    return Beep(onset, duration, tone, -35.0, snr, onset + duration + 0.42, True, character)


def moved(one: Beep, onset: float) -> Beep:
    """The same sound at another time."""
    return replace(one, onset=onset, known=onset + one.duration + 0.42)


def talk(lot: random.Random, start: float, seconds: float) -> Iterator[Beep]:
    """Speech: so many beeps an hour, of such lengths and tones, as were measured; nearly Poisson (judgement)."""
    time, told = start, HOUSE["talk"]
    while (time := time + lot.expovariate(told["an_hour"] / 3600)) < start + seconds:
        yield moved(sound(lot, "talk"), time)


def tune(lot: random.Random, start: float, seconds: float) -> Iterator[Beep]:
    """Music: as many beeps an hour as were measured, in bars that repeat the same notes to 0.1 % in time and 0.01 % in
    tone; of the notes hearing tells some each time (judgement).
    """
    end, time, told = start + seconds, start, HOUSE["music"]
    share = told["an_hour"] / 3600 / NOTES
    while time < end:
        bar = lot.uniform(1.5, 8.0)
        count = max(1, round(bar * NOTES * lot.uniform(0.6, 1.4)))
        notes = [(lot.uniform(0, bar), sound(lot, "music")) for _ in range(count)]
        for repeat in range(lot.choice((1, 1, 2, 2, 4, 8))):
            for offset, one in notes:
                if lot.random() < share:
                    begin = time + repeat * bar + offset + lot.gauss(0, 0.004)
                    own = one if lot.random() < 0.6 else sound(lot, "music")
                    again = replace(one, duration=one.duration * (1 + lot.gauss(0, 0.06)))
                    yield moved(replace(again, character=near(lot, own.character)), begin)
        time += bar * (repeat + 1) + lot.uniform(0, 3)


MAKERS = 0.02
"""Relative sd of one maker's times from the next one's (judgement)."""
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
    duration, period = duration * lot.gauss(1.0, MAKERS), period * lot.gauss(1.0, MAKERS)
    for index in range(count):
        yield note(start + index * period, duration, tone, near(lot, SOUNDER))


def ringing(lot: random.Random, start: float) -> Iterator[Beep]:
    """A telephone in the room: ringback or a bell, 1 s on / 4 s off or 2 s / 4 s (ITU-T E.180, from memory)."""
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
    """The beeps of one alarm, about twenty breaths or three tones, and the time at which it might be named."""
    start = lot.uniform(600, NIGHT - 1200)
    rate = lot.choice(RATES)
    if pattern == "lead-disconnect":
        period = 60 / rate
        duration = min(1.5, 0.36 * period)
        onsets = [start + period * index for index in range(40)]
        enough = onsets[1 if taught else 2] + duration
        return Truth(pattern, tone, start, enough, rate), breaths(lot, ear, onsets, duration, tone)
    period, duration = (60.0, 20.0) if pattern == "battery-critical" else (3600.0, 10.0)
    onsets = [start + period * index for index in range(3 if period < 100 else 1)]
    early = taught and pattern == "battery-critical"
    truth = Truth(pattern, tone, start, start + (13.0 if early else duration), rate)
    return truth, long_tones(lot, ear, onsets, duration, tone)


def breaths(lot: random.Random, ear: Ear, onsets: Sequence[float], duration: float, tone: float) -> list[Heard]:
    """Breath beeps in one room, with what else is told on their tone."""
    told: list[Heard] = []
    scene = lot.choice(ear.characters)
    for onset in onsets:
        one = heard(lot, ear, onset, duration, tone=tone, character=character(lot.choice(scene)))
        told += [] if one is None else [one]
        if lot.random() < ear.extra:
            begin, length = onset + lot.uniform(-0.3, duration), lot.uniform(0.06, 0.4)
            told.append(replace(note(begin, length, tone, character(lot.choice(scene))), snr=float(ear.snr)))
    return told


def long_tones(lot: random.Random, ear: Ear, onsets: Sequence[float], duration: float, tone: float) -> list[Heard]:
    """Long tones in one room: none is missed, some come in two pieces with a hole of up to 1 s (judgement)."""
    told: list[Heard] = []
    scene, whole = lot.choice(ear.long_characters), replace(ear, missed=0.0)
    for onset in onsets:
        parts = [(onset, duration)]
        if lot.random() < ear.broken:
            cut, hole = lot.uniform(0.2, 0.8) * duration, lot.uniform(0.2, 1.0)
            parts = [(onset, cut), (onset + cut + hole, duration - cut - hole)]
        for begin, length in parts:
            one = heard(lot, whole, begin, length, tone=tone, character=character(lot.choice(scene)))
            if one is not None:
                told.append(one)
                if length > 13:
                    known = one.onset + 13.1
                    told.append(Sounding(one.onset, 13.0, tone, one.level, one.snr, known, True, one.character))
    return told
