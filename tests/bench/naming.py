"""How well alarms are named: in rooms, in ordinary recordings, beside other makers' beeps, and what it costs.

`python -m tests.bench.naming [--quick] [--seed 1] [--only SECTION] [--out FOLDER]` prints one table a section and
writes `naming.json` in FOLDER (tests/bench/results):
- rooms: every alarm in furnished-room echo at +10 to -14 dB in noise, talk, music and snoring (tests/bench/stages.py),
  untaught and told its tone 1 or 2 % wrong: named, wrongly named, split in two, and how late;
- late: lead-disconnect of those scenes by background and SNR;
- missed: simulated breaths of which 20 or 40 % go unheard, or that wander by 10 %: breaths until named;
- makers: other makers' beeps, untaught and told their own tone;
- recordings: every sound of tests/realsounds.py at four levels, untaught, and at -25 dBFS with 20 taught tones;
- cost: processor time of naming over that of hearing, in a quiet night and in music.
One core. The whole takes about an hour, most of it the taught tones; `--quick` is a tenth of each section.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from beepwatch.events import Beep, Changed, Heard, Raised
from beepwatch.patterns import Matcher
from tests.bench.nights import DEVICE, WAKES
from tests.bench.stages import Stage

FOLDER = Path(__file__).parent / "results"
LEVELS = (-45.0, -35.0, -25.0, -15.0)
FLOOR = -69.0
"""dBFS of white noise under the recordings, so that none is digitally silent."""
TAUGHT_TONES = tuple(float(tone) for tone in np.geomspace(1900, 4100, 20).round())
QUANTILES = (("median", 0.5), ("p95", 0.95), ("most", 1.0))
ABLE = 0.6
"""Share of the beeps that hearing must tell for a scene to count as heard."""
NEEDED = {"fire": 2, "carbon-monoxide": 2, "medical-high": 2, "medical-medium": 3}
"""Groups after which a counted signal could be named (its profile)."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: a name and its figures."""

    section: str
    name: str
    figures: dict[str, float | int | str] = field(default_factory=dict)
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
    error: float | None
    """Relative error of the period, where it was named."""

    @property
    def able(self) -> bool:
        """Whether hearing told ABLE of its beeps."""
        return self.share >= ABLE


def name(told: Sequence[Heard], tone: float | None) -> list[Raised | Changed]:
    """Every alarm that a fresh matcher raises or renames, of those that wake."""
    matcher = Matcher(tone)
    events = [out for one in told for out in matcher.hear(one)]
    return [
        e for e in events if (isinstance(e, Raised) or (isinstance(e, Changed) and e.was)) and e.alarm.pattern in WAKES
    ]


def complete(stage: Stage, taught: bool) -> float:
    """s at which the evidence is complete: the second breath taught, the third untaught; the first long tone."""
    pulses = stage.pulses
    if stage.name == "lead-disconnect":
        return sum(pulses[1 if taught else 2])
    if stage.name == "battery-critical":
        return pulses[0][0] + (13.0 if taught else 20.0)
    groups = NEEDED.get(stage.name or "", 1)
    size = next((i for i in range(1, len(pulses)) if pulses[i][0] - pulses[i - 1][0] > 2.2), len(pulses))
    return sum(pulses[min(len(pulses), groups * size) - 1])


def judged(stage: Stage, told: Sequence[Heard], tone: float | None) -> Outcome:
    """One scene through a fresh matcher."""
    named = name(told, tone)
    right = [e for e in named if e.alarm.pattern == stage.name]
    wrong = tuple(f"{e.alarm.pattern} at {e.at:.1f} s" for e in named if e.alarm.pattern != stage.name)
    beeps = [one for one in told if isinstance(one, Beep)]
    share = sum(
        any(abs(b.onset - onset) < 0.15 and abs(b.duration - length) < 0.3 * length + 0.05 for b in beeps)
        for onset, length in stage.pulses
    ) / max(1, len(stage.pulses))
    late = right[0].at - complete(stage, tone is not None) if right else None
    return Outcome(stage, late, wrong, len(right), share, None)


def tone_told(stage: Stage) -> float:
    """The tone that is taught: the device's own 2 % wrong, another's 1 %."""
    return stage.tone * (1.02 if stage.name in DEVICE else 1.01)


def summed(section: str, title: str, outcomes: Sequence[Outcome]) -> Row:
    """Counts and delays of many scenes."""
    late = sorted(one.late for one in outcomes if one.late is not None)
    able = [one for one in outcomes if one.able]
    figures: dict[str, float | int | str] = {
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
    worst = [f"{title} {_where(o)}: wrongly {', '.join(o.wrong)}" for o in outcomes if o.wrong]
    worst += [f"{title} {_where(o)}: not named" for o in able if o.late is None]
    return Row(section, title, figures, tuple(worst))


def _where(outcome: Outcome) -> str:
    stage = outcome.stage
    return f"{stage.kind} at {stage.snr:g} dB in {stage.background}, {stage.tone:.0f} Hz, seed {stage.seed}"
