"""The records of `beepwatch review --format jsonl`: a contract, its keys and their order are kept exactly.

Times are seconds from the file's start to 1 ms, tones Hz to 0.01 Hz, levels dBFS and SNR dB to 0.1 dB.
"""

import math

import msgspec

from beepwatch.cli.reporting.order import Known
from beepwatch.events import Alarm, Beep, Priority, SteadyTone

MOST_DB = 200.0
"""What stands for an SNR or level without end, as of a beep in digital silence: JSON has no infinity."""


class BeepRecord(msgspec.Struct, frozen=True, tag_field="record", tag="beep"):
    """One beep."""

    file: str
    onset: float
    duration: float
    frequency: float
    level: float
    snr: float


class ToneRecord(msgspec.Struct, frozen=True, tag_field="record", tag="tone"):
    """One steady tone, a hum that began while listening."""

    file: str
    onset: float
    frequency: float
    level: float


class AlarmRecord(msgspec.Struct, frozen=True, tag_field="record", tag="alarm"):
    """One alarm, however long it lasted; `ended` null when it still went on at the end of the file."""

    file: str
    pattern: str
    priority: Priority
    onset: float
    raised: float
    ended: float | None
    beeps: int
    duration: float
    period: float | None
    frequency: float
    confidence: float
    why: str


def record(file: str, known: Known) -> BeepRecord | ToneRecord | AlarmRecord:
    """The record of what was heard in `file`."""
    match known:
        case Beep():
            return BeepRecord(
                file,
                time(known.onset),
                time(known.duration),
                round(known.frequency, 2),
                decibels(known.level),
                decibels(known.snr),
            )
        case SteadyTone():
            return ToneRecord(file, time(known.onset), round(known.frequency, 2), decibels(known.level))
        case Alarm():
            return _alarm(file, known)


def _alarm(file: str, alarm: Alarm) -> AlarmRecord:
    return AlarmRecord(
        file,
        alarm.pattern,
        alarm.priority,
        time(alarm.onset),
        time(alarm.raised),
        None if alarm.ended is None else time(alarm.ended),
        alarm.beeps,
        time(alarm.duration),
        None if alarm.period is None else time(alarm.period),
        round(alarm.frequency, 2),
        round(alarm.confidence, 4),
        alarm.why,
    )


def time(seconds: float) -> float:
    """Seconds to 1 ms; an onset a hair before the first sample is at 0."""
    return max(round(seconds, 3), 0.0)


def decibels(value: float) -> float:
    """dB to 0.1, kept finite."""
    return round(min(max(value, -MOST_DB), MOST_DB), 1) if not math.isnan(value) else -MOST_DB
