"""Can the room be heard at all? Not hearing is a technical alarm condition (IEC 60601-1-8, quoted). Pure.

no-sound          no block came from the microphone
digital-silence   every sample was exactly zero, which no microphone in a room gives
not-understood    blocks came, but the recogniser failed on them or was over 3 s behind
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Cause: TypeAlias = Literal["no-sound", "digital-silence", "not-understood"]

TOLD = 5.0
"""s without hearing until it is told on the screen and kept as a gap in the history (judgement)."""
SOUNDED = 10.0
"""s without hearing until somebody is woken for it (judgement)."""
BEHIND = 3.0
"""s that a block may be old when the recogniser has it (judgement: alarms are told too late by then)."""


@dataclass(frozen=True, slots=True)
class Deaf:
    """The room is not heard."""

    cause: Cause
    since: float
    """Clock time, s, at which it was last heard."""


class Health:
    """Keeps when the room was last heard; every time is given, in seconds of a clock that is never set."""

    def __init__(self, now: float) -> None:
        self._arrived = self._sounded = now
        self._failing: float | None = None

    def arrived(self, now: float, silent: bool) -> None:
        """A block came at `now`; `silent`: all of its samples were exactly zero."""
        self._arrived = now
        if not silent:
            self._sounded = now

    def understood(self, now: float, well: bool) -> None:
        """The recogniser had a block: `well`, or it failed on it or had it later than `BEHIND` s."""
        if well:
            self._failing = None
        elif self._failing is None:
            self._failing = now

    def deaf(self, now: float) -> Deaf | None:
        """What is wrong at `now`, the first cause on the way of the sound; None while the room is heard."""
        causes: tuple[tuple[Cause, float], ...] = (
            ("no-sound", self._arrived),
            ("digital-silence", self._sounded),
            ("not-understood", now if self._failing is None else self._failing),
        )
        return next((Deaf(cause, since) for cause, since in causes if now - since > TOLD), None)
