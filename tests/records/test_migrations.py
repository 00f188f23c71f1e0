"""Every file that an earlier beepwatch wrote opens; one that a later one wrote is left alone."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from beepwatch.errors import RecordsError
from beepwatch.records.database import open_to_read
from beepwatch.records.migrations import STEPS, migrate, version
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.records.verify import verify

VERSIONS = {
    number: (Path(__file__).parent / f"version{number}.sql").read_text(encoding="utf-8")
    for number in range(1, len(STEPS))
}
"""A file of each earlier version, as SQL; a new step adds the one before it."""
VERSION_1 = VERSIONS[1]


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(tmp_path / "history.sqlite3", isolation_level=None)
    connection.row_factory = sqlite3.Row
    yield connection
    connection.close()


def shape(connection: sqlite3.Connection) -> list[tuple[str, ...]]:
    """All tables, indexes and triggers, with the white space of their SQL made even."""
    found = connection.execute("SELECT type, name, sql FROM sqlite_schema ORDER BY type, name")
    return [(kind, name, " ".join((sql or "").split())) for kind, name, sql in found]


def test_each_step_is_recorded_once_by_number_and_name(empty: sqlite3.Connection) -> None:
    """Migrating again changes nothing."""
    for _ in range(2):
        migrate(empty)
        found = [tuple(row) for row in empty.execute("SELECT number, name FROM migration")]
        assert found == [(1, "first"), (2, "second"), (3, "third")]
    assert version(empty) == len(STEPS)


def test_a_failing_migration_rolls_back(empty: sqlite3.Connection) -> None:
    """What the step did before it failed is gone, and the steps before it stay; a later attempt succeeds."""

    def broken(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE half_done (id INTEGER)")
        connection.execute("INSERT INTO nowhere VALUES (1)")

    def whole(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE third (id INTEGER)")

    migrate(empty)
    before = shape(empty)
    with pytest.raises(sqlite3.OperationalError, match="nowhere"):
        migrate(empty, (*STEPS, broken))
    assert shape(empty) == before
    assert version(empty) == len(STEPS)
    migrate(empty, (*STEPS, whole))
    assert version(empty) == len(STEPS) + 1


@pytest.mark.parametrize("number", VERSIONS)
@pytest.mark.parametrize("opening", [Store, History])
def test_a_file_of_an_earlier_version_opens_with_all_that_it_holds(
    empty: sqlite3.Connection, tmp_path: Path, opening: type[Store] | type[History], number: int
) -> None:
    """By the writer as by the reader: the same shape as a new file, every row of old, and each in the chain."""
    empty.executescript(VERSIONS[number])
    before = empty.execute("SELECT (SELECT count(*) FROM state) + (SELECT count(*) FROM span)").fetchone()[0]
    opening(tmp_path).close()
    fresh = sqlite3.connect(":memory:", isolation_level=None)
    migrate(fresh)
    assert shape(empty) == shape(fresh)
    fresh.close()
    with History(tmp_path) as history:
        (alarm,) = history.alarms()
        (night,) = history.spans()
        (recording,) = history.spans(kind="recording")
    assert (alarm.state.pattern, alarm.state.beeps, alarm.woken_after, alarm.acknowledged_after) == (
        "lead-disconnect", 6, 0.1, 28.6,
    )  # fmt: skip
    assert alarm.began.isoformat() == "2026-01-10T23:00:00+01:00"
    checked = verify(tmp_path)
    assert checked.faults == ()
    assert checked.rows >= before
    assert (night.source, night.closed, night.lost, len(night.gaps)) == ("USB microphone", True, 0.5, 1)
    assert (recording.source, recording.closed) == ("kitchen.wav", False)


@pytest.mark.parametrize("opening", [Store, History])
def test_a_file_of_a_newer_program_says_to_update(
    empty: sqlite3.Connection, tmp_path: Path, opening: type[Store] | type[History]
) -> None:
    """Neither written nor read: what it means is not known."""
    migrate(empty)
    empty.execute("INSERT INTO migration VALUES (9, 'ninth', '2031-01-01')")
    with pytest.raises(RecordsError, match=r"newer beepwatch \(history version 9, this one knows 3\): update"):
        opening(tmp_path)


@pytest.mark.parametrize("opening", [Store, History])
def test_another_programs_file_is_left_alone(
    empty: sqlite3.Connection, tmp_path: Path, opening: type[Store] | type[History]
) -> None:
    """A SQLite file with tables that are not ours is never written into."""
    empty.execute("CREATE TABLE migration (number INTEGER)")
    with pytest.raises(RecordsError, match="another program's file, not a beepwatch history"):
        opening(tmp_path)
    assert [name for _, name, _ in shape(empty)] == ["migration"]


def test_an_old_file_is_brought_up_to_date_before_it_is_read(empty: sqlite3.Connection, tmp_path: Path) -> None:
    """The reader itself gets a connection that cannot write."""
    empty.executescript(VERSION_1)
    connection = open_to_read(tmp_path / "history.sqlite3", 1.0)
    assert version(connection) == len(STEPS)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        connection.execute("INSERT INTO migration VALUES (9, 'ninth', '2031-01-01')")
    connection.close()
