"""Sees from a thread of its own whether the loop stands still, as in a recogniser that never returns, and sounds."""

import time
from collections.abc import Callable, Sequence
from threading import Event, Thread
from typing import Protocol

from beepwatch.channels.rounds import Round

STANDS = 7.0
"""s without a step of the loop: it takes one each 0.25 s at least, and 3 s at most where the disk hangs (judgement)."""
EACH = 0.5
NUMBER = 0
"""Of the alarm that is told: neither the recogniser's (above) nor a technical one of the loop (below)."""


class Sounds(Protocol):
    """What is needed of the speaker."""

    def play(self, round_: Round) -> None:
        """Sound until `stop`."""

    def stop(self) -> None:
        """Be silent."""


class Sentinel:
    """beat: a number that changes as long as the loop goes on. The clock is one that stands still in sleep.

    What else was sounding is told again by the loop within 10 s of its going on.
    """

    def __init__(
        self, beat: Callable[[], int], sounds: Sounds | None, lines: Callable[[], Sequence[str]],
        say: Callable[[str], None], clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._beat, self._sounds, self._lines, self._say, self._clock = beat, sounds, lines, say, clock
        self._last, self._at = beat(), clock()
        self._sounding = False
        self._over = Event()

    def start(self) -> "Sentinel":
        """Begin to look."""
        Thread(target=self._work, name="sentinel", daemon=True).start()
        return self

    def close(self) -> None:
        """Look no more, and be silent."""
        self._over.set()
        self._quiet()

    def look(self) -> None:
        """Look once."""
        beat, now = self._beat(), self._clock()
        if beat != self._last or not beat:  # 0: the loop has not begun
            self._last, self._at = beat, now
            self._quiet()
        elif now - self._at > STANDS and not self._sounding:
            self._sounding = True
            self._say("I CANNOT HEAR THE ROOM: the program stands still.")
            if self._sounds is not None:
                self._sounds.play(Round((NUMBER,), "high", tuple(self._lines())))

    def _quiet(self) -> None:
        if self._sounding:
            self._sounding = False
            self._say("The program goes on.")
            if self._sounds is not None:
                self._sounds.stop()

    def _work(self) -> None:
        while not self._over.wait(EACH):
            self.look()
