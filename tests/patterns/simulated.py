"""Simulated beeps: what hearing would tell, without the sound."""

from collections.abc import Iterable, Sequence

from beepwatch.events import (
    Alarm,
    AlarmEvent,
    Beep,
    Changed,
    Character,
    Ended,
    Heard,
    Noise,
    Raised,
    Sounding,
)
from beepwatch.patterns import Matcher

LATENCY = 0.45
"""Seconds after its end at which hearing tells a beep (measured by a prototype)."""


def beep(
    onset: float,
    duration: float,
    frequency: float = 2730.0,
    *,
    level: float = -30.0,
    snr: float = 10.0,
    onset_known: bool = True,
    character: Character | None = None,
) -> Beep:
    """A beep as hearing would tell it; a clean buzzer unless told otherwise."""
    return Beep(
        onset=onset,
        duration=duration,
        frequency=frequency,
        level=level,
        snr=snr,
        known=onset + duration + LATENCY,
        onset_known=onset_known,
        character=character or Character(),
    )


def sounding(onset: float, lasted: float, frequency: float = 2730.0, character: Character | None = None) -> Sounding:
    """A tone under way that has just lasted an asked length."""
    return Sounding(onset, lasted, frequency, -30.0, 10.0, onset + lasted + 0.1, True, character or Character())


def breaths(
    count: int, period: float = 5.0, duration: float = 1.2, start: float = 3.0, frequency: float = 2730.0
) -> list[Beep]:
    """`count` beeps of `duration`, one every `period`, from `start` on."""
    return [beep(start + period * index, duration, frequency) for index in range(count)]


def bursts(
    offsets: Sequence[float],
    pulse: float,
    cycle: float,
    count: int,
    *,
    frequency: float = 3100.0,
    start: float = 3.0,
) -> list[Beep]:
    """`count` groups of pulses of length `pulse` at `offsets` from the group's start, one group every `cycle`."""
    return [beep(3.0 + cycle * group + offset, pulse, frequency) for group in range(count) for offset in offsets]


def known(event: Heard) -> float:
    """Stream time at which an event became known."""
    return event.at if isinstance(event, Noise) else event.known


def run(
    events: Iterable[Heard],
    tone: float | None = None,
    until: float | None = None,
    ticks: Iterable[float] = (),
) -> list[AlarmEvent]:
    """What a fresh matcher makes of events in order of `known`, ticked at `ticks`, the stream over at `until`."""
    matcher = Matcher(tone)
    told: list[AlarmEvent] = []
    line: list[tuple[float, int, Heard | None]] = [(known(event), 0, event) for event in events]
    line += [(time, 1, None) for time in ticks]
    line.sort(key=lambda entry: entry[:2])
    for time, _, event in line:
        told += matcher.tick(time) if event is None else matcher.hear(event)
    return told + matcher.flush(until if until is not None else line[-1][0])


def named(events: Iterable[AlarmEvent]) -> list[tuple[str, float]]:
    """(pattern, stream time) of every alarm raised and of every new name, in order."""
    return [
        (event.alarm.pattern, event.at)
        for event in events
        if isinstance(event, Raised) or (isinstance(event, Changed) and event.was is not None)
    ]


def names(events: Iterable[AlarmEvent]) -> list[str]:
    """The patterns alone."""
    return [pattern for pattern, _ in named(events)]


def raised_at(events: Iterable[AlarmEvent]) -> float:
    """Stream time of the one alarm that was raised."""
    ((_, at),) = named(events)
    return at


def final(events: Iterable[AlarmEvent]) -> list[Alarm]:
    """Each alarm as it last stood, by number."""
    last = {event.alarm.number: event.alarm for event in events}
    return [last[number] for number in sorted(last)]


def ends(events: Iterable[AlarmEvent]) -> list[Ended]:
    """The ends alone."""
    return [event for event in events if isinstance(event, Ended)]
