"""The writing end of one history file: transactions, rows and their links. What is written is in `store`."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from sqlite3 import Error as SqliteError
from typing import TypeAlias

from beepwatch.errors import RecordsError
from beepwatch.records.chain import link
from beepwatch.records.database import FILE, open_to_write, plainly
from beepwatch.records.rows import stored

Column: TypeAlias = str | float | int | bytes | None

WAIT = 1.0
"""Seconds to wait for another program's lock: judgement; short beside the sound that `watch` can queue."""


class Writer:
    """One connection for one thread. Every method raises RecordsError if it could not write."""

    def __init__(self, folder: Path, timeout: float = WAIT) -> None:
        """Open or make `history.sqlite3` in `folder` (which exists) and bring it up to date."""
        self.path = folder / FILE
        self._timeout = timeout
        self._within = False
        self._connection = open_to_write(self.path, timeout)
        self._identity = self._identify()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all writes inside the block one transaction: all of them are kept or none is."""
        if self._within:
            yield
            return
        with plainly(self.path):
            self._still_there()
            self._connection.execute("BEGIN IMMEDIATE")
            self._within = True
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                self._undo()
                raise
            finally:
                self._within = False

    def reopen(self) -> None:
        """Open the same file again, as is needed after a disk was away."""
        self._connection.close()
        self._connection = open_to_write(self.path, self._timeout, create=False)
        self._identity = self._identify()

    def close(self) -> None:
        """Let go of the file. Open spans stay open: end them first."""
        self._connection.close()

    def _add(self, table: str, columns: Mapping[str, Column]) -> int:
        """One more row of an append-only table, with its link; return its number."""
        names, marks = ", ".join(columns), ", ".join("?" * len(columns))
        with self.together():
            done = self._connection.execute(
                f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608 - our own names
                tuple(columns.values()),
            )
            number = done.lastrowid or 0
            link(self._connection, table, [number])
        return number

    def _undo(self) -> None:
        """Roll back. Where even that fails, the next BEGIN fails too: told, and nothing half written."""
        if self._connection.in_transaction:
            with suppress(SqliteError):
                self._connection.execute("ROLLBACK")

    def _identify(self) -> tuple[int, int]:
        with plainly(self.path):
            status = self.path.stat()
        return status.st_dev, status.st_ino

    def _still_there(self) -> None:
        """Refuse a file that was deleted or replaced: the system would let us write into nowhere."""
        if not self.path.exists() or self._identify() != self._identity:
            raise RecordsError("it was moved or deleted: put it back, or start beepwatch again")


def pair(name: str, moment: datetime | None) -> dict[str, Column]:
    """The two columns of a time; empty ones for None. Raises ValueError for a time without a zone."""
    text, offset = (None, None) if moment is None else stored(moment)
    return {name: text, f"{name}_offset": offset}
