"""What the tests of waking share: alarms in one line, and a speaker made of two variables."""

from collections.abc import Sequence

from beepwatch.events import Alarm, Priority
from beepwatch.waking.actions import Action, Note, Quiet, Say, Show, Sound

PRIORITIES: dict[str, Priority] = {
    "lead-disconnect": "high",
    "battery-critical": "high",
    "backup-battery": "medium",
    "fire": "high",
    "carbon-monoxide": "high",
    "medical-high": "high",
    "medical-medium": "medium",
    "unknown": "low",
}
"""As the profiles have them."""


def alarm(number: int, pattern: str, priority: Priority | None = None) -> Alarm:
    """An alarm as the recogniser tells it."""
    return Alarm(
        number=number,
        pattern=pattern,
        priority=priority or PRIORITIES[pattern],
        onset=0.0,
        raised=10.0,
        ended=None,
        last=10.0,
        beeps=3,
        duration=1.2,
        period=5.0,
        frequency=2730.0,
        confidence=0.9,
        why="3 beeps of 1.2 s",
    )


class Bedside:
    """Carries out actions as the watch loop does, and keeps what a person would notice."""

    def __init__(self) -> None:
        self.sound: Sound | None = None
        self.lines: tuple[str, ...] = ()
        self.screen = ""
        self.notes: list[tuple[int, str, float]] = []

    def do(self, actions: Sequence[Action]) -> None:
        """Carry them out, in order."""
        for action in actions:
            match action:
                case Sound():
                    self.sound = action
                case Say(lines):
                    assert self.sound is not None, "a Say without its Sound"
                    self.lines = lines
                case Quiet():
                    self.sound, self.lines = None, ()
                case Show(text):
                    self.screen = text
                case Note(number, kind, at):
                    self.notes.append((number, kind, at))
