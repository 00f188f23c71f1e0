"""What keeps rows as they were written: the file refuses to change them, and a chain of hashes shows damage.

Each row of a table in `CHAINED` has a row in `link`, in the order in which they were written, over all tables:

    hash = SHA-256(hash of the link before, 32 zero bytes for the first + canonical bytes of the row)

The canonical bytes are ASCII JSON without spaces: [table, row number, {column: value, ...}], columns by name, those
that are NULL left out (so that a later column changes no hash), a BLOB as {"hex": ...}. What may be deleted on
request (notes, settings, clips) is no part of a row: the row holds the payload's own hash. SHA-256: FIPS 180-4.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Mapping

FIRST_HASH = bytes(32)

CHAINED = (
    "span", "span_end", "gap", "alarm", "state", "beep", "reach", "tried", "technical", "technical_state",
    "pause", "pause_end", "margin", "note", "in_force", "clip", "care", "found", "correction", "deletion",
)  # fmt: skip
"""Every append-only table but `link` itself. A later step adds its own at the end and to `APPEND_ONLY`'s triggers."""


def canonical(entry: str, number: int, columns: Mapping[str, object]) -> bytes:
    """The bytes of a row that enter the chain; `number` is its rowid."""
    held = {
        name: {"hex": value.hex()} if isinstance(value, bytes) else value
        for name, value in columns.items()
        if value is not None
    }
    return json.dumps([entry, number, held], sort_keys=True, separators=(",", ":")).encode("ascii")


def chained(before: bytes, content: bytes) -> bytes:
    """The hash of a link: of the one before and of a row's canonical bytes."""
    return hashlib.sha256(before + content).digest()


def last_hash(connection: sqlite3.Connection) -> bytes:
    """The hash of the newest link; 32 zero bytes where there is none."""
    row = connection.execute("SELECT hash FROM link ORDER BY id DESC LIMIT 1").fetchone()
    return FIRST_HASH if row is None else bytes(row[0])


def link(connection: sqlite3.Connection, entry: str, numbers: Iterable[int]) -> None:
    """Chain these rows of table `entry`, as the file holds them; within the transaction that wrote them."""
    before = last_hash(connection)
    for number in numbers:
        cursor = connection.execute(f"SELECT * FROM {entry} WHERE rowid = ?", (number,))  # noqa: S608 - our own table
        names = [column[0] for column in cursor.description]
        before = chained(before, canonical(entry, number, dict(zip(names, cursor.fetchone(), strict=True))))
        connection.execute("INSERT INTO link (entry, row, hash) VALUES (?, ?, ?)", (entry, number, before))


def append_only(connection: sqlite3.Connection, table: str, actions: Iterable[str] = ("UPDATE", "DELETE")) -> None:
    """Let the file itself refuse to change or delete a row of `table`."""
    for action in actions:
        connection.execute(
            f"CREATE TRIGGER {table}_refuses_{action.lower()} BEFORE {action} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END"
        )
