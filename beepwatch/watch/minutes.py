"""The hearing margin of each minute, for the history."""

import statistics
from typing import Protocol

from beepwatch.events import Noise
from beepwatch.hearing.margin import margin_db


class Keeps(Protocol):
    """What is needed of `Logbook`."""

    def margin(self, at: float, margin: float | None) -> None: ...  # noqa: D102


class Minutes:
    """Gathers what hearing tells of the noise, and writes down one figure a minute: the median of the margins in it.

    expected: (tone in Hz, level in dBFS) of the beep taught at this microphone; None: the margin is not known, and that
    is written. Times are stream seconds.
    """

    def __init__(self, expected: tuple[float, float] | None) -> None:
        self._expected = expected
        self._minute: int | None = None
        self._figures: list[float] = []

    def expect(self, beep: tuple[float, float] | None) -> None:
        """From now on the margin is of this beep."""
        self._expected = beep

    def noise(self, noise: Noise, logbook: Keeps) -> None:
        """How loud the room is, each 2 s or so; the minute that is over is written."""
        minute = int(noise.at // 60)
        if self._minute is not None and minute != self._minute:
            self.write(logbook)
        self._minute = minute
        if self._expected is not None:
            tone, level = self._expected
            self._figures.append(margin_db(level, noise.near(tone)))

    def write(self, logbook: Keeps) -> None:
        """Write the minute under way, if anything was heard in it."""
        if self._minute is not None:
            logbook.margin(60.0 * self._minute, statistics.median(self._figures) if self._figures else None)
        self._minute, self._figures = None, []
