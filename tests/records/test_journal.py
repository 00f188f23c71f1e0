"""What waits in memory while the history cannot be written, and how it gets to the disk after all."""

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pytest

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records.journal import RETRY, Journal
from beepwatch.records.reading import History
from beepwatch.records.store import Store

Ask: TypeAlias = Callable[[str], list[tuple[object, ...]]]

KINDS = "SELECT kind FROM state ORDER BY id"


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def journal(store: Store, clock: Clock) -> Journal:
    return Journal(store, clock)


@pytest.fixture
def lock(store: Store) -> Iterator[sqlite3.Connection]:
    """Another program that holds the file until it rolls back."""
    other = sqlite3.connect(store.path, isolation_level=None)
    yield other
    other.close()


def test_a_journal_that_can_write_keeps_nothing_back(
    journal: Journal, ask: Ask, evening: datetime, lead: Alarm, over: Alarm
) -> None:
    """Each call is on the disk when it returns."""
    span = journal.begin_listening("USB microphone", "household", evening)
    alarm = journal.raise_alarm(span, lead, evening, evening)
    assert ask(KINDS) == [("raised",)]
    journal.note(alarm, "woken", evening, 0.2)
    assert ask(KINDS) == [("raised",), ("woken",)]
    journal.end_alarm(alarm, over, evening)
    journal.end_listening(span, evening)
    assert ask(KINDS) == [("raised",), ("woken",), ("ended",)]
    assert (journal.pending, journal.fault, journal.dropped) == (0, None, 0)
    assert journal.close()


def test_a_whole_alarm_under_a_lock_is_written_in_order_afterwards(
    *,
    journal: Journal,
    lock: sqlite3.Connection,
    ask: Ask,
    evening: datetime,
    lead: Alarm,
    over: Alarm,
    clock: Clock,
) -> None:
    """The alarm has an id before it has a row, and no call raises."""
    span = journal.begin_listening("USB microphone", "household", evening)
    lock.execute("BEGIN IMMEDIATE")
    alarm = journal.raise_alarm(span, lead, evening, evening)
    journal.note(alarm, "woken", evening)
    journal.gap(span, evening, evening + timedelta(seconds=9), "microphone unplugged")
    journal.change_alarm(alarm, replace(lead, pattern="fire"), evening, "renamed")
    journal.end_alarm(alarm, over, evening + timedelta(seconds=196))
    assert journal.fault is not None
    assert "another program is using it" in journal.fault
    assert "\n" not in journal.fault
    lock.execute("ROLLBACK")
    clock.now += RETRY
    journal.extend_listening(span, evening + timedelta(seconds=200))
    assert journal.fault is None
    assert journal.pending == 0
    assert ask(KINDS) == [("raised",), ("woken",), ("renamed",), ("ended",)]
    assert ask("SELECT reason FROM gap") == [("microphone unplugged",)]
    assert ask("SELECT until FROM heartbeat") == [("2026-03-01T21:03:20.000000Z",)]


def test_a_full_disk_is_told_and_written_when_there_is_room(
    *, journal: Journal, store: Store, ask: Ask, evening: datetime, lead: Alarm, clock: Clock
) -> None:
    """SQLite's own "database or disk is full": here since no page may be added to the file."""
    span = journal.begin_listening("USB microphone", "household", evening)
    (pages,) = store._connection.execute("PRAGMA page_count").fetchone()
    store._connection.execute(f"PRAGMA max_page_count = {pages}")
    long = replace(lead, why="x" * 100_000)
    alarm = journal.raise_alarm(span, long, evening, evening)
    assert journal.fault is not None
    assert "the disk is full: make room on it" in journal.fault
    assert ask("SELECT count(*) FROM alarm") == [(0,)]
    assert ask("PRAGMA integrity_check") == [("ok",)]
    clock.now += RETRY
    journal.note(alarm, "woken", evening)  # opens the file anew, without the bound
    assert journal.fault is None
    assert ask(KINDS) == [("raised",), ("woken",)]


