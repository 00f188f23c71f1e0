"""Three times: the stream's own (lengths), a clock that is never set (waiting), and the wall clock (the history)."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from beepwatch.sources.clock import ticking

APART = 0.5
"""s that the clocks may differ from what was noted before it is noted anew: above the jitter of callbacks (0.11 s
measured), far below what matters in a history."""


@dataclass(frozen=True, slots=True)
class Clock:
    """The two clocks of the machine; tests give their own."""

    ticks: Callable[[], float] = ticking
    """s, never set."""
    wall: Callable[[], datetime] = lambda: datetime.now(UTC)
    """Aware."""
    sleep: Callable[[float], None] = time.sleep
    """Let s go by."""


class Timeline:
    """Where each moment of the stream lies on both clocks.

    Live blocks tell it by their arrival. The stream of a recording that is not played in real time has no clock:
    it is told as if it had ended when it was opened.
    """

    def __init__(self, clock: Clock, length: float = 0.0) -> None:
        """Begin now; length: s of a recording that is not played in real time."""
        self._clock = clock
        self._began: float | None = None  # ticks at stream time 0
        self._opened = clock.ticks() - length
        self._midnight = self._wall_at_zero()

    def anchor(self, end: float, arrived: float) -> float:
        """A block that ends at stream time `end` came at `arrived` ticks.

        Returns by how many seconds the wall clock was set since the last block (0 if it was not).
        """
        began = arrived - end
        if self._began is None or abs(began - self._began) > APART:
            self._began = began
        wall = self._wall_at_zero()
        jump = (wall - self._midnight).total_seconds()
        if abs(jump) <= APART:
            return 0.0
        self._midnight = wall
        return jump

    def wall(self, at: float) -> datetime:
        """Local wall time, with its offset, of stream time `at`."""
        return self.wall_of_ticks(self._zero + at)

    def wall_of_ticks(self, ticks: float) -> datetime:
        """Local wall time, with its offset, of a reading of the other clock."""
        return (self._midnight + timedelta(seconds=ticks)).astimezone()

    def ticks(self, at: float) -> float:
        """Clock reading at stream time `at`; the present one where the stream has no clock."""
        return self._clock.ticks() if self._began is None else self._began + at

    def stream(self, ticks: float) -> float:
        """Stream time at a clock reading."""
        return max(0.0, ticks - self._zero)

    @property
    def _zero(self) -> float:
        return self._opened if self._began is None else self._began

    def _wall_at_zero(self) -> datetime:
        return self._clock.wall().astimezone(UTC) - timedelta(seconds=self._clock.ticks())
