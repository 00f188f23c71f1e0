"""Can the room be heard at all? Not hearing is a technical alarm condition (IEC 60601-1-8, quoted). Pure.

The causes and what follows from them are in `technical.TABLE`; here is kept since when each one holds.
"""

from collections import deque
from dataclasses import dataclass

from beepwatch.hearing.technical import TOLD, Cause

EACH_LOSS = 6.0
"""s within which the next loss has to come for both to be one trouble; also s without one until it is over (judgement).
Frames are counted in slots of 2 s (see `sources/pace.py`), so they come each 4 s at most."""
SHARE = 0.15
"""Of the sound that may be lost on its way: with 15 % gone most beeps of 1.2 s can still be whole (judgement)."""
SLOT = 2.0
"""s before it is known in which the first piece may have been lost (see there)."""
PIECES = 3
"""Losses in a row that are no longer a cough (judgement)."""


@dataclass(frozen=True, slots=True)
class Deaf:
    """The room is not heard."""

    cause: Cause
    since: float
    """Clock time, s, at which it was last heard."""


class Health:
    """Keeps when the room was last heard; every time is given, in seconds of a clock that is never set."""

    def __init__(self, now: float) -> None:
        self._arrived = self._sounded = self._fresh = self._right = now
        self._wrong: float | None = None
        self._back: float | None = None
        self._away: float | None = None
        self._failing: float | None = None
        self._hung = False
        self._losses: deque[tuple[float, float]] = deque(maxlen=512)

    def arrived(self, now: float, silent: bool, repeated: bool = False) -> None:
        """A block came at `now`; silent: all of its samples were exactly zero; repeated: they had come before."""
        self._arrived = now
        if not silent:
            self._sounded = now
        if not repeated:
            self._fresh = now

    def lost(self, now: float, seconds: float) -> None:
        """So much sound was found to be missing at `now`, beside what arrives."""
        if self._losses and now - self._losses[-1][0] > EACH_LOSS:
            self._losses.clear()
        self._losses.append((now, seconds))

    def placed(self, now: float, right: bool) -> None:
        """Where the sound comes from was looked at, at `now`: whether that is the microphone that was chosen.

        Once it was another, two looks in a row have to find the right one: a server may move each new stream.
        """
        if not right:
            self._back = None
            self._wrong = self._right if self._wrong is None else self._wrong
        elif self._wrong is None or (self._back is not None and now > self._back):
            self._right, self._wrong, self._back = now, None, None
        elif self._back is None:
            self._back = now

    def elsewhere(self, now: float, another: bool) -> None:
        """Whether the stream itself was opened on another device than at first."""
        if not another:
            self._away = None
        elif self._away is None:
            self._away = now

    def hangs(self, hung: bool) -> None:
        """Whether a call into the sound system is long overdue."""
        self._hung = hung

    def understood(self, now: float, well: bool, arrived: float | None = None) -> None:
        """The recogniser had a block that arrived then: `well`, or it failed on it or had it later than `BEHIND` s."""
        if well:
            self._failing = None
        elif self._failing is None:
            self._failing = now if arrived is None else arrived

    def deaf(self, now: float) -> Deaf | None:
        """What is wrong at `now`, the first cause on the way of the sound; None while the room is heard."""
        causes: tuple[tuple[Cause, float], ...] = (
            ("server-hung" if self._hung else "no-sound", self._arrived),
            ("digital-silence", self._sounded),
            ("frozen-sound", self._fresh),
            ("microphone-moved", now if self._wrong is None else self._wrong),
            ("microphone-moved", now if self._away is None else self._away),
            ("frames-short", self._short_since(now)),
            ("not-understood", now if self._failing is None else self._failing),
        )
        return next((Deaf(cause, since) for cause, since in causes if now - since > TOLD), None)

    def _short_since(self, now: float) -> float:
        """When a steady loss began; `now` where there is none."""
        if len(self._losses) < PIECES or now - self._losses[-1][0] > EACH_LOSS:
            return now
        first = self._losses[0][0] - self._losses[0][1] - SLOT
        gone = sum(seconds for _, seconds in self._losses)
        return first if gone >= SHARE * (now - first) else now
