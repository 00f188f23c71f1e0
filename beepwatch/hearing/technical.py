"""Technical alarm conditions (the term of IEC 60601-1-8, quoted): every cause of not hearing or not waking. Pure.

`TABLE` is the one place where it stands what is told when, with which message, and how it ends. The README's table is
`rendered()`, and a test holds both equal.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Cause: TypeAlias = Literal[
    "no-sound",
    "server-hung",
    "frames-short",
    "digital-silence",
    "frozen-sound",
    "microphone-moved",
    "not-understood",
    "watch-ended",
    "margin-low",
    "gain-dropped",
    "cannot-wake",
    "speaker-muted",
    "speaker-not-heard",
    "disk-full",
    "clock-set",
    "mains-lost",
    "not-started",
    "clipping",
    "cough",
    "way-gone",
    "guard-gone",
    "may-sleep",
    "bedside-gone",
    "room-louder",
]
Level: TypeAlias = Literal["high", "medium", "shown"]
"""Priority of the alarm, or only shown."""

TOLD = 5.0
"""s without hearing until it is told on the screen and kept as a gap in the history (judgement: a busy machine or a
replugged cable is often over by then)."""
SOUNDED = 7.0
"""s without hearing until somebody is woken for it: within 10 s, and frames and speaker may take 3 (judgement)."""
BEHIND = 3.0
"""s that a block may be old when the recogniser has it (judgement: alarms are told too late by then)."""
MARGIN = 6.0
"""dB of hearing margin below which beeps may be missed soon: it is good to 6 dB (measured), so it may be 0."""
DISK = 50e6
"""Bytes of free space under which the history may not fit: a night takes under 5 MB (judgement)."""
CLOCK = 60.0
"""s by which the clock may be set without a word to wake for: time services correct by less (judgement)."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One cause."""

    cause: Cause
    level: Level
    seconds: float
    """s that it lasts until somebody is woken (or, where only shown, until it is told)."""
    message: str
    """Which words of messages.toml are spoken; "" where it is only shown."""
    reason: str
    """What is wrong, for the screen and the history."""
    recovery: str
    """What beepwatch does about it by itself, and when it is over."""
    clears: float = 0.0
    """s that it has to be away until it is over."""

    @property
    def sounded(self) -> bool:
        """Whether it wakes anybody."""
        return self.level != "shown"


TABLE: tuple[Condition, ...] = (
    Condition(
        "no-sound", "high", SOUNDED, "cannot-hear", "no sound came from the microphone",
        "opens the microphone anew after 2 s and again and again; looks anew which devices there are",
    ),
    Condition(
        "server-hung", "high", SOUNDED, "cannot-hear-hung", "the sound system does not answer",
        "sounds by the second way at once; tries again; ends itself and is started anew where only a new start helps",
    ),
    Condition(
        "frames-short", "high", SOUNDED, "cannot-hear-holes", "much of the sound is lost on its way",
        "over once 6 s came without a loss",
    ),
    Condition(
        "digital-silence", "high", SOUNDED, "cannot-hear-muted",
        "the microphone gave digital silence: it is muted, or another one took its place",
        "opens the microphone anew, at most each 30 s; over with the first sound",
    ),
    Condition(
        "frozen-sound", "high", SOUNDED, "cannot-hear-frozen", "the microphone gives the same sound again and again",
        "opens the microphone anew, at most each 30 s; over with the first new sound",
    ),
    Condition(
        "microphone-moved", "high", SOUNDED, "cannot-hear-moved", "the sound comes from another microphone",
        "opens the microphone anew, at most each 30 s; over once the sound comes from the first one",
    ),
    Condition(
        "not-understood", "high", SOUNDED, "cannot-hear-slow", "the recogniser failed or was too slow",
        "begins with a new recogniser; over with the next block that is understood in time",
    ),
    Condition(
        "watch-ended", "high", SOUNDED, "cannot-hear-ended", "the program that listens was ended, or hangs",
        "the second process (`--guarded`) sounds, ends what hangs and starts it anew",
    ),
    Condition(
        "margin-low", "medium", 300.0, "margin-low", "your device would hardly be heard",
        "over once the margin is over 6 dB for 1 min", clears=60.0,
    ),
    Condition(
        "gain-dropped", "medium", 60.0, "gain-dropped", "the microphone gives far less than it ever did",
        "over once it gives as much as it did", clears=10.0,
    ),
    Condition(
        "cannot-wake", "medium", 10.0, "cannot-wake", "the loudspeaker cannot be heard",
        "sounds by the second way; tries the loudspeaker again and again; over once it has sounded for 5 s", clears=5.0,
    ),
    Condition(
        "speaker-muted", "medium", 60.0, "cannot-wake", "the loudspeaker is muted",
        "looked at each minute (PulseAudio, PipeWire); sounds by the second way",
    ),
    Condition(
        "speaker-not-heard", "medium", 0.0, "cannot-wake", "the loudspeaker failed its daily test by day",
        "tried again each 10 min; over once it is heard",
    ),
    Condition(
        "bedside-gone", "medium", 0.0, "bedside-gone", "the computer beside the caregiver has fallen silent",
        "told 6 s after its last word; sounds here meanwhile; over with its next word",
    ),
    Condition(
        "disk-full", "medium", 60.0, "disk-full", "the history cannot be written, or soon not",
        "keeps the history in memory and writes it once there is room",
    ),
    Condition(
        "clock-set", "medium", 0.0, "clock-set", "the computer's clock was set by more than a minute",
        "goes on by the new clock; over after 1 min", clears=60.0,
    ),
    Condition(
        "mains-lost", "medium", 60.0, "mains-lost", "the computer runs on its battery",
        "over once the mains are back",
    ),
    Condition(
        "not-started", "medium", 0.0, "not-started", "tonight's listening has not started",
        "looked at once, at the evening hour that is set",
    ),
    Condition(
        "clipping", "shown", 10.0, "", "the sound is too loud for the microphone's setting", "over after 1 min",
        clears=60.0,
    ),
    Condition(
        "cough", "shown", 0.0, "", "a piece of sound was lost", "the piece is a gap in the history",
        clears=10.0,
    ),
    Condition("way-gone", "shown", 0.0, "", "one of several ways to wake you does not work", "tried again each day"),
    Condition(
        "guard-gone", "shown", 10.0, "", "the second process (`--guarded`) has gone", "goes on alone; start it anew",
    ),
    Condition(
        "may-sleep", "shown", 0.0, "", "this computer may go to sleep, and then nothing listens",
        "held awake where the system lets it; told at each start where not",
    ),
    Condition(
        "room-louder", "shown", 300.0, "", "the room is much louder than it usually is", "over once it is as usual",
        clears=60.0,
    ),
)  # fmt: skip
"""High: in the order of the sound's way, the first that holds is told. Shown: told on the screen, nobody is woken."""

BY_CAUSE: dict[Cause, Condition] = {condition.cause: condition for condition in TABLE}
MESSAGES = frozenset(condition.message for condition in TABLE if condition.sounded)
"""Patterns of messages.toml that tell of beepwatch itself, and of no beep."""


def rendered() -> str:
    """The table as Markdown."""
    rows = ["| cause | what is wrong | priority | after | what happens by itself |", "|---|---|---|---|---|"]
    rows += [
        f"| `{one.cause}` | {one.reason} | {_level(one)} | {_after(one.seconds)} | {one.recovery} |" for one in TABLE
    ]
    return "\n".join(rows)


def _level(one: Condition) -> str:
    return one.level if one.sounded else "shown only"


def _after(seconds: float) -> str:
    if not seconds:
        return "at once"
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
