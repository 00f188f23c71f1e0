"""When a routine is due, and when a word is said of it: from what was done, and the present day. Pure.

Days are those of the calendar by the bed: a routine of three days done on Monday, at whatever hour, is due on Thursday.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal, TypeAlias

from beepwatch.care.routine import BATTERY, Routine
from beepwatch.records.entries import CareEvent

Mark: TypeAlias = Literal["unarmed", "unknown", "rest", "soon", "due"]
"""unarmed: nobody said that the clinic says this; unknown: never done yet, or hours a day not told; rest: nothing
to do; soon: within its days ahead; due: today or before."""
EARLY = 0.7
"""Share of the forecast hours under which a battery alarm is told as much too early (judgement: hours a day are a
family's own estimate, good to a quarter or so)."""
ONCE = timedelta(hours=1)
"""Two words about a changed battery within this are one change (judgement)."""
REASONS = ("damp", "dirty")
"""Why a dressing is changed before its time."""


@dataclass(frozen=True, slots=True)
class Stand:
    """How a routine stands on one day."""

    routine: Routine
    mark: Mark
    last: CareEvent | None = None
    """When it was done last."""
    due: date | None = None
    why: str = "rhythm"
    """Why then: "rhythm", "hours", "damp", "dirty", "postponed", or a family's own word."""
    used: float | None = None
    """Hours of use since, by the hours a day."""

    @property
    def ask_by(self) -> date | None:
        """The first day on which a word is said."""
        early = 0 if self.why in REASONS else self.routine.ahead
        return None if self.due is None else self.due - timedelta(days=early)


@dataclass(frozen=True, slots=True)
class Early:
    """A battery alarm that came much before its forecast."""

    at: datetime
    hours: float
    """Hours of use by then."""
    expected: float


def stand(routine: Routine, events: Iterable[CareEvent], today: date) -> Stand:
    """How it stands. events: of any routines, in any order."""
    mine = sorted((event for event in events if event.routine == routine.name), key=lambda event: event.at)
    last = next((event for event in reversed(mine) if event.kind == "done"), None)
    due, why = _due(routine, last, [event for event in mine if last is None or event.at > last.at])
    used = None
    if last is not None and routine.hours is not None and routine.hours_a_day:
        used = max(0, (today - last.at.date()).days) * routine.hours_a_day
    made = Stand(routine, "rest", last, due, why, used)
    return Stand(routine, _mark(made, today), last, due, why, used)


def _due(routine: Routine, last: CareEvent | None, since: Sequence[CareEvent]) -> tuple[date | None, str]:
    """The day, and why then; the newest word counts."""
    for event in reversed(since):
        if event.kind in ("forecast", "postponed") and event.due is not None:
            return event.due.date(), event.reason or "postponed"
    span = routine.span
    if last is None or span is None:
        return None, "rhythm"
    if routine.hours is not None:
        return (last.at + timedelta(days=span)).date(), "hours"
    return last.at.date() + timedelta(days=span), "rhythm"


def _mark(made: Stand, today: date) -> Mark:
    if not made.routine.armed:
        return "unarmed"
    if made.due is None or made.ask_by is None:
        return "unknown"
    if today >= made.due:
        return "due"
    return "soon" if today >= made.ask_by else "rest"


def to_remind(stands: Iterable[Stand], events: Sequence[CareEvent], today: date) -> list[Stand]:
    """Those of which a word is to be said today: once when it comes near, and once a day from when it is due."""
    return [one for one in stands if one.mark in ("soon", "due") and not _reminded(one, events, today)]


def _reminded(one: Stand, events: Sequence[CareEvent], today: date) -> bool:
    told = [event for event in events if event.kind == "reminded" and event.routine == one.routine.name]
    if one.mark == "due":
        return any(event.at.date() >= today for event in told)
    return any(one.ask_by is not None and event.at.date() >= one.ask_by for event in told)


def changed_battery(at: datetime, who: str | None, alarm: int | None) -> CareEvent:
    """The main battery was changed after an alarm."""
    return CareEvent(BATTERY, "done", at, reason="alarm", who=who, alarm=alarm)


def known_already(event: CareEvent, events: Iterable[CareEvent]) -> bool:
    """Whether a change of the battery is written down already: for the same alarm, or within the hour."""
    done = [one for one in events if one.routine == event.routine and one.kind == "done"]
    same_alarm = any(one.alarm is not None and one.alarm == event.alarm for one in done)
    return same_alarm or any(abs(one.at - event.at) < ONCE for one in done)


def hours_before(routine: Routine, events: Iterable[CareEvent], moment: datetime) -> float | None:
    """Hours of use from the last change before `moment` until then; None where they cannot be told."""
    done = [one.at for one in events if one.routine == routine.name and one.kind == "done" and one.at < moment]
    if not done or not routine.hours_a_day:
        return None
    return (moment - max(done)).total_seconds() / 86400 * routine.hours_a_day


def early(routine: Routine, events: Sequence[CareEvent], alarms: Iterable[datetime]) -> list[Early]:
    """The battery alarms (by when they began) that came much before the forecast; the first since each change."""
    found: list[Early] = []
    told: set[datetime | None] = set()
    for at in sorted(alarms):
        hours = hours_before(routine, events, at)
        since = max((one.at for one in events if one.kind == "done" and one.at < at), default=None)
        if hours is None or routine.hours is None or since in told:
            continue
        told.add(since)
        if hours < EARLY * routine.hours:
            found.append(Early(at, hours, routine.hours))
    return found
