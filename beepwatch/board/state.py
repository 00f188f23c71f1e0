"""How things stand: one frozen value, complete in itself, so that a reader that missed ten of them has missed nothing.

Wall times are aware datetimes in the household's zone. Nothing here is a secret, but names of the family are in it.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, TypeAlias

from beepwatch.events import Priority

Hearing: TypeAlias = Literal["listening", "deaf", "paused", "ended"]
"""deaf: it cannot hear, see `State.why`; paused: a person asked for it; ended: `watch` was told to stop."""
Stage: TypeAlias = Literal["waking", "stopped", "answered", "paused", "shown"]
"""waking: it sounds and nobody has answered; stopped: the same, and the beeping has stopped; answered: a person goes,
silenced until the condition ends; paused: silenced for a planned pause; shown: of low priority, it wakes nobody."""
TRACE = 48
"""Levels in `State.levels`."""
EVENTS = 100
"""Events of the night kept on the board: the history has them all."""


@dataclass(frozen=True, slots=True)
class OpenAlarm:
    """An alarm that is not over."""

    number: int
    """`Alarm.number`; below 0 for beepwatch's own "cannot hear". Of one run of `watch` only: see `State.run`."""
    pattern: str
    priority: Priority
    title: str
    """One line, without the person's name where none is set."""
    lines: tuple[str, ...]
    """What to do: who goes, look at the person first, the backup plan, what it means, what to check."""
    since: datetime
    stage: Stage
    why: str = ""
    """The sentence of evidence."""
    going: str = ""
    """Who said "I am going"; "" while nobody has."""
    answered: datetime | None = None
    drill: bool = False
    """A rehearsal: marked as drill wherever it is shown."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Somebody went to this alarm, and nobody has said yet what it was; it may be over."""

    number: int
    title: str


@dataclass(frozen=True, slots=True)
class Happened:
    """One line of tonight's events."""

    at: datetime
    text: str
    alarm: int | None = None
    """The alarm that it is about."""


@dataclass(frozen=True, slots=True)
class State:
    """All that there is to show."""

    hearing: Hearing = "ended"
    why: str = ""
    """Why it does not hear, in plain words; "" while it does."""
    since: datetime | None = None
    """Since when `hearing` is as it is."""
    paused_until: datetime | None = None
    heard_at: datetime | None = None
    """When sound last came from the room and was understood."""
    levels: tuple[float, ...] = ()
    """dBFS of the loudest moment of each half second, oldest first, at most `TRACE` (24 s); -inf: silence."""
    margin: float | None = None
    """dB by which the device's beep stands over what hearing needs; None where the beep was not taught here."""
    alarms: tuple[OpenAlarm, ...] = ()
    """Most urgent first."""
    events: tuple[Happened, ...] = field(default=())
    """Tonight's, newest first, at most `EVENTS`."""
    caution: str = ""
    """The sentence that every screen carries."""
    asked: tuple[Asked, ...] = ()
    """What a person should say afterwards."""
    run: str = ""
    """Names this run of `watch`: alarm numbers are told apart by it after a restart."""

    @property
    def waking(self) -> tuple[OpenAlarm, ...]:
        """The alarms that wake somebody now."""
        return tuple(alarm for alarm in self.alarms if alarm.stage in ("waking", "stopped"))
