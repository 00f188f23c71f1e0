"""What hearing makes of alarms in rooms and of ordinary sound: what tests/bench/household.py simulates with.

`python -m tests.bench.ears [--rooms 4] [--seed 700] [--out FOLDER]` hears
- lead-disconnect and battery-critical in image-source rooms over seven backgrounds (tests/bench/stages.py) at each
  SNR: the share missed, the errors of onset and length, how long after its end a beep is told, how often a long tone
  comes in pieces, other sounds told on the alarm's own tone, and the characters of the beeps;
- the speech, music and ringtones of tests/realsounds.py: beeps an hour, their lengths, the characters of the longer.
It prints them and writes `ears.json` in FOLDER (tests/bench/results). Some four minutes of one core.
"""

import argparse
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from pathlib import Path
from statistics import pstdev
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep, Character
from beepwatch.hearing import RATE
from tests.bench.nights import fingerprint
from tests.bench.stages import NOISES, Stage, alarm
from tests.hearing.scenes import beeps, hear
from tests.realsounds import mono, sounds

FOLDER = Path(__file__).parent / "results"
SNRS = (10, 0, -8, -14, -18)
BEDS = (*NOISES, "speech", "music", "snoring")
ROWS = 300
"""Short and long sounds kept of each kind of ordinary sound, drawn at random."""
LONG = 2.0
"""s from which a sound is long: Character.spread is told from there."""
SCENES = 14
"""Scenes of which the characters are kept for each SNR: the beeps of one room are alike."""
LOUD = 10 ** (-25 / 20)
"""RMS of a recording's loud parts over a sine's, full scale 1: -25 dBFS."""
FLOOR = 10 ** (-69 / 20)
"""RMS of white noise under the recordings, so that none is digitally silent."""
HOUSE = {
    "talk": ("asterisk-core-sounds-en-wav",),
    "music": ("asterisk-moh-opsound-wav", "lomiri-sounds", "oxygen-sounds", "twinkle-common"),
}
NAMES = tuple(field.name for field in fields(Character) if field.name != "settled")
"""Those of a character that are numbers in every beep."""
Rows: TypeAlias = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Ear:
    """What hearing does to an alarm's beeps at one SNR."""

    snr: int
    beeps: int
    missed: float
    """Share."""
    onset: float
    """sd, s."""
    length: float
    """sd, s."""
    longer: float
    """Mean error of a length, s."""
    latency: tuple[float, ...]
    """s from a beep's true end until it is told: quantiles 0, 5 ... 100 %."""
    broken: float
    """Share of 20 s tones that come in pieces."""
    extra: float
    """Other sounds told on the alarm's own tone, a beep."""
    characters: tuple[Rows, ...]
    """Of whole breath beeps, scene by scene, each in the order of `Character`."""
    long_characters: tuple[Rows, ...]
    """Of whole long tones."""


@dataclass(frozen=True, slots=True)
class Ordinary:
    """What hearing tells of ordinary sound."""

    kind: str
    hours: float
    an_hour: float
    long_an_hour: float
    short: Rows
    """Length (s), tone (Hz), SNR (dB), then the character, in the order of NAMES."""
    long: Rows
    """The same of sounds of LONG and more."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One beep of an alarm: where it was, and what hearing told of it."""

    onset: float
    length: float
    told: Beep | None
    others: int
    """Further sounds of its tone while it sounded."""


def row(character: Character) -> tuple[float, ...]:
    """Its figures, rounded."""
    return tuple(round(float(getattr(character, name)), 4) for name in NAMES)


def of(stage: Stage) -> list[Heard]:
    """The beeps of one scene."""
    told = [one for one in beeps(hear(stage.sound())) if abs(one.frequency / stage.tone - 1) < 0.01]
    found: list[Heard] = []
    for onset, length in stage.pulses:
        there = [one for one in told if one.onset < onset + length + 0.5 and one.end > onset - 0.5]
        whole = [one for one in there if abs(one.duration - length) < 0.3 * length and abs(one.onset - onset) < 0.3]
        best = min(whole, key=lambda one: abs(one.onset - onset), default=None)
        found.append(Heard(onset, length, best, len(there) - (best is not None)))
    return found


