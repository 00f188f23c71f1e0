"""Reading what a night brings besides alarms: see `night`, which writes it."""

import json
import sqlite3
from collections.abc import Sequence
from datetime import datetime

from beepwatch.records.entries import About, Attempt, InForce, Margins, Pause, Technical, Tried
from beepwatch.records.reader import Reader, maybe_time, period, time_of
from beepwatch.records.rows import Kind, restored

VALID = "NOT EXISTS (SELECT 1 FROM correction WHERE correction.about = '{0}' AND correction.about_id = {0}.id)"
"""Leaves out what a later row corrects; the row in its place is one of the same table."""

TRIES = """SELECT tried.* FROM alarm JOIN tried ON tried.about = 'alarm' AND tried.about_id = alarm.id
    WHERE alarm.began >= :since AND alarm.began < :until ORDER BY tried.id"""

TECHNICAL = """SELECT technical.*, raised.at AS raised, raised.at_offset AS raised_offset,
        over.at AS ended, over.at_offset AS ended_offset,
        answer.at AS answered, answer.at_offset AS answered_offset, answer.who, answer.way
    FROM technical
    JOIN technical_state AS raised ON raised.id = (SELECT min(id) FROM technical_state
        WHERE technical = technical.id AND kind = 'raised')
    LEFT JOIN technical_state AS over ON over.id = (SELECT max(id) FROM technical_state
        WHERE technical = technical.id AND kind = 'ended')
    LEFT JOIN technical_state AS answer ON answer.id = (SELECT min(id) FROM technical_state
        WHERE technical = technical.id AND kind = 'acknowledged')
    WHERE technical.began >= :since AND technical.began < :until ORDER BY technical.began, technical.id"""

PAUSES = f"""SELECT pause.*, pause_end.ended, pause_end.ended_offset, pause_end.how
    FROM pause LEFT JOIN pause_end ON pause_end.pause = pause.id
    WHERE pause.began < :until AND coalesce(pause_end.ended, pause.planned) >= :since
    AND {VALID.format("pause")} ORDER BY pause.began, pause.id"""  # noqa: S608 - our own names

MARGINS = """SELECT margin.span, margin.began, margin.began_offset, margin.figures FROM margin
    JOIN span ON span.id = margin.span
    WHERE span.kind = :kind AND margin.began >= :since AND margin.began < :until ORDER BY margin.began, margin.id"""
OPEN_MARGINS = """SELECT margin_open.* FROM margin_open JOIN span ON span.id = margin_open.span
    WHERE span.kind = :kind AND at >= :since AND at < :until ORDER BY at"""
SUMS = """SELECT sum(minutes) AS minutes, sum(unknown) AS unknown, sum(low) AS low FROM margin
    JOIN span ON span.id = margin.span
    WHERE span.kind = :kind AND margin.began >= :since AND margin.began < :until"""

IN_FORCE = """SELECT in_force.at, in_force.at_offset, payload.text
    FROM in_force LEFT JOIN payload ON payload.hash = in_force.payload
    WHERE in_force.at < :until AND in_force.at >= coalesce(
        (SELECT max(at) FROM in_force WHERE at < :since), :since) ORDER BY in_force.at, in_force.id"""


class NightReader(Reader):
    """The part of `History` for what a night brings besides spans and alarms."""

    def tried(self, about: About, about_id: int) -> list[Tried]:
        """Whom and what was tried for an alarm or a technical alarm, in order."""
        rows = self._ask(
            "SELECT * FROM tried WHERE about = :about AND about_id = :id ORDER BY id", {"about": about, "id": about_id}
        )
        return [_tried(row) for row in rows]

    def tries(self, since: datetime | None = None, until: datetime | None = None) -> list[Tried]:
        """All tries to wake somebody for alarms that began in the period, in order."""
        return [_tried(row) for row in self._ask(TRIES, period(since, until))]

    def technicals(self, since: datetime | None = None, until: datetime | None = None) -> list[Technical]:
        """The technical alarms that began in the period, by time."""
        return [_technical(row) for row in self._ask(TECHNICAL, period(since, until))]

    def pauses(self, since: datetime | None = None, until: datetime | None = None) -> list[Pause]:
        """The planned pauses that reach into the period, by time."""
        return [_pause(row) for row in self._ask(PAUSES, period(since, until))]

    def margins(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> list[Margins]:
        """The hearing margins of the period, a row an hour; the hour under way last."""
        asked = {**period(since, until), "kind": kind}
        with self.together():
            hours = self._ask(MARGINS, asked)
            waiting = self._ask(OPEN_MARGINS, asked)
        found = [Margins(row["span"], time_of(row, "began"), tuple(json.loads(row["figures"]))) for row in hours]
        spans = dict.fromkeys(row["span"] for row in waiting)
        return found + [_under_way(span, [row for row in waiting if row["span"] == span]) for span in spans]

    def margin_minutes(
        self, since: datetime | None = None, until: datetime | None = None, kind: Kind = "household"
    ) -> tuple[int, int, int]:
        """Minutes of the period (its whole hours) that have a row, those without a figure, those under 6 dB."""
        (row,) = self._ask(SUMS, {**period(since, until), "kind": kind})
        return row["minutes"] or 0, row["unknown"] or 0, row["low"] or 0

    def settings_in_force(self, since: datetime | None = None, until: datetime | None = None) -> list[InForce]:
        """The settings that held in the period, from those that held when it began."""
        rows = self._ask(IN_FORCE, period(since, until))
        return [InForce(time_of(row, "at"), row["text"]) for row in rows]

    def last_hash(self) -> str:
        """The hash of the newest row of the chain, in hexadecimal: 64 zeros for a history without a row."""
        return self._hash("SELECT hash FROM link ORDER BY id DESC LIMIT 1")

    def first_hash(self) -> str:
        """The hash of the first row of the chain: it tells one history from another."""
        return self._hash("SELECT hash FROM link ORDER BY id LIMIT 1")

    def _hash(self, question: str) -> str:
        rows = self._ask(question, {})
        return bytes(rows[0]["hash"]).hex() if rows else "0" * 64


def _tried(row: sqlite3.Row) -> Tried:
    attempt = Attempt(row["way"], bool(row["ok"]), row["who"], row["detail"], row["step"], row["after"])
    return Tried(row["id"], row["about"], row["about_id"], time_of(row, "at"), attempt)


def _technical(row: sqlite3.Row) -> Technical:
    return Technical(
        id=row["id"],
        span=row["span"],
        cause=row["cause"],
        priority=row["priority"],
        why=row["why"] or "",
        began=time_of(row, "began"),
        raised=time_of(row, "raised"),
        ended=maybe_time(row, "ended"),
        answered=maybe_time(row, "answered"),
        answered_by=row["who"],
        answered_way=row["way"],
    )


def _pause(row: sqlite3.Row) -> Pause:
    return Pause(
        id=row["id"],
        span=row["span"],
        purpose=row["purpose"],
        who=row["who"],
        began=time_of(row, "began"),
        planned=time_of(row, "planned"),
        ended=maybe_time(row, "ended"),
        how=row["how"],
    )


def _under_way(span: int, rows: Sequence[sqlite3.Row]) -> Margins:
    began = time_of(rows[0], "at")
    minutes = [int((restored(row["at"], row["at_offset"]) - began).total_seconds() // 60) for row in rows]
    figures: list[float | None] = [None] * (minutes[-1] + 1)
    for minute, row in zip(minutes, rows, strict=True):
        figures[minute] = row["margin"]
    return Margins(span, began, tuple(figures))
