"""Whether the history is as it was written: the chain of hashes, SQLite's own check, and the files beside it.

The chain shows accidental damage: a bit that flipped, a row that another program changed, lost rows. It is no
protection against a person who makes a whole new chain; a hash that was printed before (`report`) then shows it.
"""

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from beepwatch.records.chain import CHAINED, FIRST_HASH, canonical, chained
from beepwatch.records.clips import FOLDER
from beepwatch.records.database import FILE, open_to_read, plainly

MOST = 20
"""Kinds of damage told one by one; the rest is counted (judgement)."""
TIMES = ("at", "began", "until", "ended")
"""Columns that say when a row was written, or nearly."""

Columns: TypeAlias = dict[str, object]


@dataclass(frozen=True, slots=True)
class Verified:
    """What was found."""

    rows: int
    """Rows in the chain."""
    last: str
    """The newest hash, hexadecimal."""
    faults: tuple[str, ...]
    """A line for each fault, in words for a person; none: the history is as it was written."""
    known: bool | None
    """Whether the hash that was asked for is one of the chain; None where none was."""


@dataclass(frozen=True, slots=True)
class _Fault:
    entry: str
    number: int
    what: str
    since: str | None
    """The last time told before it in the chain: UTC as the file has it."""

    def told(self) -> str:
        name = NAMES.get(self.entry, self.entry)
        since = f"; what was written up to {self.since[:19].replace('T', ' ')} UTC is sound" if self.since else ""
        return f"{name} {self.number} {self.what}{since}"


NAMES = {
    "span": "listening span", "span_end": "end of listening span", "reach": "length of a listening span, record",
    "state": "state of an alarm, record", "tried": "attempt to wake somebody, record", "technical": "technical alarm",
    "technical_state": "state of a technical alarm, record",
    "pause": "planned pause", "pause_end": "end of planned pause",
    "margin": "hour of hearing margins, record", "in_force": "settings in force, record", "care": "care entry",
    "found": "finding", "link": "link of the chain, record",
}  # fmt: skip
"""What tables are called; others are called by their own name."""


def verify(folder: Path, asked: str | None = None, timeout: float = 5.0) -> Verified:
    """Check the history in `folder`; asked: a hash in hexadecimal (or its beginning) to look for in the chain.

    Raises RecordsError where the file cannot be opened as a history at all.
    """
    path = folder / FILE
    connection = open_to_read(path, timeout)
    try:
        with plainly(path):
            connection.text_factory = _tolerant
            connection.execute("BEGIN")
            walk = _Walk(connection, (asked or "").lower())
            looks = (
                walk.faults(), _whole(connection), _reaches(connection), _payloads(connection),
                _clips(connection, folder),
            )  # fmt: skip
            faults = [fault for look in looks for fault in _as_far_as_possible(look)]
    finally:
        connection.close()
    return Verified(walk.rows, walk.last.hex(), tuple(_few(faults)), walk.known if asked else None)


class _Walk:
    """Goes along the chain and along every table side by side, so that each row is read once."""

    def __init__(self, connection: sqlite3.Connection, asked: str) -> None:
        self.rows = 0
        self.last = FIRST_HASH
        self.known = False
        self._asked = asked
        self._links = connection.execute("SELECT id, entry, row, hash FROM link ORDER BY id")
        self._tables = {table: _Ahead(connection, table) for table in CHAINED}
        self._since: str | None = None

    def faults(self) -> Iterator[str]:
        """A line for every row that is not as it was written, by the order of writing."""
        return (fault.told() for fault in self._faults())

    def _faults(self) -> Iterator[_Fault]:
        for id_, entry, number, told in self._links:
            self.rows += 1
            if id_ != self.rows:
                yield _Fault("link", self.rows, "is missing, and those after it up to the next", self._since)
                self.rows = id_
            hash_ = told if isinstance(told, bytes) else b""
            yield from self._row(str(entry), number, hash_)
            self.last = hash_
            self.known |= bool(self._asked) and self.last.hex().startswith(self._asked)
        for table, ahead in self._tables.items():
            for number in ahead.rest():
                yield _Fault(table, number, "is in the file but was not written by beepwatch", None)

    def _row(self, entry: str, number: int, told: bytes) -> Iterator[_Fault]:
        ahead = self._tables.get(entry)
        columns = None
        if ahead is not None and isinstance(number, int):
            for stranger in ahead.before(number):
                yield _Fault(entry, stranger, "is in the file but was not written by beepwatch", self._since)
            columns = ahead.at(number)
        if columns is None:
            yield _Fault(entry, number, "is missing", self._since)
        elif chained(self.last, canonical(entry, number, columns)) != told:
            yield _Fault(entry, number, "is not as it was written", self._since)
        else:
            self._since = next((str(columns[name]) for name in TIMES if columns.get(name)), self._since)