def test_attempts_are_spaced_so_that_a_lock_never_stalls_the_loop(
    *,
    journal: Journal, lock: sqlite3.Connection, store: Store, evening: datetime, clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Between two attempts a call only remembers."""
    span = journal.begin_listening("USB microphone", "household", evening)
    lock.execute("BEGIN IMMEDIATE")
    attempts = 0
    together = store.together

    def counted() -> object:
        nonlocal attempts
        attempts += 1
        return together()

    monkeypatch.setattr(store, "together", counted)
    for _ in range(100):  # 10 s
        journal.gap(span, evening, evening, "microphone unplugged")
        clock.now += 0.1
    assert attempts <= 10 / RETRY + 1
    lock.execute("ROLLBACK")
    assert journal.flush()


def test_what_replaces_itself_waits_once(
    journal: Journal, lock: sqlite3.Connection, ask: Ask, evening: datetime, lead: Alarm
) -> None:
    """A night of extensions and beep counts under a lock is two entries; the last of each is written."""
    span = journal.begin_listening("USB microphone", "household", evening)
    lock.execute("BEGIN IMMEDIATE")
    alarm = journal.raise_alarm(span, lead, evening, evening)
    for second in range(1, 2001):
        journal.extend_listening(span, evening + timedelta(seconds=second), second / 1000)
        journal.change_alarm(alarm, replace(lead, beeps=3 + second), evening + timedelta(seconds=second))
    assert journal.pending == 3
    lock.execute("ROLLBACK")
    assert journal.flush()
    assert ask("SELECT lost FROM heartbeat") == [(2.0,)]
    assert ask("SELECT beeps FROM state ORDER BY id") == [(3,), (2003,)]


def test_memory_is_bounded_and_beeps_go_first(
    *, store: Store, lock: sqlite3.Connection, ask: Ask, evening: datetime, lead: Alarm, clock: Clock
) -> None:
    """Evidence makes room for alarms; what was given up is counted."""
    journal = Journal(store, clock, limit=10)
    span = journal.begin_listening("USB microphone", "household", evening)
    lock.execute("BEGIN IMMEDIATE")
    for onset in range(20):
        journal.extend_listening(span, evening, 0.0, [Beep(onset, 1.2, 2730, -40, 12, onset + 1.2)])
    assert (journal.pending, journal.dropped) == (10, 11)
    for number in range(1, 10):
        journal.raise_alarm(span, replace(lead, number=number), evening, evening)
    assert (journal.pending, journal.dropped) == (10, 20)
    late = journal.raise_alarm(span, replace(lead, number=10), evening, evening)
    journal.note(late, "woken", evening)
    assert (journal.pending, journal.dropped) == (10, 22)
    lock.execute("ROLLBACK")
    journal.flush()
    journal.note(late, "acknowledged", evening)  # of an alarm that was given up: nothing to note it on
    assert ask("SELECT number FROM alarm") == [(number,) for number in range(1, 10)]
    assert (journal.pending, journal.fault) == (0, None)


def test_a_moved_file_is_waited_for(
    *, journal: Journal, store: Store, ask: Ask, evening: datetime, lead: Alarm, clock: Clock
) -> None:
    """As when a disk is unplugged: told, and written once it is back where it was."""
    span = journal.begin_listening("USB microphone", "household", evening)
    aside = store.path.with_name("aside")
    store.path.rename(aside)
    journal.raise_alarm(span, lead, evening, evening)
    assert "moved or deleted" in str(journal.fault)
    clock.now += RETRY
    journal.extend_listening(span, evening)
    assert journal.pending == 2
    assert not store.path.exists()
    aside.rename(store.path)
    clock.now += RETRY
    journal.extend_listening(span, evening)
    assert journal.pending == 0
    assert ask(KINDS) == [("raised",)]


def test_a_file_damaged_under_the_writer_is_told_and_nothing_is_forgotten(
    journal: Journal, store: Store, evening: datetime, lead: Alarm, clock: Clock
) -> None:
    """The loop goes on; closing tells that entries could not be written."""
    span = journal.begin_listening("USB microphone", "household", evening)
    store.reopen()  # moves all of the log into the file
    store.path.write_bytes(b"\xff" * store.path.stat().st_size)
    journal.raise_alarm(span, lead, evening, evening)
    clock.now += RETRY
    journal.extend_listening(span, evening)
    assert "it is damaged" in str(journal.fault)
    assert journal.pending == 2
    assert not journal.close()


def test_the_start_of_listening_is_not_put_off(journal: Journal, lock: sqlite3.Connection, evening: datetime) -> None:
    """At the start a person is there to read what is wrong."""
    lock.execute("BEGIN IMMEDIATE")
    with pytest.raises(RecordsError, match="another program is using it"):
        journal.begin_listening("USB microphone", "household", evening)


def test_the_wait_of_an_unwritten_alarm_is_read_back_from_its_own_clock(
    journal: Journal, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """`after` counts by a clock that is never set, whatever the wall clock did between."""
    span = journal.begin_listening("USB microphone", "household", evening)
    alarm = journal.raise_alarm(span, lead, evening, evening)
    journal.note(alarm, "woken", evening - timedelta(hours=1), 4.0)
    journal.note(alarm, "acknowledged", evening + timedelta(seconds=35))
    with History(tmp_path) as history:
        (logged,) = history.alarms()
    assert (logged.woken_after, logged.acknowledged_after) == (4.0, 35.0)


def test_an_entry_that_no_column_can_hold_does_not_block_the_rest(
    journal: Journal, ask: Ask, evening: datetime, lead: Alarm
) -> None:
    """It is given up and counted; trying again could not help."""
    span = journal.begin_listening("USB microphone", "household", evening)
    alarm = journal.raise_alarm(span, replace(lead, beeps=2**70), evening, evening)
    journal.note(alarm, "woken", evening)
    journal.raise_alarm(span, replace(lead, number=2), evening, evening)
    assert (journal.pending, journal.dropped) == (0, 1)
    assert ask("SELECT number FROM alarm") == [(2,)]


def test_a_bad_call_is_refused_at_once_and_not_kept(journal: Journal, evening: datetime, lead: Alarm) -> None:
    """A mistake in the program must not block what waits behind it."""
    span = journal.begin_listening("USB microphone", "household", evening)
    alarm = journal.raise_alarm(span, lead, evening, evening)
    with pytest.raises(ValueError, match="unknown kind 'slept': one of woken, acknowledged, stopped, again"):
        journal.note(alarm, "slept", evening)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="no time zone"):
        journal.extend_listening(span, datetime(2026, 3, 1))  # noqa: DTZ001
    assert journal.pending == 0
