"""What waits in memory while the history cannot be written; see `journal`."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from beepwatch.errors import RecordsError
from beepwatch.records.store import Store

RETRY = 2.0
"""Seconds between attempts while writing fails: judgement; each may wait for a lock (`writer.WAIT`)."""
LIMIT = 10_000
"""Entries that may wait: judgement; a few MB, and far more than a week of alarms."""

MISTAKES = (TypeError, ValueError, OverflowError)
"""What Python raises for a value that no column can hold: trying again cannot help."""

Write: TypeAlias = Callable[[Store], None]
Mark: TypeAlias = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing to write."""

    write: Write
    replaces: Mark | None = None
    """A waiting entry of the same mark is out of date and makes room for this one."""
    evidence: bool = False
    """Beeps and margins: the first to go when memory is short."""


class Waiting:
    """Entries on their way into a store. For one thread. clock: seconds that only go forward."""

    def __init__(self, store: Store, clock: Callable[[], float] = time.monotonic, limit: int = LIMIT) -> None:
        self.fault: str | None = None
        """Why entries wait, in one line; None while all is written."""
        self.dropped = 0
        """Entries given up: `limit` of them waited (evidence goes before all else), or no column could hold a value."""
        self._store, self._clock, self._limit = store, clock, limit
        self._waiting: list[Entry] = []
        self._newest: dict[str, int] = {}
        self._rows: dict[tuple[str, int], int] = {}
        self._next_try = -float("inf")

    @property
    def pending(self) -> int:
        """How many entries wait in memory."""
        return len(self._waiting)

    def row(self, about: str, mine: int) -> int | None:
        """The id in the file of what has the id `mine` here; None while it is not written (or was given up)."""
        return self._rows.get((about, mine))

    def adopt(self, about: str, row: int) -> int:
        """An id here for a row of an earlier run, such as a pause that still holds."""
        mine = self._next_id(about)
        self._rows[about, mine] = row
        return mine

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

    def _new(self, about: str, write: Callable[[Store], int]) -> int:
        """An entry that makes a row others are about; return its id here."""
        mine = self._next_id(about)

        def known_then(store: Store) -> None:
            self._rows[about, mine] = write(store)

        self._put(known_then)
        return mine

    def _about(
        self, about: str, mine: int, write: Callable[[Store, int], object], replaces: Mark | None = None
    ) -> None:
        """An entry about a row whose id in the file is known only once that row has been written."""

        def once_known(store: Store) -> None:
            known = self.row(about, mine)
            if known is not None:
                write(store, known)

        self._put(once_known, replaces)

    def _next_id(self, about: str) -> int:
        self._newest[about] = self._newest.get(about, 0) + 1
        return self._newest[about]

    def _put(self, write: Write, replaces: Mark | None = None, evidence: bool = False) -> None:
        self._keep(Entry(write, replaces, evidence))
        if self._clock() >= self._next_try:
            self.flush()

    def _keep(self, entry: Entry) -> None:
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
