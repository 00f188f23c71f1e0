"""The reading end of one history file."""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self, TypeAlias

from beepwatch.records.database import FILE, open_to_read, plainly
from beepwatch.records.rows import restored, stored

Asked: TypeAlias = Mapping[str, str | int | float | bytes | None]

WAIT = 5.0
"""Seconds to wait for a lock: judgement; in WAL a reader waits only while the file is being recovered."""


class Reader:
    """One connection that cannot write; a context manager. Methods raise RecordsError.

    Periods are half open, `since` <= time < `until`; None leaves a side open.
    """

    def __init__(self, folder: Path, timeout: float = WAIT) -> None:
        """Open `history.sqlite3` in `folder`; a file of an older beepwatch is brought up to date first."""
        self.path = folder / FILE
        self._connection = open_to_read(self.path, timeout)

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def together(self) -> Iterator[None]:
        """All questions inside the block see the same state of the file."""
        if self._connection.in_transaction:
            yield
            return
        with plainly(self.path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("COMMIT")

    def _ask(self, question: str, asked: Asked) -> list[sqlite3.Row]:
        with plainly(self.path):
            return self._connection.execute(question, asked).fetchall()


def period(since: datetime | None, until: datetime | None) -> dict[str, str | int | float | bytes | None]:
    """The named values of a question; these open ends are before and after any time written as text."""
    return {
        "since": "" if since is None else stored(since)[0],
        "until": "~" if until is None else stored(until)[0],
    }


def time_of(row: sqlite3.Row, column: str) -> datetime:
    """A time of a row."""
    return restored(row[column], row[f"{column}_offset"])


def maybe_time(row: sqlite3.Row, column: str) -> datetime | None:
    """A time of a row that may have none."""
    return None if row[column] is None else time_of(row, column)
