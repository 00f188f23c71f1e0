"""Whether `confidence` is calibrated: of the hypotheses that are said to be true with 30 %, are 30 % true?

`python -m tests.bench.calibration [--size 500] [--seeds 31 32] [--only untaught] [--fit] [--out FOLDER]` reads every
running hypothesis of the matcher, those far below the bound that wakes as well, and how sure open alarms become. A
hypothesis is one pattern on one tone; it counts once in each band of confidence, when it first is in it: such a time
looks at nothing later, so a true probability is right there. Three kinds of nights are simulated
(tests/bench/household.py), and each hypothesis weighs less by as much as its kind is simulated more often:
- device alarms, each at an SNR of its own, with the house round them: in a house one in ALARM_EVERY nights, as
  confidence takes it;
- strange beepers, of any length, pause, count and tone, with the house round them: one in STRANGE_EVERY nights;
- whole nights of the house (half as many), each for one.
Untaught, and with the device's tone taught; then the strange beepers are on that tone, as one in ON_TONE would be.

It prints for each band what was said, how much came true with a 95 % interval (weighted counts taken as gamma
distributed, Jeffreys), the Brier score beside that of always saying the mean, and the expected calibration error, and
writes `calibration.json` in FOLDER (tests/bench/results). `--fit` prints the curve that evidence.py holds instead: a
logistic regression with a ceiling, on these seeds: show it on others. It takes some six minutes of one core.
"""

import argparse
import json
import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from beepwatch.events import AlarmEvent, Beep, Changed, Heard, Raised
from beepwatch.patterns import Matcher, chains, evidence, folded, tones
from beepwatch.patterns.batteries import Batteries
from beepwatch.patterns.bursts import Line
from beepwatch.patterns.episodes import RETURN, Episode
from beepwatch.patterns.matcher import LEAST
from beepwatch.patterns.memory import RATIOS, Note, fold
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Profile, Steady, packaged
from beepwatch.patterns.tones import LongBeep
from tests.bench.ears import LONG
from tests.bench.household import EARS, Ear, Truth, alarm, breaths, house, long_tones
from tests.bench.nights import ALARM_EVERY, DEVICE, FOLDER, by_time, fingerprint

BANDS = (0.0, 0.01, 0.05, 0.2, 0.5, 0.9, 0.99, 1.0)
LOWEST = 14.0
"""Nats below the bound at which a hypothesis is no longer read."""
STRANGE_EVERY = 100.0
"""Nights with one beeping of no listed thing (judgement)."""
ON_TONE = 0.055
"""Share of strange beepers within 3 % of a taught tone, were their tones spread evenly over 1.5-4.5 kHz in pitch."""
ROUND = (300.0, 700.0)
"""s of the house before and after an alarm or a strange beeper begins."""


# -- reading the matcher


@dataclass(frozen=True, slots=True)
class Reading:
    """One hypothesis at one time."""

    at: float
    pattern: str
    frequency: float
    excess: float
    """Its evidence over the bound, nats."""
    limit: float
    """The bound, nats."""
    known: bool


class Read(Matcher):
    """A matcher whose running hypotheses are kept."""

    def __init__(self, tone: float | None) -> None:
        super().__init__(tone)
        self.readings: list[Reading] = []
        long = tuple(profile for profile in packaged() if isinstance(profile, LongTone))
        self._batteries = _ReadBatteries(long, self._steady[0], self._book, self._judge)
        self._batteries.readings = self.readings

    def hear(self, event: Heard) -> list[AlarmEvent]:
        """As ever; and how sure the alarms that are open have become since."""
        out = super().hear(event)
        for one in out:
            if isinstance(one, Raised | Changed):
                self._told(one.at, next((e for e in self._book.open if e.number == one.alarm.number), None))
        return out

    def _told(self, at: float, episode: Episode | None) -> None:
        if episode is not None and not isinstance(episode.profile, Steady):
            weighed = episode.weighed
            excess, name = weighed.ratio - weighed.limit, episode.profile.name
            self.readings.append(Reading(at, name, episode.frequency, excess, weighed.limit, weighed.known))

    def _keep(self, profile: Profile, note: Note, ratio: float, known: bool) -> None:
        beep = note.beep
        limit = self._judge.limit(profile, beep.frequency, beep.known, known)
        self.readings.append(Reading(beep.known, profile.name, beep.frequency, ratio - limit, limit, known))

    def _raise_breaths(self, profile: Breaths, notes: Sequence[Note]) -> list[AlarmEvent]:
        beep = notes[-1].beep
        known = self._judge.known(profile, beep.frequency, beep.known)
        if self._judge.allowed(profile, beep.frequency, known):
            quiet = self._judge.quiet(beep.frequency, beep.known)
            limit = self._judge.limit(profile, beep.frequency, beep.known, known)
            setting = chains.Setting(known, quiet, self._memory.accompanied)
            least = LEAST - 1 if known and self._judge.exact(beep.frequency, beep.known) else LEAST
            chain = chains.breaths(profile, notes, least, limit - LOWEST, setting)
            if chain and self._judge.allowed(profile, chains.fundamental(chain, notes), known):
                self._keep(profile, notes[-1], chain.ratio, known)
        return super()._raise_breaths(profile, notes)

    def _raise_bursts(self, profile: Bursts, note: Note, tried: Sequence[Line]) -> list[AlarmEvent]:
        found = folded.groups(profile, tried, note)
        if found and self._judge.allowed(profile, note.beep.frequency, known=False):
            self._keep(profile, note, found.ratio, known=False)
        return super()._raise_bursts(profile, note, tried)


