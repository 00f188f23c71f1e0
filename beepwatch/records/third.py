"""Step three of the history's shape: who was tried and answered, care, notes, clips, technical alarms, the chain.

`about` and `about_id` name the row that a row is about: a table and its id. Times are pairs of columns as everywhere
(see `rows`). A correction is a row that names what it corrects. Never edit this step: add another.
"""

import sqlite3

from beepwatch.records.chain import append_only, link

OLD = ("span", "gap", "span_end", "alarm", "state", "beep")
"""Tables of the steps before, whose rows are chained now, table by table."""
NEW = (
    "link", "reach", "tried", "technical", "technical_state", "pause", "pause_end", "margin", "note", "in_force",
    "clip", "care", "found", "correction", "deletion",
)  # fmt: skip

TABLES = (
    "CREATE TABLE link (id INTEGER PRIMARY KEY, entry TEXT NOT NULL, row INTEGER NOT NULL, hash BLOB NOT NULL)",
    # `heartbeat` is overwritten as a span goes on; what it came to is written here, once.
    """CREATE TABLE reach (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        until TEXT NOT NULL, until_offset INTEGER NOT NULL,
        lost REAL)""",
    "CREATE INDEX reach_by_span ON reach (span)",
    "ALTER TABLE alarm ADD COLUMN drill INTEGER",
    "ALTER TABLE state ADD COLUMN who TEXT",
    "ALTER TABLE state ADD COLUMN way TEXT",
    # one attempt to wake somebody; ok 0: it failed, and detail says how
    """CREATE TABLE tried (
        id INTEGER PRIMARY KEY,
        about TEXT NOT NULL, about_id INTEGER NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        after REAL, step INTEGER, way TEXT NOT NULL, who TEXT, ok INTEGER NOT NULL, detail TEXT)""",
    "CREATE INDEX tried_by_about ON tried (about, about_id)",
    """CREATE TABLE technical (
        id INTEGER PRIMARY KEY,
        span INTEGER REFERENCES span (id),
        cause TEXT NOT NULL, priority TEXT NOT NULL, why TEXT,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL)""",
    "CREATE INDEX technical_by_time ON technical (began)",
    """CREATE TABLE technical_state (
        id INTEGER PRIMARY KEY,
        technical INTEGER NOT NULL REFERENCES technical (id),
        kind TEXT NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        after REAL, who TEXT, way TEXT, detail TEXT)""",
    "CREATE INDEX technical_state_by_technical ON technical_state (technical)",
    """CREATE TABLE pause (
        id INTEGER PRIMARY KEY,
        span INTEGER REFERENCES span (id),
        purpose TEXT NOT NULL, who TEXT,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL,
        planned TEXT NOT NULL, planned_offset INTEGER NOT NULL)""",
    "CREATE INDEX pause_by_time ON pause (began)",
    """CREATE TABLE pause_end (
        pause INTEGER PRIMARY KEY REFERENCES pause (id),
        ended TEXT NOT NULL, ended_offset INTEGER NOT NULL,
        how TEXT NOT NULL)""",
    # An hour of hearing margin is one row: a figure a minute would be a million rows in five years. The minutes of
    # the hour that is under way wait in margin_open.
    """CREATE TABLE margin (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        began TEXT NOT NULL, began_offset INTEGER NOT NULL,
        minutes INTEGER NOT NULL, unknown INTEGER NOT NULL, low INTEGER NOT NULL, lowest REAL, median REAL,
        figures TEXT NOT NULL)""",
    "CREATE INDEX margin_by_time ON margin (began)",
    """CREATE TABLE margin_open (
        span INTEGER NOT NULL REFERENCES span (id),
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        margin REAL,
        PRIMARY KEY (span, at)) WITHOUT ROWID""",
    # What may be deleted on request. hash = SHA-256(salt + text in UTF-8): with the salt gone, too, a short text
    # cannot be found again by trying.
    "CREATE TABLE payload (hash BLOB PRIMARY KEY, kind TEXT NOT NULL, salt BLOB NOT NULL, text TEXT NOT NULL)",
    """CREATE TABLE note (
        id INTEGER PRIMARY KEY,
        about TEXT NOT NULL, about_id INTEGER NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        who TEXT, payload BLOB NOT NULL)""",
    "CREATE INDEX note_by_about ON note (about, about_id)",
    """CREATE TABLE in_force (
        id INTEGER PRIMARY KEY,
        span INTEGER REFERENCES span (id),
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        payload BLOB NOT NULL)""",
    "CREATE INDEX in_force_by_time ON in_force (at)",
    """CREATE TABLE clip (
        id INTEGER PRIMARY KEY,
        alarm INTEGER NOT NULL REFERENCES alarm (id),
        file TEXT NOT NULL, payload BLOB NOT NULL, bytes INTEGER NOT NULL,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL,
        seconds REAL NOT NULL, tone REAL NOT NULL)""",
    "CREATE INDEX clip_by_alarm ON clip (alarm)",
    """CREATE TABLE care (
        id INTEGER PRIMARY KEY,
        routine TEXT NOT NULL, kind TEXT NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        due TEXT, due_offset INTEGER,
        hours REAL, reason TEXT, who TEXT,
        alarm INTEGER REFERENCES alarm (id))""",
    "CREATE INDEX care_by_routine ON care (routine, at)",
    "CREATE INDEX care_by_time ON care (at)",
    """CREATE TABLE found (
        id INTEGER PRIMARY KEY,
        alarm INTEGER NOT NULL REFERENCES alarm (id),
        what TEXT NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        who TEXT)""",
    "CREATE INDEX found_by_alarm ON found (alarm)",
    # The row `about`, `about_id` does not hold; `by` (a row of the same table) takes its place, if any does.
    """CREATE TABLE correction (
        id INTEGER PRIMARY KEY,
        about TEXT NOT NULL, about_id INTEGER NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        by INTEGER, who TEXT, why TEXT)""",
    "CREATE INDEX correction_by_about ON correction (about, about_id)",
    """CREATE TABLE deletion (
        id INTEGER PRIMARY KEY,
        about TEXT NOT NULL, about_id INTEGER NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        why TEXT NOT NULL)""",
    "CREATE INDEX deletion_by_about ON deletion (about, about_id)",
)


def third(connection: sqlite3.Connection) -> None:
    """The tables above; all rows so far are chained as they stand."""
    for statement in TABLES:
        connection.execute(statement)
    for table in NEW:
        append_only(connection, table)
    append_only(connection, "payload", ("UPDATE",))
    for table in OLD:
        numbers = [number for (number,) in connection.execute(f"SELECT rowid FROM {table} ORDER BY rowid")]  # noqa: S608
        link(connection, table, numbers)
