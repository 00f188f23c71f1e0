"""What a rendered scene really holds: the key against which a listener is scored."""

import msgspec

from beepwatch.events import Priority


class BeepTruth(msgspec.Struct, frozen=True):
    """One beep; times s at half of its amplitude, mean frequency Hz, dBFS and SNR dB of its fundamental.

    In a room level and snr include the room's gain at the tone it settles at.
    """

    onset: float
    offset: float
    label: str
    frequency: float
    level: float
    snr: float


class AlarmTruth(msgspec.Struct, frozen=True):
    """One alarm, whose first beep begins at `onset` and whose last ends at `end` (or the scene does)."""

    pattern: str
    priority: Priority
    onset: float
    end: float
    beeps: int


class OtherTruth(msgspec.Struct, frozen=True):
    """A sound that is no beep: `hum` or `thump`."""

    onset: float
    offset: float
    label: str


class Truth(msgspec.Struct, frozen=True):
    """All of a scene, each list by onset. snr everywhere re the background in 0-8 kHz at `level` dBFS."""

    duration: float
    rate: int
    seed: int
    level: float
    beeps: tuple[BeepTruth, ...]
    alarms: tuple[AlarmTruth, ...]
    others: tuple[OtherTruth, ...]


def as_json(truth: Truth) -> str:
    """One JSON object, indented, keys as the structs above."""
    return msgspec.json.format(msgspec.json.encode(truth), indent=2).decode() + "\n"


def as_tsv(truth: Truth) -> str:
    """Tab-separated rows under a header: onset, offset, event_label, frequency; one a beep and one an alarm.

    A beep's label is `beep` and an alarm's its pattern, as `beepwatch review --format tsv` writes them: so
    event-based scores compare the two as they are. Frequency is empty for an alarm.
    """
    rows = [(beep.onset, beep.offset, "beep", f"{beep.frequency:.2f}") for beep in truth.beeps]
    rows += [(alarm.onset, alarm.end, alarm.pattern, "") for alarm in truth.alarms]
    lines = [f"{onset:.3f}\t{offset:.3f}\t{label}\t{tone}" for onset, offset, label, tone in sorted(rows)]
    return "\n".join(["onset\toffset\tevent_label\tfrequency", *lines]) + "\n"
