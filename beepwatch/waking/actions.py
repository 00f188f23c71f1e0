"""What `Escalation` asks for: small frozen orders that the watch loop hands to channels, screen and history.

A list of actions is carried out in its order. After a `Sound` always comes the one `Say` that belongs to it.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from beepwatch.events import Priority

Kind: TypeAlias = Literal["woken", "acknowledged", "stopped"]
"""woken: a wake sound was asked for; acknowledged: a person answered; stopped: the beeping stopped."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Sound the wake tone, and go on until `Quiet`. The same value again is no change: it goes on."""

    numbers: tuple[int, ...]
    """The alarms that it tells of (`Alarm.number`), most urgent first; never empty."""
    priority: Priority
    """Of the most urgent one."""


@dataclass(frozen=True, slots=True)
class Say:
    """Speak these lines after each tone, in place of any told before."""

    lines: tuple[str, ...]


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


Action: TypeAlias = Sound | Say | Quiet | Show | Note
