"""The rules of waking: which alarms wake, which are kept, and the table of what happens to one.

Every alarm is in one of four states:

    SHOWN         on the screen only: its pattern does not wake (`unknown`)
    SOUNDING      wakes: tone and message again and again
    STOPPED       wakes: nobody has answered, and the beeping has stopped; the message says so
    ACKNOWLEDGED  a person answered: silenced until the condition ends (IEC 60601-1-8, quoted)

and leaves the table when it is over. What may happen to it:

    renamed       it now has another pattern, which wakes and is of no lower priority than the old one
    played-down   it now has another pattern, of lower priority or one that does not wake
    ended         its beeping stopped, or another alarm took its place
    acknowledged  a person said "I am going": this goes to all alarms at once, as one key does

An alarm that is new begins as SOUNDING where its pattern wakes, else as SHOWN; so does a number that is
raised again. `TABLE` holds each pair. Why it is so, where the answer is not plain:

- Once it wakes, only a person ends it, or else the condition itself where no name of it was one that is kept
  (see `KEPT`). A better guess at its name does not: nobody has looked yet, so a played-down alarm goes on.
- An acknowledged alarm that turns out to be another, no less urgent one is another condition: it wakes again.
  What was looked at was the wrong thing.
- Kept until a person answers, even if the beeping stops: all of high priority, and the backup battery.
  Lead and battery: a device without power beeps no more, so the end of the beeping proves nothing. Fire and
  carbon monoxide: a detector may be lost to either. The backup battery is of medium priority, but it speaks
  once an hour: its end means an hour of silence, which an empty battery gives as well as a changed one, and
  somebody who had changed it would have pressed the key. Not kept: medical-medium, another device's call
  which that device takes back itself; each wake for nothing costs a later answer (Cvach 2014).
- A medium alarm stops when acknowledged, like every other; its end after that is only shown.
"""

from enum import Enum, auto
from typing import Literal, TypeAlias

from beepwatch.events import Priority

URGENCY = (
    "fire",
    "carbon-monoxide",
    "lead-disconnect",
    "battery-critical",
    "medical-high",
    "backup-battery",
    "medical-medium",
    "unknown",
)
"""Patterns, most urgent first: by priority, then those that threaten the whole house first (judgement)."""
WAKING = frozenset(URGENCY) - {"unknown"}
"""Patterns that wake; so does every pattern not named here whose priority is not low."""
KEPT = frozenset(URGENCY) - {"medical-medium", "unknown"}
"""Patterns that wake until a person answers, beeping or not; so does any unnamed one of high priority."""


class State(Enum):
    """Where an alarm stands; OVER is not kept."""

    SHOWN = auto()
    SOUNDING = auto()
    STOPPED = auto()
    ACKNOWLEDGED = auto()
    OVER = auto()


Happening: TypeAlias = Literal["renamed", "played-down", "ended", "acknowledged"]

# (state, what happens) -> (state of a kept pattern, state of any other)
TABLE: dict[tuple[State, Happening], tuple[State, State]] = {
    (State.SHOWN, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.SHOWN, "played-down"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "ended"): (State.OVER, State.OVER),
    (State.SHOWN, "acknowledged"): (State.SHOWN, State.SHOWN),
    (State.SOUNDING, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "played-down"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "ended"): (State.STOPPED, State.OVER),
    (State.SOUNDING, "acknowledged"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.STOPPED, "renamed"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "played-down"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "ended"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "acknowledged"): (State.OVER, State.OVER),
    (State.ACKNOWLEDGED, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.ACKNOWLEDGED, "played-down"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.ACKNOWLEDGED, "ended"): (State.OVER, State.OVER),
    (State.ACKNOWLEDGED, "acknowledged"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
}
LOUD = frozenset({State.SOUNDING, State.STOPPED})
"""The states that wake."""


def urgency(pattern: str, priority: Priority) -> tuple[int, int]:
    """Sort key: the smaller, the more urgent. Patterns not named in `URGENCY` come last in their priority."""
    place = URGENCY.index(pattern) if pattern in URGENCY else len(URGENCY)
    return ("high", "medium", "low").index(priority), place


def wakes(pattern: str, priority: Priority) -> bool:
    """Does an alarm of this pattern wake anybody?"""
    return pattern in WAKING or (pattern not in URGENCY and priority != "low")


def kept(pattern: str, priority: Priority) -> bool:
    """Does it go on until a person answers, even if the beeping stops?"""
    return pattern in KEPT or (pattern not in URGENCY and priority == "high")
