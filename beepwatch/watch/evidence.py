"""Which sound of an alarm is kept: from just before its first beep, and the last beeps of one that ended soon after."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Protocol

from beepwatch.errors import RecordsError
from beepwatch.events import AlarmEvent, Ended, Raised
from beepwatch.records.clipping import Clipper, Expired, NotSaved, Outcome, Piece, Saved
from beepwatch.watch.recall import Recall

BEFORE = 1.0
"""s before the first beep (judgement)."""
AFTER = 8.0
"""s after an alarm is raised: so a beep of 20 s that was named at 13 s is heard to its end."""
LONGEST = 40.0
"""s of one clip (judgement)."""
LAST = 15.0
"""s up to the end of an alarm's last beep (judgement)."""
PRUNE = 86_400.0
"""s between two looks for clips whose time is up."""


class Keeps(Protocol):
    """What is needed of `Logbook`."""

    def clip(self, saved: Saved) -> None: ...  # noqa: D102
    def clip_deleted(self, expired: Expired) -> None: ...  # noqa: D102


class Evidence:
    """Cuts the clips of one run. Times are stream seconds; wall tells the wall time of one."""

    def __init__(self, clipper: Clipper, logbook: Keeps, wall: Callable[[float], datetime]) -> None:
        self.recall = Recall()
        self._clipper, self._logbook, self._wall = clipper, logbook, wall
        self._due: dict[int, tuple[float, float, float]] = {}  # alarm: when, first beep, tone
        self._prune = 0.0

    def alarm(self, event: AlarmEvent) -> None:
        """An alarm is raised, has changed or ended."""
        alarm = event.alarm
        if isinstance(event, Raised):
            self._due[alarm.number] = (event.at + AFTER, alarm.onset, alarm.frequency)
        elif isinstance(event, Ended):
            self._cut_first(alarm.number)
            if alarm.last > alarm.raised + AFTER:
                self._cut(alarm.number, alarm.last - LAST, alarm.last + BEFORE, alarm.frequency)

    def look(self, now: float) -> list[str]:
        """Cut what is due, write down what was saved or deleted; return lines about what was not. now: stream s."""
        for number in [number for number, (when, _, _) in self._due.items() if now >= when]:
            self._cut_first(number)
        if now >= self._prune:
            self._prune = now + PRUNE
            self._clipper.prune()
        return self._outcomes()

    def close(self) -> bool:
        """Cut what is still due, and wait shortly for it; whether all was saved."""
        for number in list(self._due):
            self._cut_first(number)
        done = self._clipper.close()
        self._outcomes()
        return done

    def _cut_first(self, number: int) -> None:
        due = self._due.pop(number, None)
        if due is not None:
            when, onset, tone = due
            self._cut(number, max(onset - BEFORE, when - LONGEST), when, tone)

    def _cut(self, number: int, begin: float, end: float, tone: float) -> None:
        begin, samples = self.recall.cut(begin, end)
        if len(samples) and 0 < tone < 8000:
            self._clipper.put(Piece(number, samples, tone, self._wall(begin)))

    def _outcomes(self) -> list[str]:
        told = []
        while (outcome := self._clipper.take()) is not None:
            told += self._written(outcome)
        return told

    def _written(self, outcome: Outcome) -> list[str]:
        if isinstance(outcome, Saved):
            self._logbook.clip(outcome)
        elif isinstance(outcome, Expired):
            self._logbook.clip_deleted(outcome)
            _remove(outcome.path)
        elif isinstance(outcome, NotSaved):
            return [outcome.text]
        return []


def _remove(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise RecordsError(f"cannot delete {path} ({error.strerror})") from error
