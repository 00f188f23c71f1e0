"""Whether `confidence` is calibrated: of the hypotheses that are said to be true with 30 %, are 30 % true?

`python -m tests.bench.calibration [--size 300] [--seeds 31 32] [--only untaught] [--fit] [--out FOLDER]` reads every
running hypothesis of the matcher, those far below the bound that wakes as well, and how sure open alarms become. A
hypothesis is one pattern on one tone; it counts once in each band of confidence, when it first is in it: such a time
looks at nothing later, so a true probability is right there. Three kinds of nights are simulated
(tests/bench/household.py), and each hypothesis weighs less by as much as its kind is simulated more often:
- device alarms, each at an SNR of its own, with the house round them: in a house one in ALARM_EVERY nights, as
  confidence takes it;
- strange beepers, of any length, pause, count and tone, with the house round them: one in STRANGE_EVERY nights;
- whole nights of the house (HOUSES times as many), each for one.
Untaught, and with the device's tone taught; then the strange beepers are on that tone, as one in ON_TONE would be.

It prints for each band what was said, how much came true with a 95 % interval (weighted counts taken as gamma
distributed, with half a count more), the Brier score beside that of always saying the mean, and the expected
calibration error, and
writes `calibration.json` in FOLDER (tests/bench/results). `--fit` prints the curve that evidence.py holds instead: a
piecewise logistic regression, on these seeds: show it on others. It takes some six minutes of one core.
"""

import argparse
import json
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from beepwatch.events import Beep, Heard
from beepwatch.patterns import evidence
from beepwatch.patterns.memory import RATIOS, fold
from tests.bench.ears import LONG
from tests.bench.household import EARS, Ear, Truth, alarm, breaths, house, long_tones
from tests.bench.nights import ALARM_EVERY, DEVICE, FOLDER, by_time, fingerprint
from tests.bench.reading import LOWEST, Reading, by_hypothesis, readings

Doubles: TypeAlias = NDArray[np.float64]
BANDS = (0.0, 0.01, 0.05, 0.2, 0.5, 0.9, 0.99, 1.0)
STRANGE_EVERY = 100.0
"""Nights with one beeping of no listed thing (judgement)."""
ON_TONE = 0.055
"""Share of strange beepers within 3 % of a taught tone, were their tones spread evenly over 1.5-4.5 kHz in pitch."""
HOUSES = 2
BEND = 1e-4
"""Judgement."""
ROUND = (300.0, 700.0)
"""s of the house before and after an alarm or a strange beeper begins."""


# -- many nights


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One pattern on one tone: all its readings, whether it was true, and how often a night it comes."""

    pattern: str
    true: bool
    weight: float
    known: bool
    excesses: tuple[float, ...]


def hypotheses(size: int, seed: int, *, taught: bool) -> list[Hypothesis]:
    """Those of all three kinds of nights."""
    lot = random.Random(seed)
    every: list[Hypothesis] = []
    for _ in range(size):
        tone = lot.uniform(1900, 4100)
        truth, told = alarm(lot, EARS[lot.choice(sorted(EARS))], lot.choice(DEVICE), tone, taught)
        every += _grouped(read(lot, told, tone if taught else None), 1 / size / ALARM_EVERY, truth.tone, truth)
        other = strange(lot, EARS[lot.choice(sorted(EARS))], lot.uniform(3600, 7200), tone if taught else None)
        share = ON_TONE if taught else 1.0
        own = other[0].frequency if other else tone
        every += _grouped(read(lot, other, tone if taught else None), share / size / STRANGE_EVERY, own, None)
    nights = HOUSES * size
    for _ in range(nights):
        tone = lot.uniform(1900, 4100)
        every += _grouped(readings(house(lot), tone if taught else None), 1 / nights, None, None)
    return every


def strange(lot: random.Random, ear: Ear, start: float, tone: float | None) -> list[Beep]:
    """Beeps of any length and pause, as a sounder's in a room, near `tone` or on any: ten minutes at most."""
    length, pause = (math.exp(lot.uniform(math.log(low), math.log(high))) for low, high in ((0.15, 25.0), (0.3, 60.0)))
    own = tone * lot.uniform(0.97, 1.03) if tone else math.exp(lot.uniform(math.log(700), math.log(4500)))
    count = max(1, min(1 + int(lot.expovariate(1 / 8)), int(600 / (length + pause))))
    onsets = [start + (length + pause) * index for index in range(count)]
    told = breaths(lot, ear, onsets, length, own) if length < LONG else long_tones(lot, ear, onsets, length, own)
    return [one for one in told if isinstance(one, Beep)]


