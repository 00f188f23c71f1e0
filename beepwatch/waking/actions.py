"""What `Escalation` asks for: small frozen orders that the watch loop hands to channels, screen and history.

A list of actions is carried out in its order. After a `Sound` always comes the one `Say` that belongs to it.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from beepwatch.events import Priority
from beepwatch.waking.commands import Cause

Kind: TypeAlias = Literal[
    "woken", "acknowledged", "stopped", "paused", "resumed", "again", "reminded", "found", "battery-changed"
]
"""woken: a wake sound was asked for; acknowledged: a person answered; stopped: the beeping stopped; paused, resumed:
silenced for a planned pause, and no more; again: it beeps still, and the ladder begins anew; reminded: told once more
of a backup battery; found: a person says what it was; battery-changed: a
person says that the main battery is."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Sound the wake tone, and go on until `Quiet`. The same value again is no change: it goes on."""

    numbers: tuple[int, ...]
    """The alarms that it tells of (`Alarm.number`), most urgent first; never empty."""
    priority: Priority
    """Of the most urgent one."""
    drill: bool = False


@dataclass(frozen=True, slots=True)
class Remind:
    """Sound once, briefly, and say these lines once ("reminder signal", IEC 60601-1-8, quoted); not in an alarm."""

    number: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Say:
    """Speak these lines after each tone, in place of any told before."""

    lines: tuple[str, ...]
    pattern: str = ""
    """The alarm's, where the lines tell of one alarm alone."""
    opening: int = 0
    """How many of the lines come before that alarm's own message: names, and what is special."""


@dataclass(frozen=True, slots=True)
class Quiet:
    """Stop the tone and the voice at once."""


@dataclass(frozen=True, slots=True)
class Show:
    """Show this text, in place of the one before (several lines)."""

    text: str


@dataclass(frozen=True, slots=True)
class Note:
    """For the history of alarm `number`; `at` is the caller's `now`.

    A "woken" says that the sound was asked for. Write it down as woken only when the speaker reports
    `Started` with this number among its own: only then did a sound leave.
    """

    number: int
    kind: Kind
    at: float
    by: str = ""
    """Who said so, where it is a person's word and known."""
    via: str = ""
    """From which place."""
    what: Cause | None = None
    """found: what it was."""


@dataclass(frozen=True, slots=True)
class Alert:
    """What a way other than the loop's own sound tells one caregiver (see `channels.way`)."""

    numbers: tuple[int, ...]
    """The alarms that it tells of, most urgent first; never empty."""
    pattern: str
    """Of the most urgent one."""
    priority: Priority
    title: str
    """One line."""
    lines: tuple[str, ...]
    """What is to be said or shown, in order."""
    drill: bool
    """A rehearsal: `lines` and `title` say so too."""
    to: str
    """The caregiver's name; "" where none is known."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Let the way of this name alert somebody."""

    way: str
    alert: Alert


@dataclass(frozen=True, slots=True)
class Hush:
    """Tell the way of this name that these alarms need nobody any more."""

    way: str
    numbers: tuple[int, ...]


Action: TypeAlias = Sound | Say | Quiet | Remind | Reach | Hush | Show | Note
