"""Reading the history, also while another process writes it."""

import sqlite3
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from beepwatch.records.database import FILE, open_to_read, plainly
from beepwatch.records.rows import (
    SNAPSHOT,
    Gap,
    Kind,
    LoggedAlarm,
    LoggedBeep,
    Span,
    alarm_of,
    restored,
    stored,
)

WAIT = 5.0
"""Seconds to wait for a lock: judgement; in WAL a reader waits only while the file is being recovered."""

# An alarm belongs to a period that it reaches into. One that began before can do so only within a listening span that
# does, so the few of those are looked at instead of all that ever rang.
WITHIN = """span.kind = :kind AND alarm.id IN (
    SELECT id FROM alarm WHERE began >= :since AND began < :until
    UNION SELECT alarm.id FROM span AS across JOIN heartbeat ON heartbeat.span = across.id
        JOIN alarm ON alarm.span = across.id
        WHERE across.began < :since AND heartbeat.until >= :since AND alarm.began < :since AND alarm.began < :until)"""

ALARMS = f"""SELECT alarm.id, alarm.span, alarm.number, alarm.began AS began_at, alarm.began_offset,
        span.kind, span.source, {SNAPSHOT}
    FROM alarm JOIN span ON span.id = alarm.span
    JOIN state ON state.id = (SELECT max(newest.id) FROM state AS newest WHERE newest.alarm = alarm.id
        AND newest.kind IN ('raised', 'changed', 'renamed', 'ended'))
    WHERE {WITHIN} ORDER BY alarm.began, alarm.id"""  # noqa: S608 - our own column names

MOMENTS = f"""SELECT state.alarm, state.kind, state.at, state.at_offset, state.after
    FROM alarm JOIN span ON span.id = alarm.span JOIN state ON state.alarm = alarm.id
    WHERE state.kind IN ('raised', 'ended', 'woken', 'acknowledged', 'stopped') AND {WITHIN}
    ORDER BY state.id"""  # noqa: S608 - our own column names

SPANS = """SELECT span.*, heartbeat.until, heartbeat.until_offset, heartbeat.lost, span_end.span AS closed
    FROM span JOIN heartbeat ON heartbeat.span = span.id LEFT JOIN span_end ON span_end.span = span.id
    WHERE span.kind = :kind AND span.began < :until AND heartbeat.until >= coalesce(
        (SELECT max(before.until) FROM heartbeat AS before JOIN span AS earlier ON earlier.id = before.span
            WHERE earlier.kind = :kind AND before.until < :since), :since)
    ORDER BY span.began, span.id"""

GAPS = """SELECT gap.* FROM gap JOIN span ON span.id = gap.span
    WHERE span.kind = :kind AND gap.began < :until AND gap.ended >= :since ORDER BY gap.began, gap.id"""

BEEPS = """SELECT span, onset, duration, frequency, level, snr FROM beep
    WHERE span = ? AND onset >= ? AND onset <= ? ORDER BY onset"""


class History:
    """A reader of one history file; a context manager.

    Periods are half open, `since` <= time < `until`; None leaves a side open. Methods raise RecordsError.
    """

    def __init__(self, folder: Path, timeout: float = WAIT) -> None:
        """Open `history.sqlite3` in `folder`; a file of an older beepwatch is brought up to date first."""
        self.path = folder / FILE
        self._connection = open_to_read(self.path, timeout)

    def alarms(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> list[LoggedAlarm]:
        """Every alarm of `kind` that reaches into the period, by the time it began."""
        moments: dict[int, dict[str, sqlite3.Row]] = defaultdict(dict)
        period = _period(since, until, kind)
        with plainly(self.path):
            self._connection.execute("BEGIN")  # both questions see the same state of the file
            try:
                rows = self._connection.execute(ALARMS, period).fetchall()
                for row in self._connection.execute(MOMENTS, period):
                    _keep(moments[row["alarm"]], row)
            finally:
                self._connection.execute("COMMIT")
        alarms = [_logged(row, moments[row["id"]]) for row in rows]
        return [alarm for alarm in alarms if since is None or alarm.ended is None or alarm.ended >= since]

    def spans(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> list[Span]:
        """Every listening span of `kind` that reaches into the period, with its gaps, by time.

        The last span before the period is with them: how it ended tells why nothing was heard at first.
        """
        gaps: dict[int, list[Gap]] = defaultdict(list)
        period = _period(since, until, kind)
        with plainly(self.path):
            rows = self._connection.execute(SPANS, period).fetchall()
            for row in self._connection.execute(GAPS, period):
                gaps[row["span"]].append(Gap(_time(row, "began"), _time(row, "ended"), row["reason"]))
        return [_span(row, tuple(gaps[row["id"]])) for row in rows]

    def beeps(self, alarm: LoggedAlarm) -> list[LoggedBeep]:
        """The beeps heard while an alarm went on, by onset: its own and any other."""
        with plainly(self.path):
            found = self._connection.execute(BEEPS, (alarm.span, alarm.state.onset, alarm.state.last))
            return [LoggedBeep(*row) for row in found]

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _period(since: datetime | None, until: datetime | None, kind: Kind) -> dict[str, str]:
    """The named values of a question; these open ends are before and after any time written as text."""
    return {
        "kind": kind,
        "since": "" if since is None else stored(since)[0],
        "until": "~" if until is None else stored(until)[0],
    }


def _keep(moments: dict[str, sqlite3.Row], row: sqlite3.Row) -> None:
    """Somebody is woken or answers once, so the first counts; an alarm that went on after all ends twice."""
    if row["kind"] == "ended":
        moments["ended"] = row
    else:
        moments.setdefault(row["kind"], row)


def _logged(row: sqlite3.Row, moments: dict[str, sqlite3.Row]) -> LoggedAlarm:
    raised = _time(moments["raised"], "at")
    state = alarm_of(row)
    return LoggedAlarm(
        id=row["id"],
        span=row["span"],
        kind=row["kind"],
        source=row["source"],
        began=restored(row["began_at"], row["began_offset"]),
        raised=raised,
        ended=_time(moments["ended"], "at") if state.ended is not None and "ended" in moments else None,
        state=state,
        woken_after=_after(moments.get("woken"), raised),
        acknowledged_after=_after(moments.get("acknowledged"), raised),
        stopped_after=_after(moments.get("stopped"), raised),
    )


def _after(row: sqlite3.Row | None, raised: datetime) -> float | None:
    if row is None:
        return None
    after: float | None = row["after"]
    return (_time(row, "at") - raised).total_seconds() if after is None else after


def _span(row: sqlite3.Row, gaps: tuple[Gap, ...]) -> Span:
    return Span(
        id=row["id"],
        kind=row["kind"],
        source=row["source"],
        began=_time(row, "began"),
        until=_time(row, "until"),
        lost=row["lost"],
        closed=row["closed"] is not None,
        gaps=gaps,
    )


def _time(row: sqlite3.Row, column: str) -> datetime:
    return restored(row[column], row[f"{column}_offset"])