class _ReadBatteries(Batteries):
    readings: list[Reading]

    def _judged(self, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        known = self._judge.known(profile, whole.frequency, now)
        if self._judge.allowed(profile, whole.frequency, known):
            ratio = tones.weigh(self._tones.repeats(profile, whole))
            ratio -= 0.0 if known else sum(d.price(whole.frequency) for d in profile.doubt if d.of == "tone")
            limit = self._judge.limit(profile, whole.frequency, now, known)
            self.readings.append(Reading(now, profile.name, whole.frequency, ratio - limit, limit, known))
        return super()._judged(profile, whole, now)


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
    for _ in range(size // 2):
        tone = lot.uniform(1900, 4100)
        every += _grouped(readings(house(lot), tone if taught else None), 1 / (size // 2), None, None)
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


def _lines(told: Sequence[Reading]) -> list[list[Reading]]:
    """Readings, each hypothesis' together."""
    lines: list[list[Reading]] = []
    for one in told:
        mine = next((old for old in lines if _continues(old[-1], one)), None)
        if mine is None:
            lines.append([one])
        else:
            mine.append(one)
    return lines


def readings(events: Sequence[Heard], tone: float | None) -> list[Reading]:
    """What a fresh matcher has of these."""
    matcher = Read(tone)
    for event in sorted(events, key=by_time):
        matcher.hear(event)
    return matcher.readings


def _grouped(told: Sequence[Reading], weight: float, tone: float | None, truth: Truth | None) -> Iterator[Hypothesis]:
    """The readings by hypothesis, of those on `tone` where there is one."""
    own = [one for one in told if tone is None or fold(one.frequency, tone, 0.01, RATIOS) is not None]
    for line in _lines(own):
        true = truth is not None and line[0].pattern == truth.pattern and line[0].at > truth.start
        yield Hypothesis(line[0].pattern, true, weight, line[0].known, tuple(one.excess for one in line))


def ratios(events: Sequence[Heard], pattern: str) -> Iterator[list[float]]:
    """The evidence S, nats, of each hypothesis of one pattern in these events, untaught, reading by reading."""
    told = readings(events, None)
    for line in _lines([one for one in told if one.pattern == pattern]):
        yield [one.excess + one.limit for one in line]


def _continues(old: Reading, new: Reading) -> bool:
    near = fold(new.frequency, old.frequency, 0.01, RATIOS) is not None
    return near and old.pattern == new.pattern and old.known == new.known and new.at - old.at < RETURN


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
    for number in range(len(BANDS) - 1):
        mine = [(said, one) for band, said, one in told if band == number]
        if mine:
            true = [one.weight for _, one in mine if one.true]
            untrue = [one.weight for _, one in mine if not one.true]
            said = float(np.average([said for said, _ in mine], weights=[one.weight for _, one in mine]))
            least, most = interval(true, untrue)
            came = sum(true) / (sum(true) + sum(untrue))
            rows.append(Band(BANDS[number], BANDS[number + 1], len(true), len(untrue), said, came, least, most))
    return rows


def interval(true: Sequence[float], untrue: Sequence[float]) -> tuple[float, float]:
    """95 % interval of the share of true ones among weighted counts: each sum gamma distributed, half a count more."""
    rng = np.random.default_rng(1)
    usual = max([*true, *untrue])
    sums = []
    for weights in (np.array(true), np.array(untrue)):
        half = float(weights.mean()) / 2 if len(weights) else usual / 2
        mean, square = float(weights.sum()) + half, float((weights**2).sum()) + 2 * half**2
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


def fitted(every: Sequence[Hypothesis]) -> tuple[float, float, float]:
    """(log odds at the bound, slope, ceiling): a weighted logistic regression on first readings in steps of a nat."""
    points = []
    for one in every:
        seen: set[int] = set()
        for excess in one.excesses:
            if excess > -LOWEST and math.floor(excess) not in seen:
                seen.add(math.floor(excess))
                points.append((excess, float(one.true), one.weight))
    x, true, weight = (np.array(column) for column in zip(*points, strict=True))

    def loss(of: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        odds = np.minimum(of[0] + of[1] * x, of[2])
        return float((weight * (np.logaddexp(0, odds) - true * odds)).sum() / weight.sum())

    starts = [minimize(loss, [a, b, 5.0], method="Nelder-Mead") for a in (0.0, 3.0) for b in (0.5, 2.0)]
    best = min(starts, key=lambda one: float(one.fun)).x
    return float(best[0]), float(best[1]), float(best[2])


def main() -> None:
    """Simulate, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.calibration", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--size", type=int, default=500, help="alarms, and strange beepers, with each seed")
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
