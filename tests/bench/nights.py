"""Nights by the thousand: beeps without sound, through the matcher.

`python -m tests.bench.nights [--quick] [--nights 1000] [--taught 3000] [--seed 1] [--snr 0] [--out FOLDER]` simulates
nights of 8 h in the house of tests/bench/household.py, each with several of its sounds and half of them with one
alarm, untaught and taught. It prints, and writes to `nights.json` in FOLDER (tests/bench/results): false wakes, misses,
delays by pattern and by breaths a minute, each with its 95 % bound (Clopper-Pearson; the rule of three where nothing
was seen). Whether `confidence` is calibrated: tests/bench/calibration.py. 1000 nights take some three minutes of one
core; `--quick` simulates 50 and 50. Runs of the same code with other seeds add up in the file.
"""

import argparse
import json
import random
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from statistics import median
from typing import Any

from scipy.stats import beta

from beepwatch import patterns
from beepwatch.events import Beep, Changed, Heard, Raised, Sounding
from beepwatch.patterns import Matcher
from tests.bench.household import EARS, Ear, Truth, alarm, house

FOLDER = Path(__file__).parent / "results"
WAKES = frozenset(
    {
        "lead-disconnect",
        "battery-critical",
        "backup-battery",
        "fire",
        "carbon-monoxide",
        "medical-high",
        "medical-medium",
    }
)
DEVICE = ("lead-disconnect", "battery-critical", "backup-battery")
ALARM_EVERY = 30.0
"""Nights with one true alarm, as `confidence` takes it."""

# -- the count


@dataclass(slots=True)
class Count:
    """What many nights came to."""

    nights: int = 0
    alarms: int = 0
    false: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    missed: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    wrong: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    late: dict[tuple[str, int], list[float]] = field(default_factory=lambda: defaultdict(list))
    beeps: int = 0


def upper(count: int, trials: int) -> float:
    """95 % upper bound of a rate: Clopper-Pearson, one-sided; 3 / trials for zero (rule of three)."""
    return 3.0 / trials if count == 0 else float(beta.ppf(0.95, count + 1, max(1, trials - count)))


def night(lot: random.Random, count: Count, ear: Ear, pattern: str | None, *, tone: float, taught: bool) -> None:
    """One night through a fresh matcher."""
    events: list[Heard] = [*house(lot)]
    truth = None
    if pattern is not None:
        truth, told = alarm(lot, ear, pattern, tone, taught)
        events += told
    events.sort(key=by_time)
    matcher = Matcher(tone if taught else None)
    count.nights += 1
    count.beeps += len(events)
    named: list[Raised | Changed] = []
    for event in events:
        for out in matcher.hear(event):
            if isinstance(out, Raised) or (isinstance(out, Changed) and out.was is not None):
                named.append(out)
    _judge(count, truth, named)


def by_time(event: Heard) -> float:
    return event.known if isinstance(event, Beep | Sounding) else 0.0


def _judge(count: Count, truth: Truth | None, named: Sequence[Raised | Changed]) -> None:
    right = None
    for event in named:
        if event.alarm.pattern not in WAKES:
            continue
        own = truth is not None and abs(event.alarm.frequency / truth.tone - 1) < 0.01
        true = own and truth is not None and event.alarm.pattern == truth.pattern
        if true and right is None:
            right = event
        elif own and not true:
            count.wrong[event.alarm.pattern] += 1
        elif not own:
            count.false[event.alarm.pattern] += 1
    if truth is not None:
        count.alarms += 1
        if right is None:
            count.missed[truth.pattern] += 1
        else:
            count.late[truth.pattern, truth.rate if truth.pattern == "lead-disconnect" else 0].append(
                right.at - truth.enough
            )


# -- the report


@dataclass(frozen=True, slots=True)
class Late:
    """How late one pattern was named, s after its evidence was complete, of `alarms` that were."""

    pattern: str
    breaths_a_minute: int | None
    alarms: int
    median: float
    p95: float
    most: float


