"""What each figure of a beep's character is worth, and what the sounds of a house are like.

`python -m tests.bench.features` hears the recordings of tests/realsounds.py (none is a device's alarm) and
lead-disconnect in rooms as `beepwatch.synthesis` makes them, and prints
- beeps an hour of the recordings by length,
- the quartiles of every figure, alarm beeps against all others of a breath's length,
- the ablation: without one figure, how many of the others still pass where 95 % of the alarm beeps do, how many chains
  of three beeps or more reach S 0, 2 and 4 in NIGHTS simulated nights of a house (in these recordings none does), and
  how late lead-disconnect is raised in the scenes.
Recordings are split in two halves by their SHA-256: weights were set looking at half A alone, half B checks them.
It writes the ablation to `features.json` in tests/bench/results, and takes some three minutes on one core.
"""

import hashlib
import json
import math
import random
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from statistics import median, quantiles
from typing import TypeAlias

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from beepwatch.events import Beep, Character, Event, Heard, Raised
from beepwatch.patterns import Matcher
from beepwatch.patterns.evidence import sounder
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.synthesis.scenario import Background, NoiseName, Ring, Room, Scenario
from beepwatch.synthesis.scene import render
from tests.bench.household import NAMES, house
from tests.bench.nights import by_time, fingerprint
from tests.bench.reading import ratios
from tests.realsounds import sounds

FOLDER = Path(__file__).parent / "results"
LEVEL = -25.0
"""dBFS of each recording's loud parts."""
FLOOR = -69.0
"""dBFS of white noise added, so that no recording is digitally silent."""
BREATH = (0.4, 2.6)
"""s: lengths that might be a breath's beep."""
BACKGROUNDS: tuple[NoiseName, ...] = ("white", "pink", "fan", "breathing", "recording")
BUZZER = Character()
Names: TypeAlias = tuple[str, ...]
NIGHTS = 60
"""Of tests/bench/household.py, whose talk and music have measured characters."""
BOUNDS = (0.0, 2.0, 4.0)
"""S, nats."""
LITTLE: Names = ("before", "after", "valley", "spread")
"""Figures that are left out together, too."""


@dataclass(frozen=True, slots=True)
class Without:
    """What comes of leaving one figure out."""

    figure: str
    """Its name; empty for none."""
    others_pass_percent: float
    """Beeps of half B that pass where 95 % of the alarm's do."""
    raised: tuple[int, int, int]
    """Chains of three or more beeps in NIGHTS nights of the house, one a tone, that reach BOUNDS."""
    late_median: float
    late_p95: float
    never: int
    """Of the scenes."""

    def line(self) -> str:
        """For reading."""
        loose, middle, tight = self.raised
        return (
            f"{self.figure or '(nothing)':30} {self.others_pass_percent:13.1f} {loose:12} {middle:5} {tight:5}"
            f" {self.late_median:16.2f} {self.late_p95:5.1f} {self.never:6}"
        )


@dataclass(frozen=True, slots=True)
class Sounded:
    """What hearing told of one recording or scene."""

    half: str
    seconds: float
    told: tuple[Heard, ...]
    truth: tuple[tuple[float, float], ...] = ()
    """Onset and length of the alarm's beeps."""
    tone: float = 0.0

    def beeps(self) -> list[Beep]:
        """The beeps alone."""
        return [one for one in self.told if isinstance(one, Beep)]


def hear(samples: NDArray[np.float32]) -> tuple[Heard, ...]:
    """All that hearing tells of samples at RATE."""
    recognizer = Recognizer()
    told: list[Event] = []
    for start in range(0, len(samples), RATE):
        told += recognizer.push(samples[start : start + RATE])
    told += recognizer.flush()
    return tuple(one for one in told if isinstance(one, Heard))