def read(lot: random.Random, told: Sequence[Heard], tone: float | None) -> list[Reading]:
    """The readings of these sounds, with the house round them."""
    if not told:
        return []
    start = min(map(by_time, told))
    near = [one for one in house(lot) if start - ROUND[0] < one.onset < start + ROUND[1]]
    return readings([*near, *told], tone)


def _grouped(told: Sequence[Reading], weight: float, tone: float | None, truth: Truth | None) -> Iterator[Hypothesis]:
    """The readings by hypothesis, of those on `tone` where there is one."""
    own = [one for one in told if tone is None or fold(one.frequency, tone, 0.01, RATIOS) is not None]
    for line in by_hypothesis(own):
        true = truth is not None and line[0].pattern == truth.pattern and line[0].at > truth.start
        yield Hypothesis(line[0].pattern, true, weight, line[0].known, tuple(one.excess for one in line))


# -- the table


@dataclass(frozen=True, slots=True)
class Band:
    """Hypotheses that first were in one band of confidence. came: weighted share of true ones, with 95 % bounds."""

    low: float
    high: float
    true: int
    untrue: int
    said: float
    came: float
    least: float
    most: float

    def line(self) -> str:
        """For reading."""
        inside = "" if self.least <= self.said <= self.most else "  OUTSIDE"
        return (
            f"  {self.low:4.2f} to {self.high:4.2f}  said {self.said:.3f}  came true {self.came:.3f}"
            f" ({self.least:.3f} to {self.most:.3f})  {self.true:5} true {self.untrue:6} untrue{inside}"
        )


def firsts(every: Sequence[Hypothesis], edges: Sequence[float]) -> Iterator[tuple[int, float, Hypothesis]]:
    """(band, confidence, hypothesis), each at its first reading in each band."""
    for one in every:
        seen: set[int] = set()
        for excess in one.excesses:
            said = evidence.confidence(excess, one.known)
            band = min(len(edges) - 2, int(np.searchsorted(edges, said, "right")) - 1)
            if band not in seen:
                seen.add(band)
                yield band, said, one


def table(every: Sequence[Hypothesis]) -> list[Band]:
    """The reliability table."""
    rows: list[Band] = []
    told = list(firsts(every, BANDS))
    largest = [max((one.weight for one in every if one.true == kind), default=0.0) for kind in (True, False)]
    for number in range(len(BANDS) - 1):
        mine = [(said, one) for band, said, one in told if band == number]
        if mine:
            true = [one.weight for _, one in mine if one.true]
            untrue = [one.weight for _, one in mine if not one.true]
            said = float(np.average([said for said, _ in mine], weights=[one.weight for _, one in mine]))
            least, most = interval(true, untrue, largest)
            came = sum(true) / (sum(true) + sum(untrue))
            rows.append(Band(BANDS[number], BANDS[number + 1], len(true), len(untrue), said, came, least, most))
    return rows


