"""Reminders of care routines while it listens: lines by day, nothing that sounds."""

from collections.abc import Callable, Iterator
from datetime import datetime, time
from pathlib import Path

from beepwatch.care.household import routines_of
from beepwatch.care.rules import stand, to_remind
from beepwatch.care.words import reminder
from beepwatch.errors import RecordsError
from beepwatch.records.entries import CareEvent
from beepwatch.records.reading import History
from beepwatch.settings.model import Settings

EACH = 600.0
"""s between two looks (judgement: a reminder of a day may come ten minutes late)."""
WAIT = 0.2
"""s to wait for the file: the loop must go on."""


class Caring:
    """For the loop's thread. settings: those that hold now. folder: of the history."""

    def __init__(self, folder: Path, settings: Callable[[], Settings]) -> None:
        self._folder, self._settings = folder, settings
        self._next = -float("inf")

    def look(self, ticks: float, now: datetime) -> Iterator[tuple[str, CareEvent]]:
        """Each line that is to be said now, with the entry that says so. ticks: a clock reading, s; now: aware."""
        if ticks < self._next:
            return
        self._next = ticks + EACH
        settings = self._settings()
        begin, end = (time.fromisoformat(one) for one in (settings.care.remind_from, settings.care.remind_until))
        armed = [routine for routine in routines_of(settings) if routine.armed]
        if not armed or not begin <= now.time() < end:
            return
        try:
            with History(self._folder, WAIT) as history:
                events = [one.event for one in history.care()]
        except RecordsError:
            return  # the history's own faults are told elsewhere; the next look is in ten minutes
        today = now.date()
        for one in to_remind([stand(routine, events, today) for routine in armed], events, today):
            yield reminder(one), CareEvent(one.routine.name, "reminded", now, reason=one.why)
