"""The rules of waking: which alarms wake, which are kept, and the table of what happens to one.

Every alarm is in one of five states:

    SHOWN         on the screen only: of low priority (`unknown`, unless it has the device's own tone)
    SOUNDING      wakes: tone and message again and again
    STOPPED       wakes: nobody has answered, and the beeping has stopped; the message says so
    ACKNOWLEDGED  a person answered: silenced until the condition ends (IEC 60601-1-8, quoted)
    PAUSED        "audio paused": silenced for a stated time (IEC 60601-1-8, quoted), by a planned pause

and leaves the table when it is over. What may happen to it:

    renamed       it has another pattern or priority now, no lower than before and not low
    played-down   it has another pattern or priority now, lower than before or low
    ended         its beeping stopped, or another alarm took its place
    again         it beeps, perhaps after it had stopped
    acknowledged  a person said "I am going": a key says it of all alarms at once
    unmended      it is of high priority, and beeps still `UNMENDED` s after a person said "I am going"
    paused        a planned pause begins; smoke and gas (`THROUGH`) stay on
    resumed       the pause is over, or the alarm is one that stays on in a pause

An alarm that is new begins as SOUNDING, or as SHOWN where it is of low priority; so does one that is raised or
beeps again after it was over. `TABLE` holds each pair. Why it is so, where the answer is not plain:

- Once it wakes, only a person ends it, or else the condition itself where no name of it was one that is kept
  (see below). A better guess at its name does not: nobody has looked yet, so a played-down alarm goes on.
- An acknowledged alarm that turns out to be another, no less urgent one is another condition: it wakes again.
  What was looked at was the wrong thing.
- Kept until a person answers, even if the beeping stops: all of high priority, and medium ones of the device
  itself. Lead and battery: a device without power beeps no more, so the end of the beeping proves nothing.
  Fire and carbon monoxide: a detector may be lost to either. The backup battery is of medium priority, but it
  speaks once an hour: its end means that it did not speak when due, which an empty battery does as well
  as a changed one, and somebody who had changed it would have pressed the key. Not kept: medical-medium,
  another device's call, which that device takes back itself; each wake for nothing costs a later answer
  (Cvach 2014). Nor is beepwatch's own "cannot hear" kept: it knows when it hears again.
- A medium alarm stops when acknowledged, like every other; its end after that is only shown.
- Whoever plans a pause is at the bedside: what was waiting for somebody to come needs nobody any more, and what
  begins and ends within the pause wakes nobody. What beeps when the pause is over wakes as if it were new.
- Somebody who went 90 s ago and has not ended the beeping may have fallen asleep again or need a hand: the second
  caregiver is called. Only for high priority: a backup battery may be changed in the morning.
"""

from enum import Enum, auto
from typing import Literal, TypeAlias

from beepwatch.events import Priority
from beepwatch.hearing.technical import MESSAGES as TECHNICAL

RANKS: tuple[Priority, ...] = ("high", "medium", "low")
"""Priorities, most urgent first."""
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
THROUGH = frozenset({"fire", "carbon-monoxide"})
"""Patterns that wake in a planned pause too: they are not of the device, and nobody planned them."""
UNMENDED = 90.0
"""s after "I am going" in which a high alarm should have fallen silent (the household's rule; judgement)."""
PASSING = frozenset({"medical-medium", *TECHNICAL})
"""Patterns that wake, but no longer than their condition lasts."""


class State(Enum):
    """Where an alarm stands; OVER is not kept."""

    SHOWN = auto()
    SOUNDING = auto()
    STOPPED = auto()
    ACKNOWLEDGED = auto()
    PAUSED = auto()
    OVER = auto()


Happening: TypeAlias = Literal[
    "renamed", "played-down", "ended", "again", "acknowledged", "unmended", "paused", "resumed"
]

# (state, what happens) -> (state of a kept pattern, state of any other)
TABLE: dict[tuple[State, Happening], tuple[State, State]] = {
    (State.SHOWN, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.SHOWN, "played-down"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "ended"): (State.OVER, State.OVER),
    (State.SHOWN, "again"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "acknowledged"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "unmended"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "paused"): (State.SHOWN, State.SHOWN),
    (State.SHOWN, "resumed"): (State.SHOWN, State.SHOWN),
    (State.SOUNDING, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "played-down"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "ended"): (State.STOPPED, State.OVER),
    (State.SOUNDING, "again"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "acknowledged"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.SOUNDING, "unmended"): (State.SOUNDING, State.SOUNDING),
    (State.SOUNDING, "paused"): (State.PAUSED, State.PAUSED),
    (State.SOUNDING, "resumed"): (State.SOUNDING, State.SOUNDING),
    (State.STOPPED, "renamed"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "played-down"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "ended"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "again"): (State.SOUNDING, State.SOUNDING),
    (State.STOPPED, "acknowledged"): (State.OVER, State.OVER),
    (State.STOPPED, "unmended"): (State.STOPPED, State.STOPPED),
    (State.STOPPED, "paused"): (State.OVER, State.OVER),
    (State.STOPPED, "resumed"): (State.STOPPED, State.STOPPED),
    (State.ACKNOWLEDGED, "renamed"): (State.SOUNDING, State.SOUNDING),
    (State.ACKNOWLEDGED, "played-down"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.ACKNOWLEDGED, "ended"): (State.OVER, State.OVER),
    (State.ACKNOWLEDGED, "again"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.ACKNOWLEDGED, "acknowledged"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.ACKNOWLEDGED, "unmended"): (State.SOUNDING, State.SOUNDING),
    (State.ACKNOWLEDGED, "paused"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.ACKNOWLEDGED, "resumed"): (State.ACKNOWLEDGED, State.ACKNOWLEDGED),
    (State.PAUSED, "renamed"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "played-down"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "ended"): (State.OVER, State.OVER),
    (State.PAUSED, "again"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "acknowledged"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "unmended"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "paused"): (State.PAUSED, State.PAUSED),
    (State.PAUSED, "resumed"): (State.SOUNDING, State.SOUNDING),
}
LOUD = frozenset({State.SOUNDING, State.STOPPED})
"""The states that wake."""


def urgency(pattern: str, priority: Priority) -> tuple[int, int]:
    """Sort key: the smaller, the more urgent. Patterns not named in `URGENCY` come last in their priority."""
    place = URGENCY.index(pattern) if pattern in URGENCY else len(URGENCY)
    return RANKS.index(priority), place


def wakes(priority: Priority) -> bool:
    """Does an alarm of this priority wake anybody?"""
    return priority != "low"


def kept(pattern: str, priority: Priority) -> bool:
    """Does it go on until a person answers, even if the beeping stops?"""
    return wakes(priority) and pattern not in PASSING