@dataclass(frozen=True, slots=True)
class Report:
    """What many nights came to; every `_below` is a 95 % bound."""

    seed: int
    taught: bool
    snr: int
    nights: int
    beeps: int
    alarms: int
    false: dict[str, int]
    false_in_1000_nights_below: float
    missed: dict[str, int]
    missed_percent_below: float
    wrong: dict[str, int]
    late: tuple[Late, ...]

    def lines(self) -> Iterator[str]:
        """The same for reading."""
        yield f"{'taught' if self.taught else 'untaught'}, SNR {self.snr} dB: {self.nights} nights, {self.beeps} beeps"
        bound = self.false_in_1000_nights_below
        yield f"  false wakes {sum(self.false.values())}: 95 % below {bound:.2f} in 1000 nights"
        yield f"  {self.false or ''}"
        yield f"  missed {sum(self.missed.values())} of {self.alarms}, 95 % below {self.missed_percent_below:.2f} %"
        yield f"  wrongly named {sum(self.wrong.values())} {self.wrong or ''}"
        yield "  pattern           breaths/min  alarms  late s: median    95 %     max"
        for one in self.late:
            yield (
                f"  {one.pattern:17} {one.breaths_a_minute or '-':>11}  {one.alarms:6}"
                f"  {one.median:14.2f}  {one.p95:6.2f}  {one.most:6.2f}"
            )


def report(count: Count, *, seed: int, taught: bool, snr: int) -> Report:
    """The figures of a count."""
    missed = sum(count.missed.values())
    return Report(
        seed,
        taught,
        snr,
        count.nights,
        count.beeps,
        count.alarms,
        dict(count.false),
        round(1000 * upper(sum(count.false.values()), count.nights), 2),
        dict(count.missed),
        round(100 * upper(missed, max(1, count.alarms)), 2),
        dict(count.wrong),
        tuple(_late(*key, sorted(late)) for key, late in sorted(count.late.items())),
    )


def _late(pattern: str, rate: int, late: Sequence[float]) -> Late:
    p95 = late[min(len(late) - 1, int(0.95 * len(late)))]
    return Late(pattern, rate or None, len(late), round(median(late), 2), round(p95, 2), round(late[-1], 2))


def simulate(nights: int, seed: int, snr: int, *, alarms: float, taught: bool) -> Report:
    """Nights, one after another, each with a matcher of its own."""
    lot = random.Random(seed)
    count = Count()
    for _ in range(nights):
        pattern = lot.choice(DEVICE) if lot.random() < alarms else None
        night(lot, count, EARS[snr], pattern, tone=lot.uniform(1900, 4100), taught=taught)
    return report(count, seed=seed, taught=taught, snr=snr)


def fingerprint(stage: str = "patterns") -> str:
    """Of the code that was measured: SHA-256, 12 digits, over one folder of beepwatch, profiles included."""
    digest = sha256()
    folder = Path(patterns.__file__).parents[1] / stage
    for path in sorted([*folder.glob("*.py"), *folder.glob("profiles/*.toml")]):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def main() -> None:
    """Simulate, print and write."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--nights", type=int, default=1000, help="untaught: the budget is 1 in 30")
    options.add_argument("--taught", type=int, default=3000, help="taught: the budget is 1 in 1000")
    options.add_argument("--quick", action="store_true", help="50 nights of each")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--snr", type=int, default=0, choices=sorted(EARS))
    options.add_argument("--alarms", type=float, default=0.5, help="share of nights with an alarm")
    options.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    chosen = options.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    for taught, nights in ((False, chosen.nights), (True, chosen.taught)):
        if nights:
            count = 50 if chosen.quick else nights
            row = simulate(count, chosen.seed, chosen.snr, alarms=chosen.alarms, taught=taught)
            sys.stdout.write("\n".join(row.lines()) + "\n\n")
            rows = keep(chosen.out / "nights.json", asdict(row))
            sys.stdout.write(together(rows, taught=taught) + "\n\n")
            sys.stdout.flush()


def keep(path: Path, row: dict[str, Any]) -> list[dict[str, Any]]:
    """Write a row beside those that the same code came to with other seeds; return all."""
    old = json.loads(path.read_text("utf-8")) if path.exists() else {}
    same = old.get("rows", []) if old.get("patterns") == fingerprint() else []
    which = ("seed", "taught", "snr")
    rows = [one for one in same if any(one[key] != row[key] for key in which)] + [row]
    whole = {"date": datetime.now(UTC).date().isoformat(), "patterns": fingerprint(), "rows": rows}
    path.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return rows


def together(rows: Sequence[dict[str, Any]], *, taught: bool) -> str:
    """False wakes of all rows of one kind, with their bound."""
    mine = [row for row in rows if row["taught"] == taught]
    nights, false = sum(row["nights"] for row in mine), sum(sum(row["false"].values()) for row in mine)
    bound = 1000 * upper(false, nights)
    return f"all {len(mine)} runs: {false} false wakes in {nights} nights, 95 % below {bound:.2f} in 1000"


if __name__ == "__main__":
    main()
