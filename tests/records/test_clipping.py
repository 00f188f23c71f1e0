"""Clips on the disk: saved whole off the loop's thread, told in words of their own, and deleted in time."""

import hashlib
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.events import Alarm
from beepwatch.records.clipping import Clipper, Expired, Keeping, NotSaved, Outcome, Piece, Saved, overdue, save
from beepwatch.records.clips import FOLDER, delete
from beepwatch.records.narrow import RATE
from beepwatch.records.reading import History
from beepwatch.records.store import Store

KEEPING = Keeping(days=30, megabytes=1)


@pytest.fixture
def piece(evening: datetime) -> Piece:
    """Two seconds of a tone."""
    tone = 0.1 * np.sin(2 * np.pi * 2730 * np.arange(2 * RATE) / RATE)
    return Piece(3, tone[:, None].astype(np.float32), 2730.0, evening)


@pytest.fixture
def clipper(tmp_path: Path, evening: datetime) -> Iterator[Clipper]:
    clipper = Clipper(tmp_path, KEEPING, lambda: evening)
    yield clipper
    assert clipper.close()


def outcome(clipper: Clipper) -> Outcome:
    """The next one; it comes from another thread."""
    until = time.monotonic() + 20
    while time.monotonic() < until:
        told = clipper.take()
        if told is not None:
            return told
        time.sleep(0.01)
    raise AssertionError("nothing came")


def test_a_clip_is_a_flac_file_that_says_what_it_is(tmp_path: Path, piece: Piece) -> None:
    """Its hash is that of the file; no half-written one is left beside it; only this user may read it."""
    clip = save(tmp_path / FOLDER, piece)
    content = (tmp_path / FOLDER / clip.file).read_bytes()
    assert (hashlib.sha256(content).digest(), len(content)) == (clip.sha256, clip.size)
    assert [path.name for path in (tmp_path / FOLDER).iterdir()] == [clip.file]
    assert (tmp_path / FOLDER).stat().st_mode & 0o077 == 0
    with soundfile.SoundFile(tmp_path / FOLDER / clip.file) as file:
        assert (file.format, file.samplerate, file.channels, file.frames) == ("FLAC", RATE, 1, 2 * RATE)
        assert "not the device's own record" in file.title
        assert "2730, 5460 Hz" in file.comment
    assert (clip.seconds, clip.tone) == (2.0, 2730.0)


def test_saving_is_done_by_another_thread(clipper: Clipper, piece: Piece, tmp_path: Path) -> None:
    """`put` returns at once; what came of it is told later."""
    clipper.put(piece)
    saved = outcome(clipper)
    assert isinstance(saved, Saved)
    assert saved.number == 3
    assert (tmp_path / FOLDER / saved.clip.file).exists()


def test_a_disk_that_cannot_be_written_is_told_and_nothing_else_happens(
    clipper: Clipper, piece: Piece, tmp_path: Path
) -> None:
    """And the next clip is saved when it can be."""
    (tmp_path / FOLDER).write_text("a file where the folder should be")
    clipper.put(piece)
    told = outcome(clipper)
    assert isinstance(told, NotSaved)
    assert "a clip could not be saved" in told.text
    assert "\n" not in told.text
    (tmp_path / FOLDER).unlink()
    clipper.put(piece)
    assert isinstance(outcome(clipper), Saved)


def test_closing_saves_what_waits(tmp_path: Path, piece: Piece) -> None:
    """All of it, before it returns."""
    clipper = Clipper(tmp_path, KEEPING)
    for number in range(5):
        clipper.put(replace(piece, number=number))
    assert clipper.close()
    assert len(list((tmp_path / FOLDER).glob("*.flac"))) == 5


def clips_of(store: Store, folder: Path, evening: datetime, lead: Alarm, days: list[int]) -> list[Path]:
    """A history with a clip of 400 kB for each of these days before this evening."""
    (folder / FOLDER).mkdir()
    span = store.begin_listening("USB microphone", "household", evening)
    alarm = store.raise_alarm(span, lead, evening, evening)
    tone = np.zeros((RATE, 1), np.float32)
    paths = []
    for number, day in enumerate(days):
        clip = save(folder / FOLDER, Piece(number, tone, 2730.0, evening - timedelta(days=day)))
        store.clip(alarm, replace(clip, size=400_000))
        paths.append(folder / FOLDER / clip.file)
    return paths


def test_clips_go_by_their_age_and_then_by_their_size(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """Over 30 days old; then, over 1 MB in all, the oldest."""
    paths = clips_of(store, tmp_path, evening, lead, [31, 20, 10, 5, 1])
    found = overdue(tmp_path, KEEPING, evening)
    assert {one.path: one.why for one in found} == {
        paths[0]: "over 30 days old",
        paths[1]: "clips had come to 1 MB",
        paths[2]: "clips had come to 1 MB",
    }
    for one in found:
        store.clip_deleted(one.row, evening, one.why)
    assert overdue(tmp_path, KEEPING, evening) == []


def test_files_that_a_crash_left_are_removed_after_an_hour(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """Those that the history knows stay, and so do fresh ones: their row may be on its way."""
    (kept,) = clips_of(store, tmp_path, evening, lead, [1])
    stray, half = tmp_path / FOLDER / "20260101T000000-1.flac", tmp_path / FOLDER / ".x.flac.part"
    stray.write_bytes(b"")
    half.write_bytes(b"")
    now = datetime.now().astimezone()
    overdue(tmp_path, Keeping(3650, 100), now)
    assert stray.exists()
    overdue(tmp_path, Keeping(3650, 100), now + timedelta(hours=2))
    assert (kept.exists(), stray.exists(), half.exists()) == (True, False, False)


def test_a_clipper_finds_them_when_it_is_asked(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm, clipper: Clipper
) -> None:
    """On its own thread, too."""
    (path,) = clips_of(store, tmp_path, evening, lead, [40])
    clipper.prune()
    assert outcome(clipper) == Expired(1, path, "over 30 days old")


def test_a_clip_is_deleted_on_request(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """The file first to go, then the row that says so."""
    (path,) = clips_of(store, tmp_path, evening, lead, [1])
    delete(store, tmp_path, 1, evening)
    assert not path.exists()
    with History(tmp_path) as history:
        assert [one.deleted for one in history.clips()] == [evening]
