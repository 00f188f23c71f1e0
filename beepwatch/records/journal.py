"""How `watch` keeps its history while the disk is full, locked, damaged or away.

Each call writes at once if it can. If it cannot, the entry waits in memory, `fault` says why in one line, and
all that waits is written in one transaction as soon as writing works again. What replaces itself (how far a
span reaches, how an alarm stands) waits once, so that a full disk all night costs little memory.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeAlias

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records.rows import Change, Kind, NoteKind, one_of, stored
from beepwatch.records.store import Store

RETRY = 2.0
"""Seconds between attempts while writing fails: judgement; each may wait for a lock (`store.WAIT`)."""
LIMIT = 10_000
"""Entries that may wait: judgement; a few MB, and far more than a week of alarms."""

MISTAKES = (TypeError, ValueError, OverflowError)
"""What Python raises for a value that no column can hold: trying again cannot help."""

Write: TypeAlias = Callable[[Store], None]


@dataclass(frozen=True, slots=True)
class _Entry:
    write: Write
    replaces: tuple[str, int] | None = None
    """A waiting entry of the same mark is out of date and makes room for this one."""
    evidence: bool = False
    """Beeps: the first to go when memory is short."""


class Journal:
    """A `Store` whose calls, once listening has begun, neither fail nor wait long. For one thread.

    clock: seconds that only go forward. Alarm ids are the journal's own: an alarm has one before it is
    written. A time without a zone or an unknown kind raises ValueError at once, as in `Store`.
    """

    def __init__(self, store: Store, clock: Callable[[], float] = time.monotonic, limit: int = LIMIT) -> None:
        self.fault: str | None = None
        """Why entries wait, in one line; None while all is written."""
        self.dropped = 0
        """Entries given up: `limit` of them waited (beeps go before all else), or no column could hold a value."""
        self._store, self._clock, self._limit = store, clock, limit
        self._waiting: list[_Entry] = []
        self._alarms = 0
        self._ids: dict[int, int] = {}
        self._next_try = -float("inf")

    @property
    def pending(self) -> int:
        """How many entries wait in memory."""
        return len(self._waiting)

    def begin_listening(self, source: str, kind: Kind, began: datetime) -> int:
        """As `Store.begin_listening`; raises RecordsError: at the start a person is there to read it."""
        return self._store.begin_listening(source, kind, began)

    def extend_listening(
        self, span: int, until: datetime, lost_seconds: float = 0.0, beeps: Sequence[Beep] = ()
    ) -> None:
        """As `Store.extend_listening`."""
        stored(until)
        if kept := tuple(beeps):
            self._keep(_Entry(lambda store: store.add_beeps(span, kept), evidence=True))
        self._put(lambda store: store.extend_listening(span, until, lost_seconds), ("extended", span))

    def gap(self, span: int, began: datetime, ended: datetime, reason: str) -> None:
        """As `Store.gap`."""
        stored(began), stored(ended)
        self._put(lambda store: store.gap(span, began, ended, reason))

    def end_listening(self, span: int, ended: datetime) -> None:
        """As `Store.end_listening`."""
        stored(ended)
        self._put(lambda store: store.end_listening(span, ended))

    def raise_alarm(self, span: int, alarm: Alarm, began: datetime, raised: datetime) -> int:
        """As `Store.raise_alarm`, but the id returned is the journal's own."""
        stored(began), stored(raised)
        self._alarms += 1
        mine = self._alarms

        def write(store: Store) -> None:
            self._ids[mine] = store.raise_alarm(span, alarm, began, raised)

        self._put(write)
        return mine

    def change_alarm(self, alarm_id: int, alarm: Alarm, at: datetime, kind: Change = "changed") -> None:
        """As `Store.change_alarm`."""
        stored(at), one_of(kind, Change)
        mark = ("changed", alarm_id) if kind == "changed" else None
        self._about(alarm_id, lambda store, known: store.change_alarm(known, alarm, at, kind), mark)

    def end_alarm(self, alarm_id: int, alarm: Alarm, ended: datetime) -> None:
        """As `Store.end_alarm`."""
        stored(ended)
        self._about(alarm_id, lambda store, known: store.end_alarm(known, alarm, ended))

    def note(self, alarm_id: int, kind: NoteKind, at: datetime, after: float | None = None) -> None:
        """As `Store.note`."""
        stored(at), one_of(kind, NoteKind)
        self._about(alarm_id, lambda store, known: store.note(known, kind, at, after))

    def flush(self) -> bool:
        """Try now to write all that waits, in one transaction; return whether nothing waits any more."""
        try:
            if self.fault is not None:
                self._store.reopen()
            while not self._write_all():
                self.dropped += 1
        except RecordsError as error:
            self.fault = str(error)
            self._next_try = self._clock() + RETRY
            return False
        self._waiting.clear()
        self.fault, self._next_try = None, -float("inf")
        return True

    def close(self) -> bool:
        """Try a last time and let go of the file; return whether all was written."""
        done = self.flush()
        self._store.close()
        return done

    def _write_all(self) -> bool:
        """One transaction; False if an entry can never be written: it is taken out, so as not to block the rest."""
        at = 0
        try:
            with self._store.together():
                for at, entry in enumerate(self._waiting):  # noqa: B007 - the one that failed
                    entry.write(self._store)
        except MISTAKES:
            del self._waiting[at]
            return False
        return True

    def _about(
        self, alarm_id: int, write: Callable[[Store, int], None], replaces: tuple[str, int] | None = None
    ) -> None:
        """An entry about an alarm, whose id in the file is known only once the alarm has been written."""

        def once_known(store: Store) -> None:
            if alarm_id in self._ids:
                write(store, self._ids[alarm_id])

        self._put(once_known, replaces)

    def _put(self, write: Write, replaces: tuple[str, int] | None = None) -> None:
        self._keep(_Entry(write, replaces))
        if self._clock() >= self._next_try:
            self.flush()

    def _keep(self, entry: _Entry) -> None:
        if entry.replaces is not None:
            self._waiting = [kept for kept in self._waiting if kept.replaces != entry.replaces]
        if len(self._waiting) < self._limit:
            self._waiting.append(entry)
            return
        self.dropped += 1
        oldest = next((i for i, kept in enumerate(self._waiting) if kept.evidence), None)
        if oldest is not None:
            del self._waiting[oldest]
            self._waiting.append(entry)