def interval(true: Sequence[float], untrue: Sequence[float], largest: Sequence[float]) -> tuple[float, float]:
    """95 % interval of the share of true ones among weighted counts: each sum gamma distributed, with half a count more
    of the `largest` weight that a true and an untrue one may have: what did not happen may yet.
    """
    rng = np.random.default_rng(1)
    sums = []
    for weights, most in zip((np.array(true), np.array(untrue)), largest, strict=True):
        mean, square = float(weights.sum()) + most / 2, float((weights**2).sum()) + most**2 / 2
        sums.append(rng.gamma(mean**2 / square, square / mean, 4000))
    least, most = np.quantile(sums[0] / (sums[0] + sums[1]), (0.025, 0.975))
    return float(least), float(most)


def scores(every: Sequence[Hypothesis]) -> dict[str, float]:
    """Brier score of all first readings, that of always saying the mean, and the expected calibration error."""
    told = [(said, float(one.true), one.weight) for _, said, one in firsts(every, BANDS)]
    said, true, weight = (np.array(column) for column in zip(*told, strict=True))
    mean = np.average(true, weights=weight)
    size: dict[float, float] = {}
    for band, _, one in firsts(every, BANDS):
        size[BANDS[band]] = size.get(BANDS[band], 0.0) + one.weight
    off = [(abs(row.said - row.came), size[row.low]) for row in table(every)]
    return {
        "brier": float(np.average((said - true) ** 2, weights=weight)),
        "brier_of_the_mean": float(np.average((mean - true) ** 2, weights=weight)),
        "calibration_error": float(np.average([one for one, _ in off], weights=[share for _, share in off])),
    }


def fitted(every: Sequence[Hypothesis]) -> list[float]:
    """Log odds at evidence.KNOTS: weighted, rising, piecewise logistic regression on first readings in steps of a nat.

    Where little is heard between two knots the curve is drawn straight: a bend costs as BEND of the readings.
    """
    points = []
    for one in every:
        seen: set[int] = set()
        for excess in one.excesses:
            if excess > -LOWEST and math.floor(excess) not in seen:
                seen.add(math.floor(excess))
                points.append((excess, float(one.true), one.weight))
    x, true, weight = (np.array(column) for column in zip(*points, strict=True))
    knots, weight = np.array(evidence.KNOTS), weight / weight.sum()

    def curve(of: Doubles) -> Doubles:
        return np.concatenate([of[:1], of[0] + np.cumsum(np.exp(of[1:]))])

    def loss(of: Doubles) -> float:
        values = curve(of)
        odds = np.interp(x, knots, values)
        bends = np.diff(np.diff(values) / np.diff(knots))
        return float((weight * (np.logaddexp(0, odds) - true * odds)).sum() + BEND * (bends**2).sum())

    first = np.concatenate([[-5.0], np.zeros(len(knots) - 1)])
    return [round(float(one), 2) for one in curve(minimize(loss, first).x)]


def main() -> None:
    """Simulate, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.calibration", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--size", type=int, default=300, help="alarms, and strange beepers, with each seed")
    made.add_argument("--seeds", type=int, nargs="+", default=[31, 32])
    made.add_argument("--only", choices=("untaught", "taught"))
    made.add_argument("--fit", action="store_true", help="fit the curve instead of showing it")
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args()
    for word, taught in (("untaught", False), ("taught", True)):
        if options.only not in {None, word}:
            continue
        found = [one for seed in options.seeds for one in hypotheses(options.size, seed, taught=taught)]
        every = [one for one in found if one.known == taught]
        if options.fit:
            print(word, fitted(every), flush=True)
            continue
        rows, figures = table(every), scores(every)
        print(f"{word}: {figures}", *(row.line() for row in rows), sep="\n", flush=True)
        head = {"date": datetime.now(UTC).date().isoformat(), "patterns": fingerprint(), "seeds": options.seeds}
        told = head | {"size": options.size, "rows": [asdict(row) for row in rows]} | figures
        keep(options.out / "calibration.json", word, told)


def keep(path: Path, kind: str, told: dict[str, object]) -> None:
    """Write one kind beside the other."""
    whole = json.loads(path.read_text("utf-8")) if path.exists() else {}
    path.write_text(json.dumps(whole | {kind: told}, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
