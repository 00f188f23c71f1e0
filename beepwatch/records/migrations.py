"""The shape of the history file, one numbered step a change: one function, one transaction, one recorded row.

Steps are never edited once released: a new shape is a new step at the end of `STEPS`. Everything is append-only but
`heartbeat` and `margin_open`, which hold what is under way, and `payload`, which may be deleted: the file itself
refuses to change or delete a row, and what happened stays as it was written; a correction is a new row. `link.id`
gives the order in which things were written. A new append-only table goes into `chain.CHAINED`, too.
"""

import sqlite3
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import TypeAlias

from beepwatch.errors import RecordsError
from beepwatch.records.chain import append_only
from beepwatch.records.third import third

Step: TypeAlias = Callable[[sqlite3.Connection], None]

APPLICATION = 0x62656570
"""`PRAGMA application_id`, "beep" in ASCII: tells our file from another program's."""


def first(connection: sqlite3.Connection) -> None:
    """Listening spans with their gaps; alarms with a row for each change of state."""
    for statement in FIRST:
        connection.execute(statement)
    for table in ("span", "span_end", "gap", "alarm", "state"):
        append_only(connection, table)


FIRST = (
    f"PRAGMA application_id = {APPLICATION}",
    "CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied TEXT NOT NULL)",
    """CREATE TABLE span (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        source TEXT NOT NULL,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL)""",
    "CREATE INDEX span_by_time ON span (kind, began)",
    """CREATE TABLE heartbeat (
        span INTEGER PRIMARY KEY REFERENCES span (id),
        until TEXT NOT NULL, until_offset INTEGER NOT NULL,
        lost REAL NOT NULL)""",
    """CREATE TABLE span_end (
        span INTEGER PRIMARY KEY REFERENCES span (id),
        ended TEXT NOT NULL, ended_offset INTEGER NOT NULL)""",
    """CREATE TABLE gap (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        began TEXT NOT NULL, began_offset INTEGER NOT NULL,
        ended TEXT NOT NULL, ended_offset INTEGER NOT NULL,
        reason TEXT NOT NULL)""",
    "CREATE INDEX gap_by_span ON gap (span)",
    """CREATE TABLE alarm (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        number INTEGER NOT NULL,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL)""",
    "CREATE INDEX alarm_by_time ON alarm (began)",
    "CREATE INDEX alarm_by_span ON alarm (span)",
    # Figures may be missing (NULL) rather than keep a row from being written; kinds are checked by the
    # writer, since a table that must not lose a row cannot easily be given a new CHECK.
    """CREATE TABLE state (
        id INTEGER PRIMARY KEY,
        alarm INTEGER NOT NULL REFERENCES alarm (id),
        kind TEXT NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        after REAL,
        pattern TEXT, priority TEXT, onset REAL, raised REAL, ended REAL, last REAL, beeps INTEGER,
        duration REAL, period REAL, frequency REAL, confidence REAL, why TEXT)""",
    "CREATE INDEX state_by_alarm ON state (alarm, kind)",
)


def second(connection: sqlite3.Connection) -> None:
    """Beeps, as evidence for the alarms of their span; onset in seconds of stream time."""
    connection.execute(
        """CREATE TABLE beep (
            id INTEGER PRIMARY KEY,
            span INTEGER NOT NULL REFERENCES span (id),
            onset REAL, duration REAL, frequency REAL, level REAL, snr REAL)"""
    )
    connection.execute("CREATE INDEX beep_by_time ON beep (span, onset)")
    append_only(connection, "beep")


STEPS: tuple[Step, ...] = (first, second, third)


def version(connection: sqlite3.Connection) -> int:
    """How many steps the file has had: 0 for a new, empty file.

    Raises RecordsError for a SQLite file that is not a beepwatch history.
    """
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    if not tables:
        return 0
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION or "migration" not in tables:
        raise RecordsError("it is another program's file, not a beepwatch history")
    (number,) = connection.execute("SELECT max(number) FROM migration").fetchone()
    return int(number)


def migrate(connection: sqlite3.Connection, steps: Sequence[Step] = STEPS) -> None:
    """Bring the file up to the last of `steps`; a failing step leaves the file as it was before that step.

    Raises RecordsError for a file of a newer program or another program's file, sqlite3.Error as SQLite does.
    """
    while (done := version(connection)) < len(steps):
        _apply_next(connection, steps)
    if done > len(steps):
        raise RecordsError(
            f"it was written by a newer beepwatch (history version {done}, this one knows {len(steps)}): "
            "update beepwatch"
        )


def _apply_next(connection: sqlite3.Connection, steps: Sequence[Step]) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        done = version(connection)  # again, now that no other process can step in between
        if done < len(steps):
            steps[done](connection)
            connection.execute(
                "INSERT INTO migration (number, name, applied) VALUES (?, ?, ?)",
                (done + 1, steps[done].__name__, datetime.now(UTC).isoformat()),
            )
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
