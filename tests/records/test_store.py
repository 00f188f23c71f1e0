"""What the writer puts on the disk, and what it says when it cannot."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import numpy as np
import pytest

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records.store import Store, data_folder

Ask: TypeAlias = Callable[[str], list[tuple[object, ...]]]


def test_all_settings_against_a_power_cut_are_on(store: Store, ask: Ask) -> None:
    """WAL stays in the file; synchronous=FULL (2) and foreign keys hold for the writer's connection."""
    assert ask("PRAGMA journal_mode") == [("wal",)]
    pragma = store._connection.execute
    assert pragma("PRAGMA synchronous").fetchone()[0] == 2
    assert pragma("PRAGMA foreign_keys").fetchone()[0] == 1


def test_a_call_that_has_returned_is_seen_by_another_program(store: Store, ask: Ask, evening: datetime) -> None:
    """Nothing waits for a later commit."""
    span = store.begin_listening("USB microphone", "household", evening)
    store.extend_listening(span, evening + timedelta(seconds=5), 0.25)
    assert ask("SELECT kind, source, began, began_offset FROM span") == [
        ("household", "USB microphone", "2026-03-01T21:00:00.000000Z", 0)
    ]
    assert ask("SELECT span, until, lost FROM heartbeat") == [(span, "2026-03-01T21:00:05.000000Z", 0.25)]


def test_each_change_of_an_alarm_is_a_row_of_its_own(
    store: Store, ask: Ask, evening: datetime, lead: Alarm, over: Alarm
) -> None:
    """Raised, more beeps, renamed, woken, acknowledged, stopped, ended: in that order, none overwritten."""
    span = store.begin_listening("USB microphone", "household", evening)
    alarm = store.raise_alarm(span, lead, evening, evening + timedelta(seconds=11))
    store.change_alarm(alarm, replace(lead, beeps=4), evening + timedelta(seconds=16))
    store.change_alarm(alarm, replace(lead, pattern="fire"), evening + timedelta(seconds=17), "renamed")
    for second, kind in enumerate(("woken", "acknowledged", "stopped"), 20):
        store.note(alarm, kind, evening + timedelta(seconds=second))  # type: ignore[arg-type]
    store.end_alarm(alarm, over, evening + timedelta(seconds=196))
    assert ask("SELECT alarm, kind, pattern, beeps, ended FROM state ORDER BY id") == [
        (alarm, "raised", "lead-disconnect", 3, None),
        (alarm, "changed", "lead-disconnect", 4, None),
        (alarm, "renamed", "fire", 3, None),
        (alarm, "woken", None, None, None),
        (alarm, "acknowledged", None, None, None),
        (alarm, "stopped", None, None, None),
        (alarm, "ended", "lead-disconnect", 40, 296.2),
    ]


@pytest.mark.parametrize("table", ["span", "span_end", "gap", "alarm", "state", "beep"])
@pytest.mark.parametrize("change", ["UPDATE {} SET rowid = rowid", "DELETE FROM {}"])
def test_the_file_itself_refuses_to_change_or_delete_a_row(
    store: Store, evening: datetime, lead: Alarm, table: str, change: str
) -> None:
    """Whatever program tries: what happened stays as it was written."""
    span = store.begin_listening("USB microphone", "household", evening)
    store.raise_alarm(span, lead, evening, evening)
    store.gap(span, evening, evening, "unplugged")
    store.add_beeps(span, [Beep(1, 1, 1, 1, 1, 1)])
    store.end_listening(span, evening)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        store._connection.execute(change.format(table))


def test_numbers_of_numpy_and_names_that_are_no_text_are_kept(
    store: Store, ask: Ask, evening: datetime, lead: Alarm
) -> None:
    """Neither a float32, a NaN nor a file name in another encoding keeps a row from being written."""
    span = store.begin_listening("caf\udce9.wav", "recording", evening)
    odd = replace(
        lead,
        duration=np.float32(1.25),  # type: ignore[arg-type]
        beeps=np.int64(3),  # type: ignore[arg-type]
        confidence=float("nan"),
    )
    store.raise_alarm(span, odd, evening, evening)
    store.extend_listening(span, evening, beeps=[Beep(np.float32(0.5), 1, 2700, -40, 12, 1.6)])  # type: ignore[arg-type]
    assert ask("SELECT source FROM span") == [("caf\\udce9.wav",)]
    assert ask("SELECT duration, beeps, confidence FROM state") == [(1.25, 3, None)]
    assert ask("SELECT onset, frequency FROM beep") == [(0.5, 2700.0)]


def test_writes_together_are_all_kept_or_none(store: Store, ask: Ask, evening: datetime, lead: Alarm) -> None:
    """A fault between two of them takes the first back."""
    span = store.begin_listening("USB microphone", "household", evening)

    def both() -> None:
        with store.together():
            store.raise_alarm(span, lead, evening, evening)
            store.extend_listening(99, evening)

    with pytest.raises(RecordsError, match="no listening span 99"):
        both()
    assert ask("SELECT count(*) FROM alarm") == [(0,)]


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    """It could mean any hour of the day."""
    with pytest.raises(ValueError, match="2026-03-01 21:00:00 has no time zone"):
        store.begin_listening("USB microphone", "household", datetime(2026, 3, 1, 21, 0))  # noqa: DTZ001


def test_a_file_deleted_under_the_writer_is_told(store: Store, evening: datetime) -> None:
    """The system would go on writing into a file that has no name any more."""
    span = store.begin_listening("USB microphone", "household", evening)
    store.path.unlink()
    with pytest.raises(RecordsError, match=r"history\.sqlite3: it was moved or deleted: put it back"):
        store.extend_listening(span, evening)


def test_a_locked_file_is_told_and_then_written(store: Store, ask: Ask, evening: datetime) -> None:
    """Another program's lock is waited for shortly, then told in one line."""
    span = store.begin_listening("USB microphone", "household", evening)
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(RecordsError, match="another program is using it"):
        store.extend_listening(span, evening + timedelta(seconds=5))
    other.execute("ROLLBACK")
    other.close()
    store.extend_listening(span, evening + timedelta(seconds=10))
    assert ask("SELECT until FROM heartbeat") == [("2026-03-01T21:00:10.000000Z",)]


@pytest.mark.parametrize("content", [b"SQLite format 3\0" + b"\xff" * 5000, b"not a database at all" * 500])
def test_a_damaged_file_is_told_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    """One line that says to keep it and to move it away; not a byte of it is changed."""
    (tmp_path / "history.sqlite3").write_bytes(content)
    with pytest.raises(RecordsError, match="move it away to begin a new one") as told:
        Store(tmp_path)
    assert "\n" not in str(told.value)
    assert (tmp_path / "history.sqlite3").read_bytes() == content


def test_the_data_folder_is_made_on_need(tmp_path: Path) -> None:
    """With its parents, and only for this user to read."""
    folder = data_folder(tmp_path / "new" / "beepwatch")
    assert folder.is_dir()
    assert folder.stat().st_mode & 0o077 == 0


def test_a_data_folder_that_is_a_file_is_told_in_one_line(tmp_path: Path) -> None:
    """With its name and what to do."""
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordsError, match=r"cannot write in the data folder .*file .*choose another with --data"):
        data_folder(tmp_path / "file")