class _Ahead:
    """The rows of a table by number, read a step at a time."""

    def __init__(self, connection: sqlite3.Connection, table: str) -> None:
        self._cursor = connection.execute(f"SELECT rowid, * FROM {table} ORDER BY rowid")  # noqa: S608 - ours
        self._names = [column[0] for column in self._cursor.description][1:]
        self._next = self._cursor.fetchone()

    def before(self, number: int) -> Iterator[int]:
        """The numbers of the rows before `number` that are left."""
        while self._next is not None and self._next[0] < number:
            yield self._step()[0]

    def at(self, number: int) -> Columns | None:
        """The columns of row `number`, if it is the next."""
        if self._next is None or self._next[0] != number:
            return None
        return dict(zip(self._names, self._step()[1:], strict=True))

    def rest(self) -> Iterator[int]:
        """The numbers of the rows that are left."""
        while self._next is not None:
            yield self._step()[0]

    def _step(self) -> tuple[Any, ...]:
        row = tuple(self._next or ())
        self._next = self._cursor.fetchone()
        return row


def _as_far_as_possible(look: Iterator[str]) -> Iterator[str]:
    """The faults that a look finds; where the file itself cannot be read further, that is one more."""
    try:
        yield from look
    except sqlite3.DatabaseError as error:
        yield f"the file cannot be read further ({' '.join(str(error).split())})"


def _whole(connection: sqlite3.Connection) -> Iterator[str]:
    """SQLite's own check of its pages and indexes, and of rows that refer to others."""
    for (line,) in connection.execute(f"PRAGMA integrity_check({MOST})"):
        if line != "ok":
            yield f"SQLite finds the file damaged: {' '.join(str(line).split())}"
    for row in connection.execute("PRAGMA foreign_key_check"):
        yield f"{NAMES.get(str(row[0]), str(row[0]))} {row[1]} refers to a record that is not there"


def _reaches(connection: sqlite3.Connection) -> Iterator[str]:
    """`heartbeat` is overwritten while a span goes on; once it is over, `reach` tells what it came to."""
    for (span,) in connection.execute(
        "SELECT heartbeat.span FROM heartbeat JOIN reach ON reach.id = "
        "(SELECT max(id) FROM reach AS newest WHERE newest.span = heartbeat.span) "
        "WHERE heartbeat.until < reach.until"
    ):
        yield f"listening span {span} reaches less far than it did when it was over"


def _payloads(connection: sqlite3.Connection) -> Iterator[str]:
    for kind, told, salt, text in connection.execute("SELECT kind, hash, salt, text FROM payload"):
        if hashlib.sha256(bytes(salt) + _bytes(text)).digest() != bytes(told):
            yield f"the words of a {kind} are not as they were written"
    for (note,) in connection.execute(
        "SELECT id FROM note WHERE NOT EXISTS (SELECT 1 FROM payload WHERE hash = note.payload) "
        "AND NOT EXISTS (SELECT 1 FROM deletion WHERE about = 'note' AND about_id = note.id)"
    ):
        yield f"the words of note {note} are missing, and nobody deleted them"


def _clips(connection: sqlite3.Connection, folder: Path) -> Iterator[str]:
    for number, name, told in connection.execute(
        "SELECT id, file, payload FROM clip WHERE NOT EXISTS "
        "(SELECT 1 FROM deletion WHERE about = 'clip' AND about_id = clip.id)"
    ):
        file = folder / FOLDER / Path(str(name)).name
        if not file.exists():
            yield f"clip {number} ({file.name}) is missing, and it was not deleted by beepwatch"
        elif hashlib.sha256(file.read_bytes()).digest() != bytes(told):
            yield f"clip {number} ({file.name}) is not as it was saved"


def _few(faults: list[str]) -> Iterator[str]:
    yield from faults[:MOST]
    if len(faults) > MOST:
        yield f"and {len(faults) - MOST} more"


def _tolerant(raw: bytes) -> str:
    """Text of the file, damaged text too."""
    return raw.decode("utf-8", "surrogateescape")


def _bytes(text: object) -> bytes:
    return str(text).encode("utf-8", "surrogateescape")
