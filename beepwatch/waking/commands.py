"""What a person can tell a running `watch`, from whatever place: keyboard, keypad, command line, page, hub.

Each is a frozen value that the loop takes from a queue (`Watch.command`, from any thread). `by` is who says so, as
far as it is known ("" where not); `via` is the place ("keyboard", "keypad", "terminal", "page", ...). Both are kept
in the history and shown; nothing is decided by them.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Purpose: TypeAlias = Literal["bath", "care", "battery", "hospital", "away"]
"""What a planned pause is for."""
Cause: TypeAlias = Literal["cable", "battery", "false-alarm", "other"]
"""What an alarm turned out to be, as the person who went says."""


@dataclass(frozen=True, slots=True)
class Going:
    """ "I am going": acknowledges (IEC 60601-1-8, quoted: silenced until the condition ends)."""

    by: str
    via: str
    alarm: int | None = None
    """Number of the one alarm that it answers; None: all that wake now."""


@dataclass(frozen=True, slots=True)
class Pause:
    """Do not wake for the device for a stated time ("audio paused", IEC 60601-1-8, quoted); smoke and gas stay on."""

    seconds: float
    """From now on; over 0."""
    purpose: Purpose
    by: str
    via: str


@dataclass(frozen=True, slots=True)
class Resume:
    """End the pause now."""

    by: str
    via: str


@dataclass(frozen=True, slots=True)
class Found:
    """The answer to the one question afterwards: what was it?"""

    alarm: int | None
    """Number of the alarm; None: all that are asked about."""
    what: Cause
    by: str
    via: str


@dataclass(frozen=True, slots=True)
class Changed:
    """The main battery was changed: no more reminders."""

    by: str
    via: str
    what: Literal["main-battery"] = "main-battery"


@dataclass(frozen=True, slots=True)
class Noted:
    """What is written down of an alarm of any night, long after it perhaps: what it was, a note, or both."""

    alarm: int
    """Its row in the history: not the number that other commands name."""
    what: Cause | None
    words: str
    """In one's own words; "" for none."""
    by: str
    via: str
    changed: float | None = None
    """s of the epoch at which the main battery counts as changed by this; None: it does not."""


Command: TypeAlias = Going | Pause | Resume | Found | Changed | Noted
