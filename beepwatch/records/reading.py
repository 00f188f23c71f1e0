"""Reading the history, also while another process writes it."""

import sqlite3
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from beepwatch.records.entered import FamilyReader
from beepwatch.records.entries import Pause
from beepwatch.records.nightly import NightReader
from beepwatch.records.reader import WAIT, period, time_of
from beepwatch.records.rows import SNAPSHOT, Gap, Kind, LoggedAlarm, LoggedBeep, LoggedState, Span, alarm_of, restored

__all__ = ["WAIT", "History"]

# An alarm belongs to a period that it reaches into. One that began before can do so only within a listening span that
# does, so the few of those are looked at instead of all that ever rang. The plus keeps SQLite from going span by span.
WITHIN = """+span.kind = :kind AND alarm.id IN (
    SELECT id FROM alarm WHERE began >= :since AND began < :until
    UNION SELECT alarm.id FROM span AS across JOIN heartbeat ON heartbeat.span = across.id
        JOIN alarm ON alarm.span = across.id
        WHERE across.began < :since AND heartbeat.until >= :since AND alarm.began < :since AND alarm.began < :until)"""

ALARMS = f"""SELECT alarm.id, alarm.span, alarm.number, alarm.began AS began_at, alarm.began_offset,
        alarm.drill, span.kind, span.source, {SNAPSHOT}
    FROM alarm JOIN span ON span.id = alarm.span
    JOIN state ON state.id = (SELECT max(newest.id) FROM state AS newest WHERE newest.alarm = alarm.id
        AND newest.kind IN ('raised', 'changed', 'renamed', 'ended'))
    WHERE {WITHIN} ORDER BY alarm.began, alarm.id"""  # noqa: S608 - our own column names

MOMENTS = f"""SELECT state.alarm, state.kind, state.at, state.at_offset, state.after, state.who, state.way
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
    WHERE span = :span AND onset >= :onset AND onset <= :last ORDER BY onset"""


class History(NightReader, FamilyReader):
    """A reader of one history file; a context manager.

    Periods are half open, `since` <= time < `until`; None leaves a side open. Methods raise RecordsError. Listening
    spans and alarms are here; `NightReader` and `FamilyReader` have the rest.
    """

    def alarms(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> list[LoggedAlarm]:
        """Every alarm of `kind` that reaches into the period, by the time it began."""
        moments: dict[int, dict[str, sqlite3.Row]] = defaultdict(dict)
        asked = {**period(since, until), "kind": kind}
        with self.together():
            rows = self._ask(ALARMS, asked)
            for row in self._ask(MOMENTS, asked):
                _keep(moments[row["alarm"]], row)
        alarms = [_logged(row, moments[row["id"]]) for row in rows]
        return [alarm for alarm in alarms if since is None or alarm.ended is None or alarm.ended >= since]

    def alarm(self, number: int) -> LoggedAlarm | None:
        """One alarm by its number; None where there is none."""
        asked = {**period(None, None), "kind": "", "id": number}
        with self.together():
            rows = self._ask(ALARMS.replace(WITHIN, "alarm.id = :id"), asked)
            moments: dict[str, sqlite3.Row] = {}
            for row in self._ask(MOMENTS.replace(WITHIN, "alarm.id = :id"), asked):
                _keep(moments, row)
        return _logged(rows[0], moments) if rows else None

    def states(self, number: int) -> list[LoggedState]:
        """What became of one alarm, in the order in which it was written."""
        rows = self._ask("SELECT * FROM state WHERE alarm = :id ORDER BY id", {"id": number})
        return [
            LoggedState(
                row["kind"], time_of(row, "at"), row["after"], row["who"], row["way"], row["pattern"], row["beeps"]
            )
            for row in rows
        ]

    def spans(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> list[Span]:
        """Every listening span of `kind` that reaches into the period, with its gaps and planned pauses, by time.

        The last span before the period is with them: how it ended tells why nothing was heard at first.
        """
        gaps: dict[int, list[Gap]] = defaultdict(list)
        asked = {**period(since, until), "kind": kind}
        with self.together():
            rows = self._ask(SPANS, asked)
            for row in self._ask(GAPS, asked):
                gaps[row["span"]].append(Gap(time_of(row, "began"), time_of(row, "ended"), row["reason"]))
            pauses = self.pauses(since, until) if kind == "household" else []
        return _paused([_span(row, tuple(gaps[row["id"]])) for row in rows], pauses)

    def beeps(self, alarm: LoggedAlarm) -> list[LoggedBeep]:
        """The beeps heard while an alarm went on, by onset: its own and any other."""
        rows = self._ask(BEEPS, {"span": alarm.span, "onset": alarm.state.onset, "last": alarm.state.last})
        return [LoggedBeep(*row) for row in rows]


def _keep(moments: dict[str, sqlite3.Row], row: sqlite3.Row) -> None:
    """Somebody is woken or answers once, so the first counts; an alarm that went on after all ends twice."""
    if row["kind"] == "ended":
        moments["ended"] = row
    else:
        moments.setdefault(row["kind"], row)


def _logged(row: sqlite3.Row, moments: dict[str, sqlite3.Row]) -> LoggedAlarm:
    raised = time_of(moments["raised"], "at")
    state = alarm_of(row)
    return LoggedAlarm(
        id=row["id"],
        span=row["span"],
        kind=row["kind"],
        source=row["source"],
        began=restored(row["began_at"], row["began_offset"]),
        raised=raised,
        ended=time_of(moments["ended"], "at") if state.ended is not None and "ended" in moments else None,
        state=state,
        woken_after=_after(moments.get("woken"), raised),
        acknowledged_after=_after(moments.get("acknowledged"), raised),
        stopped_after=_after(moments.get("stopped"), raised),
        drill=bool(row["drill"]),
        answered_by=moments["acknowledged"]["who"] if "acknowledged" in moments else None,
        answered_way=moments["acknowledged"]["way"] if "acknowledged" in moments else None,
    )


def _after(row: sqlite3.Row | None, raised: datetime) -> float | None:
    if row is None:
        return None
    after: float | None = row["after"]
    return (time_of(row, "at") - raised).total_seconds() if after is None else after


def _paused(spans: list[Span], pauses: Sequence[Pause]) -> list[Span]:
    """Spans, by the time they began, with the pauses in which they have a part; one may go on past their end."""
    began = [span.began for span in spans]
    places = {span.id: place for place, span in enumerate(spans)}
    held: dict[int, list[Gap]] = defaultdict(list)
    for pause in pauses:
        gap = Gap(pause.began, pause.until, f"paused on purpose: {pause.purpose}", pause.purpose)
        parts = {places.get(pause.span or 0, -1)}
        last = bisect_left(began, pause.until) - 1
        while last >= 0 and spans[last].until > pause.began:
            parts.add(last)
            last -= 1
        for place in parts - {-1}:
            held[place].append(gap)
    return [
        replace(span, gaps=(*span.gaps, *held[place])) if place in held else span for place, span in enumerate(spans)
    ]


def _span(row: sqlite3.Row, gaps: tuple[Gap, ...]) -> Span:
    return Span(
        id=row["id"],
        kind=row["kind"],
        source=row["source"],
        began=time_of(row, "began"),
        until=time_of(row, "until"),
        lost=row["lost"],
        closed=row["closed"] is not None,
        gaps=gaps,
    )
