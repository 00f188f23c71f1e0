"""The patterns that a scenario can name: groups of pulses, the pauses in a group, the time between groups.

Sources
    The three device alarms: as the instructions of one family's device have it (common practice, no source);
    the tone is invented, inside the 2-4 kHz where most buzzers are (datasheets).
    fire: "temporal three" of ISO 8201 and ANSI S3.41, as quoted in building-code texts.
    carbon-monoxide: "temporal four" of NFPA 72 and UL 2034, quoted.
    medical-high, medical-medium: inside the bounds of IEC 60601-1-8, tables 3 and 4, quoted; four further
    components within 15 dB of the fundamental as its table of pulses asks, quoted.
    chirp: a household alarm's call for a new battery, about once a minute, quoted.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from beepwatch.events import Priority

PatternName: TypeAlias = Literal[
    "lead-disconnect",
    "backup-battery",
    "battery-critical",
    "fire",
    "carbon-monoxide",
    "medical-high",
    "medical-medium",
    "chirp",
    "beep",
    "hum",
]
"""`beep` is any plain repeated beep, `hum` one steady tone; neither is an alarm."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """One pattern: pulses of `pulse` s with `gaps` s of silence between them, a group every `period` s."""

    pulse: float
    period: float
    count: int
    tone: float
    gaps: tuple[float, ...] = ()
    harmonics: tuple[float, ...] = ()
    priority: Priority | None = None
    """None where it is no alarm."""

    def starts(self, pulse: float) -> list[float]:
        """Onset of each pulse of a group, s from the first, when each pulse lasts `pulse` s."""
        starts = [0.0]
        for gap in self.gaps:
            starts.append(starts[-1] + pulse + gap)
        return starts


_BUZZER = (-14.0, -10.0, -22.0)
_MEDICAL = (-3.0, -6.0, -8.0, -10.0)
_PAUSE = 0.1
_MEDICAL_PULSE = 0.15
_FIVE = (_PAUSE, _PAUSE, 2 * _PAUSE + _MEDICAL_PULSE, _PAUSE)

RHYTHMS: dict[PatternName, Rhythm] = {
    "lead-disconnect": Rhythm(1.2, 5.0, 12, 2730.0, harmonics=_BUZZER, priority="high"),
    "backup-battery": Rhythm(10.0, 3600.0, 1, 2730.0, harmonics=_BUZZER, priority="medium"),
    "battery-critical": Rhythm(20.0, 60.0, 3, 2730.0, harmonics=_BUZZER, priority="high"),
    "fire": Rhythm(0.5, 4.0, 8, 3100.0, (0.5, 0.5), _BUZZER, "high"),
    "carbon-monoxide": Rhythm(0.1, 5.7, 8, 3100.0, (0.1, 0.1, 0.1), _BUZZER, "high"),
    "medical-high": Rhythm(_MEDICAL_PULSE, 10.0, 6, 500.0, (*_FIVE, 0.8, *_FIVE), _MEDICAL, "high"),
    "medical-medium": Rhythm(0.2, 8.0, 6, 500.0, (0.2, 0.2), _MEDICAL, "medium"),
    "chirp": Rhythm(0.1, 60.0, 3, 3300.0, harmonics=_BUZZER),
    "beep": Rhythm(0.5, 2.0, 10, 1000.0),
    "hum": Rhythm(300.0, 3600.0, 1, 1000.0),
}
