"""How well alarms are named: in rooms, in ordinary recordings, beside other makers' beeps, and what it costs.

`python -m tests.bench.naming [--quick] [--seed 1] [--only SECTION] [--out FOLDER]` prints one table a section and
writes `naming.json` in FOLDER (tests/bench/results):
- rooms: every alarm in furnished-room echo at +10 to -14 dB in noise, talk, music and snoring (tests/bench/stages.py),
  untaught and told its tone 1 or 2 % wrong: named, wrongly named, split in two, and how late;
- late: lead-disconnect of those scenes by background and SNR;
- prompt: how soon the device's urgent alarms are named at 0 dB and better, by 60 scenes or more a row, also by two
  microphones;
- missed: simulated breaths of which 20 or 40 % go unheard, or that wander by 10 %: breaths until named;
- makers: other makers' beeps, untaught and told their own tone;
- recordings: every sound of tests/realsounds.py at four levels: untaught; the same beeps with each of 20 tones taught
  to naming alone; and, at -25 dBFS, four of the tones taught to hearing as well;
- cost: processor time of naming over that of hearing, in a quiet night and in music.
One core. The whole takes some twenty-five minutes; `--quick` is a tenth of each section.
"""

import argparse
import json
import math
import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep, Character, Heard, Noise, Raised, Sounding
from beepwatch.hearing import RATE, Hearing
from beepwatch.patterns import Matcher, judge
from beepwatch.patterns.memory import KIN, METER
from beepwatch.synthesis import noise
from tests.bench.counting import rate_bounds
from tests.bench.household import EARS, heard
from tests.bench.nights import DEVICE, fingerprint
from tests.bench.outcomes import Figures, Outcome, Row, judged, matched, summed, tone_told, where, woke
from tests.bench.stages import NOISES, Stage, alarm, alarms, makers, music
from tests.hearing.scenes import hear
from tests.realsounds import PACKAGES, mono, sounds

FOLDER = Path(__file__).parent / "results"
LEVELS = (-45.0, -35.0, -25.0, -15.0)
FLOOR = -69.0
"""dBFS of white noise under the recordings, so that none is digitally silent."""
TAUGHT_TONES = tuple(float(tone) for tone in np.geomspace(1900, 4100, 20).round())
TRACKS = (("none", 0.0, 0.0), ("wander 10 %", 0.0, 0.1), ("20 % missed", 0.2, 0.0), ("40 % missed", 0.4, 0.0))
"""Simulated breaths: share that goes unheard, relative sd of the periods."""

SCENES = 8
"""Scenes of each line of PROMPT: 64 a row, so that where none fails 95 % or more would not (rule of three)."""
WITHIN = (5, 8, 18)
"""s within which `prompt` counts them, beside the second of every row."""
PROMPT = {
    "breaths in noise": tuple(product(("lead-disconnect",), NOISES, (10.0, 0.0))),
    "breaths in talk and music": tuple(product(("lead-disconnect",), ("speech", "music") * 2, (10.0, 0.0))),
    "20 s tones": tuple(product(("battery-critical",), ("white", "pink", "speech", "music"), (10.0, 0.0))),
}
"""Kind, background and SNR of the scenes of `prompt`."""


# -- the sections


def rooms(seed: int, share: int) -> Iterator[Row]:
    """Every alarm in rooms, untaught and taught; then how late lead-disconnect is, by background and SNR."""
    every = alarms(seed)[::share]
    told = {taught: [_judge(stage, taught) for stage in every] for taught in (False, True)}
    for kind in dict.fromkeys(stage.kind for stage in every):
        for taught, outcomes in told.items():
            yield summed("rooms", f"{kind}, {_word(taught)}", [one for one in outcomes if one.stage.kind == kind])
    for taught, outcomes in told.items():
        breaths = [one for one in outcomes if one.stage.kind == "lead-disconnect"]
        for title, of in (
            ("noise", lambda one: one.stage.background in NOISES),
            ("noise, -8 dB and better", lambda one: one.stage.background in NOISES and one.stage.snr >= -8),
            ("talk, music, snoring", lambda one: one.stage.background not in NOISES),
            ("the same, 0 dB and better", lambda one: one.stage.background not in NOISES and one.stage.snr >= 0),
        ):
            yield summed("late", f"{title}, {_word(taught)}", [one for one in breaths if of(one) and one.able])
        errors = [one.error for one in breaths if one.error is not None and one.stage.snr >= 0]
        yield Row("period", _word(taught), {"alarms": len(errors), "most_percent": 100 * max(errors, default=0.0)})


