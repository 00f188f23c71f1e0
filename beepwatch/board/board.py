"""The board itself: one state, put up by the loop's thread; readers in other threads wait for the next.

Nothing here can hold the loop up: putting up a state is one assignment and a nudge to each reader. A reader that
fails is dropped and logged.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from threading import Condition

from beepwatch.board.state import State

LOG = logging.getLogger("beepwatch")
STALE = 3.0
"""s without a state after which the loop itself is taken to hang (it puts one up each 0.5 s; judgement: the time
after which the recogniser counts as behind, `hearing.health.BEHIND`)."""


@dataclass(frozen=True, slots=True)
class Posted:
    """A state on the board."""

    number: int
    """Counts from 1."""
    at: float
    """Clock reading at which it was put up, s (never set)."""
    state: State


class Board:
    """For any thread. What a reader wants of the loop goes to `Watch.command`, not through here."""

    def __init__(self, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._news = Condition()
        self._posted = Posted(0, ticks(), State())
        self._readers: list[Callable[[], None]] = []

    def post(self, state: State) -> None:
        """Put up how things stand (the loop does)."""
        with self._news:
            self._posted = Posted(self._posted.number + 1, self._ticks(), state)
            self._news.notify_all()
            readers = list(self._readers)
        for reader in readers:
            self._nudge(reader)

    @property
    def posted(self) -> Posted:
        """What is up now; number 0: nothing yet."""
        return self._posted

    @property
    def age(self) -> float:
        """s since something was put up; over `STALE` the loop hangs, and "listening" must not be believed."""
        return self._ticks() - self._posted.at

    def wait(self, number: int, timeout: float) -> Posted:
        """The first state after `number`, or what is up after `timeout` s."""
        with self._news:
            self._news.wait_for(lambda: self._posted.number > number, timeout)
            return self._posted

    def subscribe(self, reader: Callable[[], None]) -> Callable[[], None]:
        """Call `reader` after each post, in the loop's thread: it must only pass the news on. Returns the way out."""
        with self._news:
            self._readers.append(reader)
        return lambda: self._drop(reader)

    def _nudge(self, reader: Callable[[], None]) -> None:
        try:
            reader()
        except Exception:  # a reader must never end the loop
            LOG.exception("a reader of the board failed; it is dropped")
            self._drop(reader)

    def _drop(self, reader: Callable[[], None]) -> None:
        with self._news:
            if reader in self._readers:
                self._readers.remove(reader)
