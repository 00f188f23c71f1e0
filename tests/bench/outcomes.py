"""What a scene came to: named, wrongly named, late; and rows of a table of such."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from beepwatch.events import AlarmEvent, Beep, Changed, Heard, Raised
from beepwatch.patterns import Matcher
from tests.bench.nights import DEVICE, WAKES
from tests.bench.stages import Stage

QUANTILES = (("median", 0.5), ("p95", 0.95), ("most", 1.0))
ABLE = 0.6
"""Share of the beeps that hearing must tell for a scene to count as heard."""
NEEDED = {"fire": (2, 3), "carbon-monoxide": (2, 4), "medical-high": (2, 10), "medical-medium": (3, 3)}
"""Groups after which a counted signal could be named (its profile), and pulses of a group."""


Figures: TypeAlias = dict[str, float | int | str]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: a name and its figures."""

    section: str
    name: str
    figures: Figures = field(default_factory=dict)
    worst: tuple[str, ...] = ()

    def line(self) -> str:
        """For reading."""
        told = "  ".join(f"{key} {value:.4g}" if isinstance(value, float) else f"{key} {value}"
                         for key, value in self.figures.items())  # fmt: skip
        return f"{self.section:10} {self.name:34} {told}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one scene came to. late: s after the beep that completes the evidence; None when never named."""

    stage: Stage
    late: float | None
    wrong: tuple[str, ...]
    raises: int
    share: float
    """Of its beeps, those that hearing told, right to 0.15 s in onset and to 0.3 of their length and 0.05 s."""
    error: float | None
    """Relative error of the period at the end, of a lead-disconnect of 8 or more beeps."""

    @property
    def able(self) -> bool:
        """Whether hearing told ABLE of its beeps."""
        return self.share >= ABLE


def matched(told: Sequence[Heard], tone: float | None) -> list[AlarmEvent]:
    """What a fresh matcher makes of what hearing told."""
    matcher = Matcher(tone)
    return [out for one in told for out in matcher.hear(one)]


def woke(events: Sequence[AlarmEvent]) -> list[Raised | Changed]:
    """The alarms that wake, as they are raised or renamed."""
    new = [one for one in events if isinstance(one, Raised) or (isinstance(one, Changed) and one.was)]
    return [one for one in new if one.alarm.pattern in WAKES or one.alarm.priority != "low"]


def _period_error(stage: Stage, events: Sequence[AlarmEvent]) -> float | None:
    if stage.name != "lead-disconnect" or not events:
        return None
    alarm = events[-1].alarm
    if alarm.pattern != stage.name or alarm.beeps < 8 or alarm.period is None:
        return None
    return abs(alarm.period / (stage.pulses[1][0] - stage.pulses[0][0]) - 1)


def complete(stage: Stage, taught: bool) -> float:
    """s at which the evidence is complete: the second breath taught, the third untaught; the first long tone."""
    pulses = stage.pulses
    if stage.name == "lead-disconnect":
        return sum(pulses[1 if taught else 2])
    if stage.name == "battery-critical":
        return pulses[0][0] + (13.0 if taught else 20.0)
    groups, size = NEEDED.get(stage.name or "", (1, 1))
    return sum(pulses[min(len(pulses), groups * size) - 1])


def judged(stage: Stage, told: Sequence[Heard], tone: float | None) -> Outcome:
    """One scene through a fresh matcher."""
    events = matched(told, tone)
    named = woke(events)
    right = [e for e in named if e.alarm.pattern == stage.name]
    wrong = tuple(f"{e.alarm.pattern} at {e.at:.1f} s" for e in named if e.alarm.pattern != stage.name)
    beeps = [one for one in told if isinstance(one, Beep)]
    share = sum(
        any(abs(b.onset - onset) < 0.15 and abs(b.duration - length) < 0.3 * length + 0.05 for b in beeps)
        for onset, length in stage.pulses
    ) / max(1, len(stage.pulses))
    late = right[0].at - complete(stage, tone is not None) if right else None
    return Outcome(stage, late, wrong, len(right), share, _period_error(stage, events))


def tone_told(stage: Stage) -> float:
    """The tone that is taught: the device's own 2 % wrong, another's 1 %."""
    return stage.tone * (1.02 if stage.name in DEVICE else 1.01)


def summed(section: str, title: str, outcomes: Sequence[Outcome]) -> Row:
    """Counts and delays of many scenes."""
    late = sorted(one.late for one in outcomes if one.late is not None)
    able = [one for one in outcomes if one.able]
    figures: Figures = {
        "scenes": len(outcomes),
        "named": len(late),
        "heard": len(able),
        "heard_named": sum(one.late is not None for one in able),
        "wrong": sum(bool(one.wrong) for one in outcomes),
        "split": sum(one.raises > 1 for one in outcomes),
    }
    if late:
        figures |= {
            f"late_{n}": round(float(np.quantile(late, q)), 2)
            for n, q in (("median", 0.5), ("p95", 0.95), ("most", 1.0))
        }
        figures["in_1_s"] = sum(one <= 1.0 for one in late)
    worst = [f"{title} {where(o)}: wrongly {', '.join(o.wrong)}" for o in outcomes if o.wrong]
    worst += [f"{title} {where(o)}: not named" for o in able if o.late is None]
    return Row(section, title, figures, tuple(worst))


def where(outcome: Outcome) -> str:
    """Which scene, in words."""
    stage = outcome.stage
    return f"{stage.kind} at {stage.snr:g} dB in {stage.background}, {stage.tone:.0f} Hz, seed {stage.seed}"
