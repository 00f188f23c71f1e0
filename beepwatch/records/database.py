"""Opening the history file, and turning each of SQLite's errors into one line that says what to do."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from beepwatch.errors import RecordsError
from beepwatch.records.migrations import STEPS, migrate, version

FILE = "history.sqlite3"

IN_USE = "another program is using it: close that program or wait"
DAMAGED = "it is damaged or no history: keep it, but move it away to begin a new one"
FORBIDDEN = "it may not be opened or written: change its permissions or choose a folder with --data DIR"

ADVICE = {
    sqlite3.SQLITE_FULL: "the disk is full: make room on it",
    sqlite3.SQLITE_BUSY: IN_USE,
    sqlite3.SQLITE_LOCKED: IN_USE,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
    sqlite3.SQLITE_READONLY: FORBIDDEN,
    sqlite3.SQLITE_PERM: FORBIDDEN,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened: check its folder or choose another with --data DIR",
    sqlite3.SQLITE_IOERR: "the disk gives errors: check that it is plugged in and sound",
}
"""What to do for each primary result code of SQLite (sqlite.org/rescode.html) that a household can meet."""


PRAGMAS = ("foreign_keys = ON", "journal_mode = WAL", "synchronous = FULL", "fullfsync = ON", "secure_delete = ON")
"""Of a writer. WAL lets others read while we write; synchronous=FULL brings each commit to the disk before it returns;
secure_delete overwrites what is deleted with zeros."""


@contextmanager
def plainly(path: Path) -> Iterator[None]:
    """Tell any error of SQLite or of the file system inside the block as a RecordsError of one line."""
    try:
        yield
    except sqlite3.Error as error:
        raise RecordsError(f"history {path}: {advice(error)}") from error
    except UnicodeDecodeError as error:  # a damaged text
        raise RecordsError(f"history {path}: {DAMAGED}") from error
    except OSError as error:
        raise RecordsError(f"history {path}: {error.strerror or error}") from error
    except RecordsError as error:
        if str(path) in str(error):
            raise
        raise RecordsError(f"history {path}: {error}") from error


def advice(error: sqlite3.Error) -> str:
    """What an error of SQLite means and what to do, without the file's name."""
    code = getattr(error, "sqlite_errorcode", None)  # missing where the module and not SQLite complains
    known = ADVICE.get(code & 0xFF) if code is not None else None
    told = " ".join(str(error).split())
    return f"{known} (SQLite: {told})" if known else f"SQLite: {told}"


def open_to_write(path: Path, timeout: float, create: bool = True) -> sqlite3.Connection:
    """The history file, brought up to date, for its writer.

    timeout: seconds to wait for another program's lock. create: make the file where there is none.
    Raises RecordsError.
    """
    with plainly(path):
        connection = _connect(path, "rwc" if create else "rw", timeout)
        try:
            for pragma in PRAGMAS:
                connection.execute(f"PRAGMA {pragma}")
            migrate(connection)
        except BaseException:
            connection.close()
            raise
    return connection


def open_to_read(path: Path, timeout: float) -> sqlite3.Connection:
    """The history file for a reader, also while another process writes it or where its folder is read-only.

    A file of an older beepwatch is brought up to date first. Raises RecordsError.
    """
    with plainly(path):
        connection = _connect_read_only(path, timeout)
        try:
            done = version(connection)
            if done < len(STEPS):
                connection.close()
                open_to_write(path, timeout, create=False).close()
                return _connect_read_only(path, timeout)
            migrate(connection)  # only refuses a newer file: there is no step left to take
        except BaseException:
            connection.close()
            raise
    return connection


def _connect_read_only(path: Path, timeout: float) -> sqlite3.Connection:
    """Read-only; in a read-only folder, where WAL has no room for its index, as a file that nobody writes.

    That is so where the write-ahead log is gone: a writer keeps it, and so does a crash.
    """
    connection = _connect(path, "ro", timeout)
    try:
        connection.execute("SELECT 1 FROM sqlite_schema").fetchall()
    except sqlite3.OperationalError as error:
        connection.close()
        closed = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN)
        if not closed or path.with_name(f"{path.name}-wal").exists():
            raise
        return _connect(path, "ro&immutable=1", timeout)
    except BaseException:
        connection.close()
        raise
    return connection


def _connect(path: Path, mode: str, timeout: float) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    connection = sqlite3.connect(uri, uri=True, timeout=timeout, isolation_level=None)
    connection.row_factory = sqlite3.Row
    return connection
