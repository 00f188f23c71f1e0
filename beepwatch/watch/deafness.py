"""Not hearing, as the loop meets it: what is told when, and how the microphone is brought back."""

from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

from beepwatch.events import Alarm
from beepwatch.hearing.health import Deaf, Health
from beepwatch.hearing.technical import BY_CAUSE, Cause, Condition
from beepwatch.sources.block import Block

STILL = 2.0
"""s without a block after which the stream is opened anew (blocks come each 0.05 s; a busy machine holds one back
for 1 s at most, judgement)."""
SLOWEST = {True: 10.0, False: 30.0}
"""s at most between two tries to open it, where nothing comes (True) and where the wrong thing does: a silent one may
only be muted, and each try costs sound (judgement)."""
REOPENED: frozenset[Cause] = frozenset({"digital-silence", "frozen-sound", "microphone-moved"})
"""Causes that a new stream may end although blocks come."""


class Source(Protocol):
    """What the loop hears from: a microphone or a recording."""

    live: bool

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def rate(self) -> int: ...  # noqa: D102
    @property
    def channels(self) -> int: ...  # noqa: D102
    @property
    def ended(self) -> bool: ...  # noqa: D102
    @property
    def dead(self) -> bool: ...  # noqa: D102
    @property
    def hangs(self) -> bool: ...  # noqa: D102
    @property
    def elsewhere(self) -> bool: ...  # noqa: D102
    @property
    def trouble(self) -> str | None: ...  # noqa: D102
    def take(self, timeout: float) -> Block | None: ...  # noqa: D102
    def reopen(self) -> bool: ...  # noqa: D102
    def close(self) -> bool: ...  # noqa: D102


Step: TypeAlias = Literal["told", "sounded", "over"]


@dataclass(frozen=True, slots=True)
class Word:
    """Something to tell: deafness began or has another cause (told), goes on (sounded), or is over."""

    step: Step
    deaf: Deaf


class Deafness:
    """Watches over the hearing of a live source. Times are clock readings, s."""

    def __init__(self, source: Source, now: float) -> None:
        self._source = source
        self._health = Health(now)
        self._arrived = now
        self._told: Deaf | None = None
        self._sounded = False
        self._next_try = 0.0
        self._pause = 1.0

    @property
    def now(self) -> Deaf | None:
        """The deafness that was told and is not over."""
        return self._told

    @property
    def health(self) -> Health:
        """What it is told from."""
        return self._health

    def arrived(self, now: float, silent: bool, repeated: bool = False) -> None:
        """A block came."""
        self._arrived = now
        self._health.arrived(now, silent, repeated)

    def understood(self, now: float, well: bool, arrived: float | None = None) -> None:
        """It went through the recogniser, or failed there or was late."""
        self._health.understood(now, well, arrived)

    def look(self, now: float) -> list[Word]:
        """What is to be told at `now`; opens the microphone anew where that may help."""
        self._health.hangs(self._source.hangs)
        self._health.elsewhere(now, self._source.elsewhere)
        deaf = self._health.deaf(now)
        self._revive(now, deaf)
        told, words = self._told, list[Word]()
        if deaf is None:
            if told is not None:
                words.append(Word("over", told))
            self._told, self._sounded = None, False
            return words
        if told is None or told.cause != deaf.cause:
            self._told = Deaf(deaf.cause, deaf.since if told is None else told.since)
            words.append(Word("told", self._told))
        if self._told is not None and not self._sounded and now - self._told.since > self._row.seconds:
            self._sounded = True
            words.append(Word("sounded", self._told))
        return words

    @property
    def _row(self) -> Condition:
        return BY_CAUSE["no-sound" if self._told is None else self._told.cause]

    def _revive(self, now: float, deaf: Deaf | None) -> None:
        still = self._source.dead or now - self._arrived > STILL
        wrong = deaf is not None and deaf.cause in REOPENED
        if not still and not wrong:
            self._next_try, self._pause = now, 1.0
        elif now >= self._next_try:
            self._source.reopen()
            self._next_try = now + self._pause
            self._pause = min(2 * self._pause, SLOWEST[still])


def technical(number: int, condition: Condition, at: float, since: float, detail: str = "") -> Alarm:
    """A technical condition as an alarm of its own, for the waker; `at`, `since` in stream time."""
    return Alarm(
        number=number, pattern=condition.message, priority="high" if condition.level == "high" else "medium",
        onset=since, raised=at, ended=None, last=at, beeps=0, duration=0.0, period=None, frequency=0.0,
        confidence=1.0, why=f"{condition.reason}: {detail}" if detail else condition.reason,
    )  # fmt: skip
