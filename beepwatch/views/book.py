"""What the views read of the history: by a connection that cannot write, each time anew."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from beepwatch.care.household import routines_of
from beepwatch.care.routine import BATTERY
from beepwatch.care.rules import changed_battery, known_already
from beepwatch.records.clips import FOLDER
from beepwatch.records.database import plainly
from beepwatch.records.entries import Finding, Found, LoggedClip, Note, Tried
from beepwatch.records.reading import History
from beepwatch.records.rows import LoggedAlarm, LoggedBeep, LoggedState
from beepwatch.report.figures import Review
from beepwatch.report.gather import gather
from beepwatch.report.nights import Period
from beepwatch.report.review import Gathered, Wanted, review
from beepwatch.settings.model import Settings
from beepwatch.waking.escalation import BATTERIES

FIRST = date(2000, 1, 1)
"""No night is before it (judgement: such a date is a slip)."""


@dataclass(frozen=True, slots=True)
class Looked:
    """A period: what is told of it, and the figures of the printed report."""

    told: Gathered
    figures: Review


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the history has of one alarm."""

    alarm: LoggedAlarm
    states: tuple[LoggedState, ...]
    beeps: tuple[LoggedBeep, ...]
    tried: tuple[Tried, ...]
    found: Found | None
    notes: tuple[Note, ...]
    clips: tuple[tuple[LoggedClip, bool], ...]
    """Each with whether its file is there."""
    now: datetime


class Book:
    """Answers from any thread. folder: of the history; settings: those in force; now: aware. Raises RecordsError."""

    def __init__(
        self,
        folder: Path,
        settings: Callable[[], Settings],
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        self._folder, self._settings, self._now = folder, settings, now

    def night(self) -> date:
        """The evening of the night that it is: from noon on the one to come."""
        return Period(FIRST, FIRST).day(self._now())

    def period(self, last: date, nights: int) -> Looked:
        """So many nights, up to that of the evening of `last`."""
        period = Period(last - timedelta(days=nights - 1), last)
        with History(self._folder) as history:
            told = gather(history, period, self._now())
        settings = self._settings()
        return Looked(told, review(told, routines_of(settings), settings.names.person, Wanted()))

    def evidence(self, number: int) -> Evidence | None:
        """What belongs to one alarm of the household; None where there is none of that number."""
        with History(self._folder) as history, history.together():
            alarm = history.alarm(number)
            if alarm is None or alarm.kind != "household":
                return None
            return Evidence(
                alarm, tuple(history.states(number)), tuple(history.beeps(alarm)),
                tuple(history.tried("alarm", number)), history.found_of(number),
                tuple(history.notes_on("alarm", number)),
                tuple((clip, self._there(clip)) for clip in history.clips(number)), self._now(),
            )  # fmt: skip

    def clip(self, number: int, clip: int) -> Path | None:
        """The file of a clip of an alarm; None where there is none (any more)."""
        with History(self._folder) as history:
            alarm = history.alarm(number)
            mine = [one for one in history.clips(number) if one.id == clip]
        there = alarm is not None and alarm.kind == "household" and bool(mine) and self._there(mine[0])
        return self._file(mine[0]) if there else None

    def changed(self, alarm: LoggedAlarm, what: Finding | None, who: str) -> float | None:
        """s of the epoch at which the main battery counts as changed by this finding; None where it does not.

        As `beepwatch history note` counts it: at its alarm, unless that is written down already.
        """
        if what != "battery" or alarm.state.pattern not in BATTERIES or alarm.drill:
            return None
        event = changed_battery(alarm.raised, who, alarm.id)
        with History(self._folder) as history:
            known = known_already(event, [one.event for one in history.care(routine=BATTERY)])
        return None if known else alarm.raised.timestamp()

    def _file(self, clip: LoggedClip) -> Path:
        return self._folder / FOLDER / Path(clip.clip.file).name

    def _there(self, clip: LoggedClip) -> bool:
        with plainly(self._folder):
            return clip.deleted is None and self._file(clip).is_file()
