"""What one trial of the benchmark counted, and its bounds."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.stats import beta, chi2

from beepwatch.events import Beep
from beepwatch.synthesis import Tone
from tests.hearing.scenes import found


@dataclass(frozen=True, slots=True)
class Row:
    """Beeps asked for, found within the collars, heard at all, told besides; and what else was measured."""

    section: str
    name: str
    count: int = 0
    found: int = 0
    heard: int = 0
    extra: int = 0
    hours: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)
    worst: tuple[str, ...] = ()

    def plus(self, other: "Row") -> "Row":
        """Both counted together; figures are those of the first."""
        return replace(
            self,
            count=self.count + other.count,
            found=self.found + other.found,
            heard=self.heard + other.heard,
            extra=self.extra + other.extra,
            hours=self.hours + other.hours,
            worst=(*self.worst, *other.worst),
        )

    def derived(self) -> dict[str, float | tuple[float, float]]:
        """Shares and rates with their 95 % bounds."""
        told: dict[str, float | tuple[float, float]] = {}
        if self.count:
            told = {"recall": self.found / self.count, "recall_bounds": bounds(self.found, self.count)}
        if self.hours:
            told |= {"extra_an_hour": self.extra / self.hours, "extra_bounds": rate_bounds(self.extra, self.hours)}
        return told

    def line(self) -> str:
        """One row of the table."""
        parts = [f"{self.section:8} {self.name:34}"]
        if self.count:
            low, high = bounds(self.found, self.count)
            share = 100 * self.found / self.count
            parts.append(f"{self.found:4}/{self.count:<4} {share:5.1f} % ({100 * low:.1f}-{100 * high:.1f})")
            parts.append(f"heard {self.heard:4}")
        parts.append(f"extra {self.extra:4}")
        if self.hours:
            low, high = rate_bounds(self.extra, self.hours)
            parts.append(f"{self.extra / self.hours:7.2f}/h ({low:.2f}-{high:.2f}) in {self.hours:.2f} h")
        parts += [f"{name} {value:.4g}" for name, value in self.figures.items()]
        return "  ".join(parts)


def bounds(hits: int, count: int) -> tuple[float, float]:
    """95 % bounds of a share (Clopper & Pearson 1934, from memory)."""
    low = float(beta.ppf(0.025, hits, count - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, count - hits)) if hits < count else 1.0
    return round(low, 4), round(high, 4)


def rate_bounds(events: int, hours: float) -> tuple[float, float]:
    """95 % bounds of a rate an hour (Garwood 1936, from memory); none seen: below 3 / hours, one-sided."""
    if events == 0:
        return 0.0, round(float(-np.log(0.05)) / hours, 4)
    low, high = float(chi2.ppf(0.025, 2 * events)) / 2, float(chi2.ppf(0.975, 2 * events + 2)) / 2
    return round(low / hours, 4), round(high / hours, 4)


@dataclass(frozen=True, slots=True)
class Tally:
    """The beeps told of one scene against its tones."""

    pairs: list[tuple[Beep, Tone]]
    heard: int
    extra: list[Beep]


def tally(told: Sequence[Beep], tones: Sequence[Tone]) -> Tally:
    """Match by the collars; `heard` are tones half or more of which a beep of the tone covers."""
    pairs = [(beep, tone) for tone in tones if (beep := found(told, tone)) is not None]
    used = {id(beep) for beep, _ in pairs}
    heard = sum(any(_covers(beep, tone) for beep in told) for tone in tones)
    return Tally(pairs, heard, [beep for beep in told if id(beep) not in used])


def _covers(beep: Beep, tone: Tone) -> bool:
    shared = min(beep.end, tone.onset + tone.length) - max(beep.onset, tone.onset)
    near = abs(beep.frequency / tone.frequency - 1) < 0.01 + abs(tone.drift)
    return near and shared >= 0.5 * tone.length


def quantiles(values: Sequence[float], name: str, unit: float = 1.0) -> dict[str, float]:
    """Median and 95 % of `values`; empty for none."""
    if not values:
        return {}
    middle, high = np.quantile(np.abs(values), [0.5, 0.95])
    return {f"{name}_median": float(middle) * unit, f"{name}_p95": float(high) * unit}