def mono(path: Path) -> NDArray[np.float32]:
    """A recording at RATE, one channel, its loud parts at LEVEL."""
    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    one = soxr.resample(samples.mean(axis=1), rate, RATE) if rate != RATE else samples.mean(axis=1)
    pieces = [float(np.mean(one[i : i + RATE // 10] ** 2)) for i in range(0, len(one), RATE // 10)]
    loud = [piece for piece in pieces if piece > max(pieces) / 100]
    gain = 10 ** (LEVEL / 20) / math.sqrt(2 * max(sum(loud) / max(1, len(loud)), 1e-12))
    level: NDArray[np.float32] = np.clip(one * gain, -1, 1).astype(np.float32)
    return level


def recordings() -> Iterator[Sounded]:
    """Every recording, a second of silence before and after."""
    rng = np.random.default_rng(1)
    for sound in sounds():
        one = mono(sound.path)
        if len(one) < RATE // 100:
            continue
        quiet = np.zeros(RATE, np.float32)
        samples = np.concatenate([quiet, one, quiet])
        samples += rng.normal(0, 10 ** (FLOOR / 20), len(samples)).astype(np.float32)
        even = int(hashlib.sha256(sound.path.read_bytes()).hexdigest()[:2], 16) % 2 == 0
        yield Sounded("A" if even else "B", len(samples) / RATE, hear(samples))


def scenes() -> Iterator[Sounded]:
    """Lead-disconnect in rooms, eight breaths each, at several SNR."""
    speech = np.concatenate([mono(s.path) for s in sounds() if s.package.startswith("asterisk-core")][:60])
    for seed, (kind, snr) in enumerate(product(BACKGROUNDS, (10.0, 0.0, -8.0))):
        lot = np.random.default_rng(seed)
        ring = Ring(
            pattern="lead-disconnect",
            start=4.0,
            count=8,
            breaths_a_minute=float(lot.uniform(10, 22)),
            length=float(lot.uniform(0.9, 1.2)),
            tone=float(lot.uniform(1900, 4300)),
            drift=0.2,
        )
        scenario = Scenario(
            duration=60.0,
            seed=seed,
            level=-46.0,
            snr=snr,
            background=Background(kind=kind, file="speech" if kind == "recording" else None),
            room=Room(t60=float(lot.uniform(0.25, 0.55))),
            alarms=(ring,),
        )
        scene = render(scenario, speech if kind == "recording" else None)
        truth = tuple((one.onset, one.offset - one.onset) for one in scene.truth.beeps)
        yield Sounded("scene", 60.0, hear(scene.samples), truth, ring.tone or 0.0)


def alarm_beeps(scene: Sounded) -> list[Beep]:
    """The beeps that are the alarm's own."""
    return [
        beep
        for beep in scene.beeps()
        if any(abs(beep.onset - onset) < 0.2 and abs(beep.duration - length) < 0.25 for onset, length in scene.truth)
        and abs(beep.frequency / scene.tone - 1) < 0.01
    ]


def without(names: Names, told: Sequence[Heard]) -> Iterator[Heard]:
    """The same with some figures set to a buzzer's."""
    for one in told:
        if not isinstance(one, Beep):
            yield one
        else:
            yield replace(one, character=replace(one.character, **{name: getattr(BUZZER, name) for name in names}))


def chains(nights: Sequence[Sequence[Beep]], names: Names) -> list[float]:
    """S of the best chain of each tone that looked like lead-disconnect in nights of the house."""
    return [max(line) for night in nights for line in ratios([*without(names, night)], "lead-disconnect")]


def late(scene: Sounded, names: Names) -> float:
    """Seconds after the end of the third breath's beep at which lead-disconnect is raised; inf for never."""
    matcher = Matcher()
    for event in without(names, scene.told):
        for out in matcher.hear(event):
            if isinstance(out, Raised) and out.alarm.pattern == "lead-disconnect":
                return out.at - sum(scene.truth[2])
    return math.inf


def table(heard: Sequence[Sounded], staged: Sequence[Sounded]) -> list[Without]:
    """Print all three tables; return the ablation."""
    write = sys.stdout.write
    hours = sum(one.seconds for one in heard) / 3600
    every = [beep for one in heard for beep in one.beeps()]
    write(f"{len(heard)} recordings, {hours:.2f} h, {len(every)} beeps; an hour by length: ")
    for low, high in ((0, 0.3), (0.3, 0.6), (0.6, 2.6), (2.6, 8.5), (8.5, 11.5), (11.5, 17), (17, 23)):
        write(f"{low}-{high} s {sum(low <= b.duration < high for b in every) / hours:.1f}  ")
    own = [beep for scene in staged for beep in alarm_beeps(scene)]
    other = [b for one in heard if one.half == "B" for b in one.beeps() if BREATH[0] <= b.duration <= BREATH[1]]
    write(f"\n\nfigure      quartiles of {len(own)} alarm beeps    of {len(other)} others (half B)\n")
    for figure in NAMES:
        parts = [quantiles([float(getattr(b.character, figure)) for b in group], n=4) for group in (own, other)]
        write(f"{figure:11} " + "    ".join("/".join(f"{q:7.2f}" for q in part) for part in parts) + "\n")
    write("\nwithout                        others pass %  chains S>=0 S>=2 S>=4   late s: median  95 %  never\n")
    rows: list[Without] = []
    masks: list[Names] = [(), *((name,) for name in NAMES), LITTLE]
    lot = random.Random(1)
    nights = [sorted(house(lot), key=by_time) for _ in range(NIGHTS)]
    for names in masks:
        cut = sorted(sounder(b.character) for b in without(names, own) if isinstance(b, Beep))[len(own) // 20]
        passing = sum(sounder(b.character) >= cut for b in without(names, other) if isinstance(b, Beep)) / len(other)
        best = chains(nights, names)
        counts = [sum(one >= bound for one in best) for bound in BOUNDS]
        delays = sorted(late(scene, names) for scene in staged)
        never = sum(map(math.isinf, delays))
        late_at = (median(delays), delays[int(0.95 * len(delays))])
        rows.append(Without(", ".join(names), 100 * passing, (counts[0], counts[1], counts[2]), *late_at, never))
        write(rows[-1].line() + "\n")
    return rows


def keep(rows: Sequence[Without], path: Path) -> None:
    """Write the ablation, with its date and what was measured."""
    codes = {"hearing": fingerprint("hearing"), "patterns": fingerprint()}
    whole = {"date": datetime.now(UTC).date().isoformat()} | codes | {"without": [asdict(row) for row in rows]}
    path.write_text(json.dumps(whole, indent=1).replace("Infinity", "null") + "\n", "utf-8")


if __name__ == "__main__":
    keep(table(list(recordings()), list(scenes())), FOLDER / "features.json")