def prompt(seed: int, share: int) -> Iterator[Row]:
    """Lead-disconnect, 8 to 30 breaths a minute, and battery-critical, +10 and 0 dB: untaught, taught, by two ears."""
    for title, every in PROMPT.items():
        stages = [
            _paced(kind, bed, snr, 1000 * seed + 300 + place)
            for place, (kind, bed, snr) in enumerate(every[::share] * SCENES)
        ]
        for taught, two in ((False, False), (True, False), (False, True)):
            outcomes = [_judge(stage, taught, two=two) for stage in stages]
            row = summed("prompt", f"{title}, {'two microphones' if two else _word(taught)}", outcomes)
            late = [one.late for one in outcomes if one.late is not None]
            yield replace(row, figures=row.figures | {f"in_{s}_s": sum(one <= s for one in late) for s in WITHIN})


def _paced(kind: str, background: str, snr: float, seed: int) -> Stage:
    """An alarm of stages.py; of lead-disconnect the breaths come faster or slower than there.

    At over 26 a minute none takes more than 0.42 of its time: the profile says that such a one waits.
    """
    stage = alarm(kind, background, snr, seed)
    if kind != "lead-disconnect":
        return stage
    rng = np.random.default_rng([seed, 5])
    period = 60 / float(rng.uniform(8, 30))
    length = min(float(rng.uniform(0.9, 1.4)), (0.5 if period > 2.3 else 0.42) * period)
    pulses = tuple((3.0 + period * k, length) for k in range(12))
    return replace(stage, pulses=pulses, seconds=pulses[-1][0] + length + 4)


def _judge(stage: Stage, taught: bool, *, two: bool = False) -> Outcome:
    """two: heard by two microphones instead of one."""
    tone = tone_told(stage) if taught else None
    told = hear(stage.by_two(), 2, tone) if two else hear(stage.sound(), tone=tone)
    return judged(stage, told, tone)


def others(seed: int, share: int) -> Iterator[Row]:
    """Other makers' beeps, by thing.

    device_alarms: scenes in which one was raised; renamed: those of them that lost the name again. A 47 s tone that is
    the taught one is named at 13 s, as a battery alarm must be, and renamed as it passes 23 s.
    """
    every = makers(seed)[::share]
    for taught in (False, True):
        for kind in dict.fromkeys(stage.kind for stage in every):
            outcomes = [_judge(stage, taught) for stage in every if stage.kind == kind]
            right = sum(one.late is not None for one in outcomes)
            wrong = [one for one in outcomes if any(name.split(" at ")[0] in DEVICE for name in one.wrong)]
            figures: Figures = {"scenes": len(outcomes), "device_alarms": len(wrong), "named": right}
            figures["renamed"] = sum(one.wrong[-1].startswith("unknown") for one in wrong)
            figures["woke_otherwise"] = sum(bool(one.wrong) for one in outcomes) - len(wrong)
            worst = tuple(f"{where(one)}: {', '.join(one.wrong)}" for one in outcomes if one.wrong)
            yield Row("makers", f"{kind}, {_word(taught)}", figures, worst)


