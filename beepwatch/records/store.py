"""Writing the history: each call is one transaction that is on the disk when the call returns.

How `watch` goes on when a write fails is told in `journal`: there every call returns, and what could not be
written waits in memory and is tried again.
"""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from sqlite3 import Error as SqliteError

from platformdirs import user_data_path

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records.database import FILE, open_to_write, plainly
from beepwatch.records.rows import SNAPSHOT, Change, Kind, NoteKind, number, one_of, plain, snapshot, stored

WAIT = 1.0
"""Seconds to wait for another program's lock: judgement; short beside the sound that `watch` can queue."""


def data_folder(chosen: Path | None = None) -> Path:
    """The folder of the history: `chosen` or the platform's own, made if need be, and proved to be writable.

    Raises RecordsError with one line that says why not.
    """
    folder = default_folder() if chosen is None else chosen
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        reason = error.strerror or error
        raise RecordsError(
            f"cannot write in the data folder {folder} ({reason}): choose another with --data DIR"
        ) from error
    return folder


def default_folder() -> Path:
    """Where the platform keeps a program's data for this user; nothing is made."""
    return user_data_path("beepwatch", appauthor=False)


class Store:
    """The writer of one history file, for one thread. Every method raises RecordsError if it could not write.

    Times are aware datetimes in the household's own zone; a time without a zone raises ValueError.
    """

    def __init__(self, folder: Path, timeout: float = WAIT) -> None:
        """Open or make `history.sqlite3` in `folder` (which exists) and bring it up to date."""
        self.path = folder / FILE
        self._timeout = timeout
        self._within = False
        self._connection = open_to_write(self.path, timeout)
        self._identity = self._identify()

    def begin_listening(self, source: str, kind: Kind, began: datetime) -> int:
        """Open a listening span; return its id. source: the microphone's name or the recording's path.

        A span that a crash left open needs no care: it ends at its last extension and has no end of its own.
        """
        with self.together():
            span = self._insert(
                "INSERT INTO span (kind, source, began, began_offset) VALUES (?, ?, ?, ?)",
                one_of(kind, Kind), plain(source), *stored(began),
            )  # fmt: skip
            self._insert("INSERT INTO heartbeat VALUES (?, ?, ?, 0)", span, *stored(began))
        return span

    def extend_listening(
        self, span: int, until: datetime, lost_seconds: float = 0.0, beeps: Sequence[Beep] = ()
    ) -> None:
        """Say that the room was heard until `until`: for each few seconds, never while nothing is heard.

        lost_seconds: all that was lost so far in this span in pieces too short to be gaps (a total, so that
        saying it twice is harmless). beeps: those that ended since the last call, kept as evidence.
        """
        with self.together():
            self._beat(span, until, number(lost_seconds))
            self.add_beeps(span, beeps)

    def add_beeps(self, span: int, beeps: Sequence[Beep]) -> None:
        """Keep beeps as evidence without saying how far the span reaches."""
        with self.together():
            for beep in beeps:
                self._beep(span, beep)

    def gap(self, span: int, began: datetime, ended: datetime, reason: str) -> None:
        """Say that nothing was heard from `began` to `ended`; before the span is extended past it."""
        with self.together():
            self._insert(
                "INSERT INTO gap (span, began, began_offset, ended, ended_offset, reason) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                span, *stored(began), *stored(ended), plain(reason),
            )  # fmt: skip

    def end_listening(self, span: int, ended: datetime) -> None:
        """Close a span that a person ended (or whose recording is over); saying it again does no harm."""
        with self.together():
            self._insert("INSERT OR IGNORE INTO span_end VALUES (?, ?, ?)", span, *stored(ended))
            self._beat(span, ended, None)

    def raise_alarm(self, span: int, alarm: Alarm, began: datetime, raised: datetime) -> int:
        """Write a new alarm; return its id. began: onset of its first beep; raised: when it was told."""
        with self.together():
            written = self._insert(
                "INSERT INTO alarm (span, number, began, began_offset) VALUES (?, ?, ?, ?)",
                span, int(alarm.number), *stored(began),
            )  # fmt: skip
            self._state(written, "raised", raised, alarm)
        return written

    def change_alarm(self, alarm_id: int, alarm: Alarm, at: datetime, kind: Change = "changed") -> None:
        """Write an alarm as it stands: new beeps or better figures ("changed"), a new name ("renamed")."""
        with self.together():
            self._state(alarm_id, one_of(kind, Change), at, alarm)

    def end_alarm(self, alarm_id: int, alarm: Alarm, ended: datetime) -> None:
        """Write that an alarm is over; ended: the end of its last beep."""
        with self.together():
            self._state(alarm_id, "ended", ended, alarm)

    def note(self, alarm_id: int, kind: NoteKind, at: datetime, after: float | None = None) -> None:
        """Write that somebody was woken, that somebody answered, or that the beeping stopped unanswered.

        after: seconds since the alarm was raised by a clock that is never set; None takes the wall clock's.
        """
        with self.together():
            self._insert(
                "INSERT INTO state (alarm, kind, at, at_offset, after) VALUES (?, ?, ?, ?, ?)",
                alarm_id, one_of(kind, NoteKind), *stored(at), number(after),
            )  # fmt: skip

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

    def _beat(self, span: int, until: datetime, lost: float | None) -> None:
        done = self._connection.execute(
            "UPDATE heartbeat SET until = ?, until_offset = ?, lost = coalesce(?, lost) WHERE span = ?",
            (*stored(until), lost, span),
        )
        if done.rowcount != 1:
            raise RecordsError(f"there is no listening span {span} to extend")

    def _state(self, alarm_id: int, kind: str, at: datetime, alarm: Alarm) -> None:
        self._insert(
            f"INSERT INTO state (alarm, kind, at, at_offset, {SNAPSHOT}) "  # noqa: S608 - our own column names
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            alarm_id, kind, *stored(at), *snapshot(alarm),
        )  # fmt: skip

    def _beep(self, span: int, beep: Beep) -> None:
        self._insert(
            "INSERT INTO beep (span, onset, duration, frequency, level, snr) VALUES (?, ?, ?, ?, ?, ?)",
            span, *map(number, (beep.onset, beep.duration, beep.frequency, beep.level, beep.snr)),
        )  # fmt: skip

    def _insert(self, statement: str, *values: str | float | None) -> int:
        return self._connection.execute(statement, values).lastrowid or 0

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
