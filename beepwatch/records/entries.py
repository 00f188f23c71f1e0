"""What the history holds besides listening spans and alarms, as frozen values; see `rows` for those.

Times are aware datetimes. `id` numbers a row of the file.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

from beepwatch.events import Priority
from beepwatch.records.rows import NoteKind

About: TypeAlias = Literal["alarm", "technical", "pause", "care"]
"""What a note or an attempt to wake somebody can be about."""
Purpose: TypeAlias = Literal["bath", "care", "battery", "hospital", "away"]
"""What a planned pause is for."""
PauseEnd: TypeAlias = Literal["due", "person", "restart"]
"""Its time was up; somebody ended it before; beepwatch was started anew with the pause taken up as another."""
TechnicalKind: TypeAlias = Literal["raised", "changed", "ended"] | NoteKind
"""What may happen to a technical alarm: as to any other (see `NoteKind`)."""
Finding: TypeAlias = Literal["cable", "battery", "false-alarm", "other"]
"""What an alarm turned out to be, as a person says afterwards."""
CareKind: TypeAlias = Literal["armed", "disarmed", "done", "reminded", "forecast", "postponed"]
"""A routine was begun after "does your own clinic say this?", ended, done, reminded of, forecast, put off."""
Correctable: TypeAlias = Literal["care", "found", "note", "pause"]
"""Tables whose rows a person writes and can correct."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try to wake somebody."""

    way: str
    """By what: "speaker", "voice", "page", "bedside", "command" or the like."""
    ok: bool
    """Whether it went out as far as can be known; a failed one starts the next step."""
    who: str | None = None
    """Whom it was meant for."""
    detail: str | None = None
    """What failed, in words."""
    step: int | None = None
    """Of the ladder, from 1."""
    after: float | None = None
    """s since the alarm was raised, by a clock that is never set."""


@dataclass(frozen=True, slots=True)
class Clip:
    """A short sound of an alarm, in a file of the folder `clips` beside the history."""

    file: str
    """Its name in that folder."""
    sha256: bytes
    """Of the file."""
    size: int
    """Bytes."""
    began: datetime
    seconds: float
    tone: float
    """Hz round which it keeps sound, with the tone's harmonics."""


@dataclass(frozen=True, slots=True)
class CareEvent:
    """One entry of a care routine."""

    routine: str
    kind: CareKind
    at: datetime
    """When it was done, reminded of, ...: a person may enter it later."""
    due: datetime | None = None
    """When it is due next, or forecast to be."""
    hours: float | None = None
    """Hours of use that a battery had."""
    reason: str | None = None
    """Why now: "rhythm", "damp", "dirty", "alarm" or words of the family."""
    who: str | None = None
    alarm: int | None = None
    """The alarm that it answers."""


@dataclass(frozen=True, slots=True)
class Tried:
    """An attempt as the history has it."""

    id: int
    about: About
    about_id: int
    at: datetime
    attempt: Attempt


@dataclass(frozen=True, slots=True)
class Found:
    """What a person said an alarm had been."""

    id: int
    alarm: int
    what: Finding
    at: datetime
    who: str | None


@dataclass(frozen=True, slots=True)
class Note:
    """A person's own words; `text` None where they were deleted."""

    id: int
    about: About
    about_id: int
    at: datetime
    who: str | None
    text: str | None


@dataclass(frozen=True, slots=True)
class LoggedCare:
    """An entry of a care routine as the history has it."""

    id: int
    event: CareEvent


@dataclass(frozen=True, slots=True)
class LoggedClip:
    """A clip as the history has it; `deleted` None while its file should be there."""

    id: int
    alarm: int
    clip: Clip
    deleted: datetime | None


@dataclass(frozen=True, slots=True)
class Technical:
    """A technical alarm condition."""

    id: int
    span: int | None
    cause: str
    priority: Priority
    why: str
    began: datetime
    raised: datetime
    ended: datetime | None
    answered: datetime | None
    answered_by: str | None
    answered_way: str | None


@dataclass(frozen=True, slots=True)
class Pause:
    """A planned pause."""

    id: int
    span: int | None
    purpose: Purpose
    who: str | None
    began: datetime
    planned: datetime
    ended: datetime | None
    how: PauseEnd | None

    @property
    def until(self) -> datetime:
        """When it ended; without an end (it goes on, or a crash fell into it), when it was to end."""
        return self.planned if self.ended is None else self.ended


@dataclass(frozen=True, slots=True)
class Margins:
    """Up to an hour of hearing margin: a figure a minute in dB from `began` on, None where it is unknown."""

    span: int
    began: datetime
    figures: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class InForce:
    """Settings that held from `at` on; `text` None where it was deleted."""

    at: datetime
    text: str | None
