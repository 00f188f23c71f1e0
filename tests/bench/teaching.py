"""What teaching buys and costs: recall of faint beeps, breaths until a cable alarm is named, false wakes.

`python -m tests.bench.teaching [--quick] [--only SECTION] [--out FOLDER]` prints one table and writes `teaching.json`.
One core. The whole takes about 45 minutes, `--quick` half a minute. Each row is given without and with the tone (told
wrong by up to 1 %, as drift would), its 95 % bounds beside it. False wakes: every recorded sound of
tests/realsounds.py, played once end to end over a quiet hiss, for each of 20 taught tones: ten spread over 1 to
4.6 kHz, and the ten on which the recordings themselves beep most, the worst that could be taught.
"""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep, Raised
from beepwatch.hearing import RATE, Hearing
from beepwatch.hearing.known import NEAR
from beepwatch.recognizer import Recognizer
from beepwatch.synthesis import Tone, noise
from beepwatch.synthesis.backgrounds import stream
from tests.bench.counting import Row, tally
from tests.bench.trials import KINDS
from tests.hearing.scenes import RMS, add, background, beeps, hear, level
from tests.realsounds import mono, sounds

How: TypeAlias = Literal["untaught", "tone", "tone and length"]
FOLDER = Path(__file__).parent / "results"
SNRS = (-18.0, -20.0, -22.0, -24.0)
LENGTH, PAUSE = 1.2, 3.0
EACH = 20
"""Beeps of one tone in a scene."""
WRONG = 0.01
"""Share by which the told tone may be off: a room, and drift that was not followed yet."""
OTHER = 0.1
"""Share by which the told length may be off."""
HISS = 10 ** (-75 / 20)
DEVICE = {"lead-disconnect", "battery-critical", "backup-battery"}
SPREAD = tuple(float(tone) for tone in np.geomspace(1000, 4600, 10).round())
REST = 2.0
"""s of hiss between two recordings: nothing of one runs into the next."""
LINE = 900.0
"""s of recordings that are heard at once."""