def ear(snr: int, rooms: int, seed: int) -> Ear:
    """One SNR, in `rooms` rooms over each background."""
    lots = [(bed, seed + 100 * number + place) for place, bed in enumerate(BEDS) for number in range(rooms)]
    breaths = [of(alarm("lead-disconnect", bed, snr, lot)) for bed, lot in lots]
    tones = [of(alarm("battery-critical", bed, snr, lot + 50)) for bed, lot in lots[::2]]
    short, long = [one for scene in breaths for one in scene], [one for scene in tones for one in scene]
    pairs = [(one, one.told) for one in short if one.told]
    longer = [told.duration - one.length for one, told in pairs]
    return Ear(
        snr=snr,
        beeps=len(short),
        missed=round(sum(one.told is None for one in short) / len(short), 4),
        onset=round(pstdev(told.onset - one.onset for one, told in pairs), 4),
        length=round(pstdev(longer), 4),
        longer=round(sum(longer) / len(longer), 4),
        latency=tuple(
            np.quantile([told.known - one.onset - one.length for one, told in pairs], np.linspace(0, 1, 21))
            .round(3)
            .tolist()
        ),
        broken=round(sum(one.told is None for one in long) / len(long), 3),
        extra=round(sum(one.others for one in short) / len(short), 4),
        characters=by_scene(breaths),
        long_characters=by_scene(tones),
    )


def by_scene(scenes: Sequence[Sequence[Heard]]) -> tuple[Rows, ...]:
    """Characters of SCENES of these, those in which a beep was heard."""
    rows = [tuple(row(one.told.character) for one in scene if one.told) for scene in scenes]
    some = [one for one in rows if one]
    chosen = np.random.default_rng(1).permutation(len(some))[:SCENES]
    return tuple(some[place] for place in sorted(chosen))


def drawn(told: Sequence[Beep]) -> Rows:
    """ROWS of these beeps at most."""
    chosen = np.random.default_rng(1).permutation(len(told))[:ROWS]
    some = [told[place] for place in sorted(chosen)]
    return tuple((round(b.duration, 3), round(b.frequency, 1), round(b.snr, 1), *row(b.character)) for b in some)


def levelled(path: Path) -> NDArray[np.float32]:
    """A recording with its loud parts at LOUD."""
    one = mono(path)
    power = np.array([np.mean(one[i : i + RATE // 10] ** 2) for i in range(0, len(one), RATE // 10)])
    loud = power[power > power.max() / 100] if power.max() > 0 else power
    gain = LOUD / np.sqrt(2 * max(float(loud.mean()), 1e-12))
    return np.asarray(np.clip(one * gain, -1, 1), np.float32)


def ordinary(kind: str, packages: Sequence[str]) -> Ordinary:
    """Recordings one after another, a second of quiet between them."""
    seconds, told = 0.0, []
    rng = np.random.default_rng(2)
    for sound in sounds():
        if sound.package in packages:
            samples = np.concatenate([np.zeros(RATE, np.float32), levelled(sound.path), np.zeros(RATE, np.float32)])
            told += beeps(hear(samples + rng.normal(0, FLOOR, len(samples)).astype(np.float32)))
            seconds += len(samples) / RATE
    hours = seconds / 3600
    long = [one for one in told if one.duration >= LONG]
    return Ordinary(
        kind=kind,
        hours=round(hours, 3),
        an_hour=round(len(told) / hours, 1),
        long_an_hour=round(len(long) / hours, 1),
        short=drawn([one for one in told if one.duration < LONG]),
        long=drawn(long),
    )


def main() -> None:
    """Measure, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.ears", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--rooms", type=int, default=4, help="for each background and SNR")
    made.add_argument("--seed", type=int, default=700)
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args()
    told = {"date": datetime.now(UTC).date().isoformat(), "hearing": fingerprint("hearing"), "names": NAMES}
    ears, house = [], []
    for snr in SNRS:
        ears.append(ear(snr, options.rooms, options.seed))
        print({key: value for key, value in asdict(ears[-1]).items() if "characters" not in key}, flush=True)
    for kind, packages in HOUSE.items():
        house.append(ordinary(kind, packages))
        print({key: value for key, value in asdict(house[-1]).items() if key not in {"short", "long"}}, flush=True)
    whole = told | {"ears": [asdict(one) for one in ears], "house": [asdict(one) for one in house]}
    text = json.dumps(whole, indent=None, separators=(",", ":"))
    (options.out / "ears.json").write_text(text.replace("],[", "],\n[").replace('{"', '\n{"') + "\n", "utf-8")


if __name__ == "__main__":
    main()
