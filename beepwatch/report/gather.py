"""Reads what the history holds of a period."""

from datetime import datetime

from beepwatch.records.listened import Listened, listened
from beepwatch.records.reading import History
from beepwatch.records.rows import LoggedAlarm
from beepwatch.report.figures import Margin
from beepwatch.report.nights import Period
from beepwatch.report.review import Gathered


def gather(history: History, period: Period, now: datetime) -> Gathered:
    """All that a report of the period needs, as it stood in one moment. Raises RecordsError.

    now: the present, aware; a period may reach past it.
    """
    since, until = period.since, period.until
    with history.together():
        return Gathered(
            period=period,
            heard=_heard(history, period, now),
            before=_heard(history, period.before, now),
            alarms=_began(history, period),
            alarms_before=_began(history, period.before),
            found=history.found(since, until),
            notes=history.notes_of_alarms(since, until),
            technicals=history.technicals(since, until),
            pauses=history.pauses(since, until),
            care=[one.event for one in history.care()],
            margin=Margin(*history.margin_minutes(since, until)),
            last_hash=history.last_hash(),
            now=now,
        )


def _heard(history: History, period: Period, now: datetime) -> Listened:
    until = min(period.until, now)
    since = min(period.since, until)
    return listened(history.spans(since, until), since, until, now)


def _began(history: History, period: Period) -> list[LoggedAlarm]:
    return [one for one in history.alarms(period.since, period.until) if one.began >= period.since]