def missed(seed: int, share: int) -> Iterator[Row]:
    """Breaths until lead-disconnect is named, in a quiet room, as hearing tells beeps at 0 dB (EARS)."""
    for taught, (title, lost, wander) in product((False, True), TRACKS):
        lot = random.Random(seed)
        counts = sorted(_breaths(lot, lost, wander, taught) for _ in range(600 // share))
        figures: Figures = {"tracks": len(counts), "never": sum(map(math.isinf, counts))}
        figures |= {key: counts[int(q * (len(counts) - 1))] for key, q in (("median", 0.5), ("p95", 0.95))}
        yield Row("missed", f"{title}, {_word(taught)}", figures)


def _breaths(lot: random.Random, lost: float, wander: float, taught: bool) -> float:
    """Breaths until named; inf for not within 40."""
    tone, period, onset = lot.uniform(1900, 4100), 60 / lot.uniform(9, 24), 10.0
    matcher = Matcher(tone * 1.02 if taught else None)
    for count in range(1, 41):
        one = heard(lot, EARS[0], onset, 0.36 * period, tone=tone, character=Character(neighbours=26.0))
        onset += period * max(0.5, 1 + lot.gauss(0, wander))
        if one is not None and lot.random() >= lost and any(isinstance(out, Raised) for out in matcher.hear(one)):
            return float(count)
    return math.inf


# -- recordings


def at_level(path: Path, level: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """A recording with its loud parts at `level` dBFS, 1 s of hiss before and after; empty if it is silent."""
    one = mono(path)
    pieces = [float(np.mean(one[i : i + RATE // 10] ** 2)) for i in range(0, len(one), RATE // 10)]
    loud = [piece for piece in pieces if piece > max(pieces) / 100]
    if len(one) < RATE // 100 or not loud:
        return np.zeros(0, np.float32)
    gain = 10 ** (level / 20) / math.sqrt(2 * sum(loud) / len(loud))
    line = np.concatenate([np.zeros(RATE), np.clip(one * gain, -1, 1), np.zeros(RATE)])
    return np.asarray(line + rng.normal(0, 10 ** (FLOOR / 20), len(line)), np.float32)


def heard_all(
    level: float, share: int, tone: float | None, packages: Sequence[str] = PACKAGES
) -> tuple[list[Heard], list[tuple[float, str]], float]:
    """All that one hearing tells of every `share`-th recording, one after another; where each begins; s in all."""
    hearing, rng = Hearing(tone=tone), np.random.default_rng(1)
    told: list[Heard] = []
    begins: list[tuple[float, str]] = []
    for sound in sounds(packages=packages)[::share]:
        begins.append((hearing.position / RATE, sound.path.name))
        told += hearing.push(at_level(sound.path, level, rng)[None])
    return told + hearing.flush(), begins, hearing.position / RATE


def recordings(told: Sequence[Heard], begins: Sequence[tuple[float, str]], tone: float | None) -> tuple[str, ...]:
    """Each alarm that wakes in the recordings, with where and why."""
    events = matched(told, tone)
    new = woke(events)
    names = [next((name for at, name in reversed(begins) if at <= one.alarm.onset + 0.5), "") for one in new]
    return tuple(
        f"{name}, taught {tone or 0:.0f} Hz: {one.alarm.pattern}: {one.alarm.why}"
        for name, one in zip(names, new, strict=True)
    )


def recorded(share: int) -> Iterator[Row]:
    """Four levels, untaught, and the same beeps with each of TAUGHT_TONES taught; then some heard with the tone too."""
    hours, every, taught, close = 0.0, tuple[str, ...](), tuple[str, ...](), tuple[str, ...]()
    tones = TAUGHT_TONES[:: min(share, 10)]
    for level in LEVELS:
        told, begins, seconds = heard_all(level, share, None)
        wakes = recordings(told, begins, None)
        long = sum(isinstance(e, Beep) and 8.3 <= e.duration <= 24 and e.frequency >= 800 for e in told)
        yield counted(f"untaught, {level:g} dBFS", seconds / 3600, wakes, {"long_tones": long})
        hours, every = hours + seconds / 3600, (*every, *wakes)
        for tone in tones:
            some = near(told, tone)
            taught = (*taught, *recordings(some, begins, tone))
            with known_to(0.01):
                close = (*close, *recordings(some, begins, tone))
    yield counted("untaught, all levels", hours, every, {})
    yield counted(f"{len(tones)} tones taught to naming, +-3 %", len(tones) * hours, taught, {})
    yield counted(f"{len(tones)} tones taught to naming, +-1 %", len(tones) * hours, close, {})
    hours, taught = 0.0, ()
    for tone in tones[:: max(1, len(tones) // 4)]:
        told, begins, seconds = heard_all(-25.0, share, tone)
        hours, taught = hours + seconds / 3600, (*taught, *recordings(told, begins, tone))
    yield counted("some of them taught to hearing too", hours, taught, {})


def near(told: Sequence[Heard], tone: float) -> list[Heard]:
    """What of all that was heard can matter to alarms on a tone."""
    return [one for one in told if _matters(one, tone)]


def _matters(one: Heard, tone: float) -> bool:
    """Whether a sound can have a part in an alarm on a tone (all its harmonics), counts as foreign to it, or as a drone
    beside it."""
    if isinstance(one, Noise | Sounding):
        return True
    close = any(abs(one.frequency / (tone * ratio) - 1) < 0.05 for ratio in KIN)
    return close or (isinstance(one, Beep) and one.duration >= METER[1])


def counted(title: str, hours: float, wakes: tuple[str, ...], more: Figures) -> Row:
    """A row of wakes with their 95 % bound an hour (rule of three for none)."""
    figures: Figures = {"hours": hours, "wakes": len(wakes), "wakes_an_hour_below": rate_bounds(len(wakes), hours)[1]}
    return Row("recorded", title, figures | more, wakes)


@contextmanager
def known_to(tolerance: float) -> Iterator[None]:
    """The taught tone is known to `tolerance` (relative) while this lasts."""
    usual, judge.TAUGHT = judge.TAUGHT, tolerance
    try:
        yield
    finally:
        judge.TAUGHT = usual


# -- cost


def cost(share: int) -> Iterator[Row]:
    """Processor time of naming over hearing's."""
    seconds = 3600 // share
    quiet = np.float32(10 ** (-66 / 20)) * noise("pink", seconds * RATE, np.random.default_rng(5))
    tunes = music(seconds // 4 * RATE, np.random.default_rng(6))
    for title, line in (("quiet night", quiet), ("music", tunes)):
        hearing = Hearing()
        told: list[Heard] = []
        start = time.process_time()
        for block in range(0, len(line), RATE):
            told += hearing.push(np.ascontiguousarray(line[block : block + RATE])[None])
        middle = time.process_time()
        for _ in range(5):
            matcher = Matcher()
            for one in told:
                matcher.hear(one)
        share_of = (time.process_time() - middle) / 5 / (middle - start)
        yield Row(
            "cost", title, {"percent_of_hearing": 100 * share_of, "beeps": sum(isinstance(e, Beep) for e in told)}
        )


def _word(taught: bool) -> str:
    return "taught" if taught else "untaught"


SECTIONS: dict[str, Callable[[int, int], Iterator[Row]]] = {
    "rooms": rooms,
    "prompt": prompt,
    "makers": others,
    "missed": missed,
    "recordings": lambda _seed, share: recorded(share),
    "cost": lambda _seed, share: cost(share),
}


def main(arguments: list[str] | None = None) -> int:
    """Run, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.naming", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--quick", action="store_true", help="a tenth of each section")
    made.add_argument("--only", choices=tuple(SECTIONS), help="one section; it replaces that part of naming.json")
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    for section in [options.only] if options.only else SECTIONS:
        rows = []
        for row in SECTIONS[section](options.seed, 10 if options.quick else 1):
            print(row.line(), flush=True)
            rows.append(row)
        print("\n".join(f"  {text}" for row in rows for text in row.worst))
        keep(options.out / "naming.json", section, rows, seed=options.seed, quick=options.quick)
    return 0


def keep(path: Path, section: str, rows: Sequence[Row], *, seed: int, quick: bool) -> None:
    """Write one section's rows beside those of the others, each with its date and what was measured."""
    whole = json.loads(path.read_text("utf-8")) if path.exists() else {}
    whole[section] = {
        "date": datetime.now(UTC).date().isoformat(),
        "patterns": fingerprint(),
        "hearing": fingerprint("hearing"),
        "seed": seed,
        "quick": quick,
        "rows": [asdict(row) for row in rows],
    }
    path.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
