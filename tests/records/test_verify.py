"""What damage the chain shows, and what it says about it."""

import hashlib
import json
import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from beepwatch.events import Alarm, Beep
from beepwatch.records.clips import FOLDER
from beepwatch.records.entries import Attempt, CareEvent, Clip
from beepwatch.records.store import Store
from beepwatch.records.verify import verify


@pytest.fixture
def night(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> Path:
    """A folder with a history that has a row in nearly every table, and one clip."""
    with store.together():  # one commit: a commit waits for the disk
        span = store.begin_listening("USB microphone", "household", evening)
        alarm = store.raise_alarm(span, lead, evening, evening)
        for minute in range(70):
            at = evening + timedelta(minutes=minute)
            store.extend_listening(span, at, 0.5, [Beep(60.0 * minute, 1.2, 2730.0, -40.0, 12.0, 60.0 * minute + 1.2)])
            store.margin(span, at, 20.0)
            store.change_alarm(alarm, replace(lead, beeps=4 + minute), at)
        store.tried("alarm", alarm, evening, Attempt("speaker", ok=True))
        store.found(alarm, "cable", evening)
        store.write_note("alarm", alarm, evening, "the plug had slipped")
        store.care(CareEvent("exit-site", "done", evening))
        store.in_force(span, evening, "a = 1")
        store.end_pause(store.pause(span, "bath", evening, evening), evening)
        store.note_technical(
            store.raise_technical(span, "margin", "medium", began=evening, raised=evening), "ended", evening
        )
        (tmp_path / FOLDER).mkdir()
        (tmp_path / FOLDER / "one.flac").write_bytes(b"sound")
        store.clip(alarm, Clip("one.flac", hashlib.sha256(b"sound").digest(), 5, evening, 1.0, 2730.0))
        store.end_listening(span, evening + timedelta(hours=2))
    return tmp_path


@contextmanager
def meddling(folder: Path) -> Iterator[sqlite3.Connection]:
    """Another program that takes the guards off first."""
    connection = sqlite3.connect(folder / "history.sqlite3", isolation_level=None)
    for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    yield connection
    connection.close()


def test_a_sound_history_has_no_fault(night: Path) -> None:
    """And its last hash is that of the last link, by a second reckoning from the file alone."""
    checked = verify(night)
    connection = sqlite3.connect(night / "history.sqlite3")
    connection.row_factory = sqlite3.Row
    before = bytes(32)
    for link in connection.execute("SELECT * FROM link ORDER BY id").fetchall():
        question = f"SELECT * FROM {link['entry']} WHERE rowid = ?"  # noqa: S608 - a table of ours
        row = connection.execute(question, (link["row"],)).fetchone()
        held = {
            name: {"hex": row[name].hex()} if isinstance(row[name], bytes) else row[name]
            for name in row.keys()  # noqa: SIM118 - iterating over a row gives its values
            if row[name] is not None
        }
        text = json.dumps([link["entry"], link["row"], held], sort_keys=True, separators=(",", ":"))
        before = hashlib.sha256(before + text.encode()).digest()
        assert before == link["hash"]
    connection.close()
    assert (checked.faults, checked.last, checked.rows) == ((), before.hex(), checked.rows)
    assert checked.rows > 150


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        ("UPDATE state SET beeps = 99 WHERE id = 30", "state of an alarm, record 30 is not as it was written"),
        ("UPDATE found SET what = 'other'", "finding 1 is not as it was written"),
        ("UPDATE beep SET onset = NULL WHERE id = 3", "beep 3 is not as it was written"),
        ("DELETE FROM beep WHERE id = 3", "beep 3 is missing"),
        ("DELETE FROM gap", None),
        (
            "INSERT INTO gap SELECT NULL, 1, began, 0, began, 0, 'x' FROM span",
            "gap 1 is in the file but was not written",
        ),
        ("UPDATE link SET hash = zeroblob(32) WHERE id = 9", "is not as it was written"),
        ("DELETE FROM link WHERE id = 9", "link of the chain, record 9 is missing"),
        ("UPDATE heartbeat SET until = '2026-03-01T21:00:01.000000Z'", "listening span 1 reaches less far"),
        ("UPDATE payload SET text = 'all was well' WHERE kind = 'note'", "the words of a note are not as they were"),
        ("DELETE FROM payload WHERE kind = 'note'", "the words of note 1 are missing, and nobody deleted them"),
        ("UPDATE state SET why = CAST(x'ff00fe' AS TEXT) WHERE id = 1", "state of an alarm, record 1 is not as it was"),
        ("DELETE FROM span", "listening span 1 is missing"),
    ],
)
def test_each_kind_of_damage_is_told(night: Path, damage: str, told: str | None) -> None:
    """In words that name what is damaged, and up to when all is sound."""
    with meddling(night) as connection:
        connection.execute(damage)
    faults = verify(night).faults
    assert any(told in fault for fault in faults) if told else not faults


def test_damage_says_since_when(night: Path) -> None:
    """The time of the last sound row before it, by the order of writing."""
    with meddling(night) as connection:
        connection.execute("UPDATE state SET beeps = 99 WHERE id = 30")
    (fault,) = verify(night).faults
    assert fault.endswith("; what was written up to 2026-03-01 21:27:00 UTC is sound")


@pytest.mark.parametrize("change", [lambda file: file.unlink(), lambda file: file.write_bytes(b"other")])
def test_a_clip_that_is_gone_or_changed_is_told(night: Path, change: object) -> None:
    """One that beepwatch deleted is not."""
    assert callable(change)
    change(night / FOLDER / "one.flac")
    (fault,) = verify(night).faults
    assert fault.startswith("clip 1 (one.flac) is")


def test_deleting_words_and_clips_leaves_the_chain_whole(night: Path, store: Store, evening: datetime) -> None:
    """As was asked for: the rows hold only hashes."""
    store.delete_note(1, evening)
    (night / FOLDER / "one.flac").unlink()
    store.clip_deleted(1, evening)
    assert verify(night).faults == ()


def test_a_hash_that_was_printed_before_is_found_again(night: Path, store: Store, evening: datetime) -> None:
    """Then nothing before it has changed; another history does not have it."""
    printed = verify(night).last
    store.found(1, "other", evening)
    assert verify(night, printed).known
    assert verify(night, printed[:12].upper()).known
    assert verify(night, "00" * 32).known is False
    assert verify(night).known is None


def test_flipped_bits_are_told(night: Path, store: Store, tmp_path: Path) -> None:
    """100 bits of bytes that are not zero, each in a copy: nearly all are told; the others change no row."""
    store.close()
    whole = (night / "history.sqlite3").read_bytes()
    other = tmp_path / "other"
    shutil.copytree(night / FOLDER, other / FOLDER)
    places = [place for place, byte in enumerate(whole) if byte]
    chance = random.Random(20260301)
    silent = 0
    for turn in range(100):
        damaged = bytearray(whole)
        damaged[chance.choice(places)] ^= 1 << turn % 8
        (other / "history.sqlite3").write_bytes(damaged)
        silent += not _told(other)
    print(f"{100 - silent} of 100 flipped bits told")
    assert silent < 35  # the text of the table definitions, and indexes of texts in another order


def _told(folder: Path) -> bool:
    from beepwatch.errors import RecordsError  # noqa: PLC0415

    try:
        return bool(verify(folder).faults)
    except RecordsError:
        return True