def recall(snr: float, how: How, count: int) -> Row:
    """`count` beeps of 1.2 s in white noise, EACH of one tone in a scene: found within the collars, heard, extra."""
    rng, lengths = (np.random.default_rng([seed, round(-snr)]) for seed in (30_000, 36_000))  # all hear one sound
    row = Row("recall", f"1.2 s at {snr:g} dB, {how}")
    for scene in range(count // EACH):
        tone = float(rng.uniform(1000, 4600))
        told = tone * (1 + float(rng.uniform(-WRONG, WRONG)))
        tones = [
            Tone(4 + i * (LENGTH + PAUSE) + float(rng.uniform(0, 1)), LENGTH, tone, level(snr), (), -0.002, 0.3)
            for i in range(EACH)
        ]
        seconds = 6 + EACH * (LENGTH + PAUSE)
        sound = add(background(seconds, 31_000 + 100 * round(-snr) + scene), tones)
        length = LENGTH * (1 + float(lengths.uniform(-OTHER, OTHER))) if how == "tone and length" else None
        got = tally(beeps(hear(sound, tone=None if how == "untaught" else told, length=length)), tones)
        row = row.plus(Row("", "", EACH, len(got.pairs), got.heard, len(got.extra), seconds / 3600))
    return row


def noise_alone(kind: str, hours: float) -> Row:
    """False beeps within 3 % of a taught tone, and length, in noise that holds none; a new tone each hour."""
    pieces = stream(kind, RATE, 60 * RATE, np.random.default_rng([34_000, KINDS.index(kind)]))
    rng = np.random.default_rng([35_000, KINDS.index(kind)])
    near = 0
    for _ in range(round(hours)):
        tone = float(rng.uniform(1000, 4600))
        hearing = Hearing(tone=tone, length=LENGTH)
        told = [event for _ in range(60) for event in hearing.push((RMS * next(pieces)).astype(np.float32)[None])]
        told += hearing.flush()
        near += sum(isinstance(one, Beep) and abs(one.frequency / tone - 1) <= NEAR for one in told)
    return Row("noise", f"{kind}, near the taught tone", extra=near, hours=hours)


def breaths(snr: float, taught: bool, count: int) -> Row:
    """`count` cable alarms of 12 beeps: how many beeps until each is named, and how many are named at all."""
    rng = np.random.default_rng([32_000, round(-snr) + 100])
    needed: list[int] = []
    for number in range(count):
        tone, length = float(rng.uniform(1900, 4600)), float(rng.uniform(0.9, 1.4))
        period, told = float(rng.uniform(3.5, 6.0)), tone * (1 + float(rng.uniform(-WRONG, WRONG)))
        tones = [Tone(4 + i * period, length, tone, level(snr), (-15.0,), -0.002, 0.3) for i in range(12)]
        sound = add(background(8 + 12 * period, 33_000 + number), tones)
        at = _named(sound, told if taught else None)
        needed += [] if at is None else [1 + sum(one.onset + length < at for one in tones[1:])]
    middle, most = np.quantile(np.array(needed, np.float64), [0.5, 0.95]) if needed else (np.nan, np.nan)
    figures = {"beeps_median": float(middle), "beeps_p95": float(most)}
    return Row("breaths", f"named at {snr:g} dB, {_name(taught)}", count, len(needed), len(needed), 0, 0.0, figures)


def _named(sound: NDArray[np.float32], tone: float | None) -> float | None:
    """When the cable alarm is first raised, s; None if never."""
    recognizer = Recognizer(tone=tone)
    events = [*recognizer.push(sound), *recognizer.flush()]
    return next((e.at for e in events if isinstance(e, Raised) and e.alarm.pattern == "lead-disconnect"), None)


def recorded(share: int) -> Iterator[tuple[NDArray[np.float32], list[tuple[float, str]]]]:
    """Every `share`-th recording in lines of about LINE s, and where each begins in its line."""
    parts: list[NDArray[np.float32]] = []
    begins: list[tuple[float, str]] = []
    length = 0
    for one in sounds()[::share]:
        begins.append((length / RATE, f"{one.package} {one.path.name}"))
        parts += [mono(one.path), np.zeros(round(REST * RATE), np.float32)]
        length += len(parts[-1]) + len(parts[-2])
        if length > LINE * RATE:
            yield _on_hiss(parts), begins
            parts, begins, length = [], [], 0
    if parts:
        yield _on_hiss(parts), begins


def _on_hiss(parts: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    line = np.concatenate(parts)
    return np.asarray(line + HISS * noise("pink", len(line), np.random.default_rng(1)), np.float32)


def beeped_most(share: int) -> list[float]:
    """The ten tones (1 to 4.6 kHz, 3 % apart) on which the recordings beep most for 0.4 to 2.5 s, as breaths do."""
    counts: Counter[int] = Counter()
    for line, _ in recorded(share):
        recognizer = Recognizer()
        for event in recognizer.push(line):
            if isinstance(event, Beep) and 0.4 <= event.duration <= 2.5 and 1000 <= event.frequency <= 4600:
                counts[round(np.log(event.frequency) / 0.03)] += 1
    return [float(np.exp(0.03 * place).round()) for place, _ in counts.most_common(10)]


def false_wakes(tone: float | None, name: str, share: int) -> Row:
    """Alarms of the device that are raised in the recordings."""
    row = Row("false", name)
    for line, begins in recorded(share):
        recognizer = Recognizer(tone=tone)
        events = [*recognizer.push(line), *recognizer.flush()]
        wakes = [e for e in events if isinstance(e, Raised) and e.alarm.priority != "low"]
        mine = [e for e in wakes if e.alarm.pattern in DEVICE or e.alarm.pattern == "unknown"]
        worst = tuple(f"{tone or 0:.0f} Hz: {e.alarm.pattern} in {_at(begins, e.alarm.onset)}" for e in mine)
        row = row.plus(Row("", "", 0, 0, 0, len(mine), len(line) / RATE / 3600, {}, worst))
    return row


def _at(begins: list[tuple[float, str]], onset: float) -> str:
    return next((name for at, name in reversed(begins) if at <= onset + 0.5), "nothing")


def _name(taught: bool) -> str:
    return "taught" if taught else "untaught"


def table(quick: bool, only: str | None) -> Iterator[Row]:
    """All rows, as they are measured."""
    count, alarms, share, hours = (100, 20, 25, 1) if quick else (600, 150, 1, 5)
    if only in (None, "recall"):
        for snr in SNRS:
            yield from (recall(snr, how, count) for how in ("untaught", "tone", "tone and length"))
    if only in (None, "noise"):
        yield from (noise_alone(kind, hours) for kind in KINDS)
    if only in (None, "breaths"):
        for snr in (10.0, -10.0, -18.0):
            yield from (breaths(snr, taught, alarms) for taught in (False, True))
    if only in (None, "false"):
        yield false_wakes(None, "untaught", share)
        for name, tones in (("10 tones spread", SPREAD), ("10 tones they beep on", tuple(beeped_most(share)))):
            row = Row("false", name)
            for tone in tones[: 2 if quick else 10]:
                one = false_wakes(tone, name, share)
                print(one.line(), f"{tone:.0f} Hz", file=sys.stderr, flush=True)
                row = row.plus(one)
            yield row


def main(arguments: list[str] | None = None) -> int:
    """Run, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.teaching", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--quick", action="store_true", help="a part of it, in half a minute")
    made.add_argument("--only", choices=("recall", "noise", "breaths", "false"))
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args(arguments)
    rows = []
    for row in table(options.quick, options.only):
        print(row.line(), flush=True)
        rows.append(row)
    print("\n".join(text for row in rows for text in row.worst))
    options.out.mkdir(parents=True, exist_ok=True)
    whole = {
        "date": datetime.now(UTC).date().isoformat(),
        "quick": options.quick,
        "rows": [asdict(row) | row.derived() for row in rows],
    }
    (options.out / "teaching.json").write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
