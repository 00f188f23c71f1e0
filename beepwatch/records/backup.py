"""A copy of the history while it is being written, and the way back; each is checked before it counts as done."""

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from beepwatch.errors import RecordsError
from beepwatch.records.clips import FOLDER
from beepwatch.records.database import FILE, open_to_read, plainly
from beepwatch.records.verify import Verified, verify

PAGES = 500
"""Pages that are copied at a time (2 MB): between two such steps a writer gets its turn (judgement)."""


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy that was made and checked."""

    folder: Path
    checked: Verified
    clips: int


def backup(folder: Path, target: Path, now: datetime) -> Copied:
    """Copy the history in `folder`, with its clips, into a new folder inside `target`, named by the time.

    By SQLite's online backup, so that `watch` may go on writing. Raises RecordsError; then nothing is left half done.
    """
    name = f"beepwatch-{now:%Y-%m-%d-%H%M%S}"
    with _whole_or_not(target, name) as new:
        with closing(open_to_read(folder / FILE, 5.0)) as source, closing(sqlite3.connect(new / FILE)) as copy:
            source.backup(copy, pages=PAGES)
            copy.execute("PRAGMA journal_mode = DELETE").fetchall()  # one file, with no log beside it
        clips = _copy_clips(folder / FOLDER, new / FOLDER)
        checked = verify(new)
        _sound(checked, "the copy")
    return Copied(target / name, checked, clips)


def restore(copy: Path, folder: Path) -> Copied:
    """Put a copy into the data folder, which must have no history; the copy itself stays. Raises RecordsError."""
    if (folder / FILE).exists():
        raise RecordsError(f"there is a history in {folder}: move {FILE} and {FOLDER} away first")
    _sound(verify(copy), str(copy))
    with plainly(folder):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        clips = _copy_clips(copy / FOLDER, folder / FOLDER)
        half = folder / f".{FILE}.part"
        with closing(open_to_read(copy / FILE, 5.0)) as source, closing(sqlite3.connect(half)) as new:
            source.backup(new)
        _to_disk(half)
        half.rename(folder / FILE)
    return Copied(folder, verify(folder), clips)


def _sound(checked: Verified, what: str) -> None:
    """Raise RecordsError, with its first fault, unless a history is as it was written."""
    if checked.faults:
        raise RecordsError(f"{what} is damaged ({checked.faults[0]}): `beepwatch history --verify` tells all of it")


@contextmanager
def _whole_or_not(target: Path, name: str) -> Iterator[Path]:
    """A folder to fill, that gets its name once it is full and on the disk; removed where it does not come to that."""
    half = target / f".{name}.part"
    with plainly(target):
        if (target / name).exists():
            raise RecordsError(f"there is a {name} already: wait a second and try again")
        target.mkdir(mode=0o700, parents=True, exist_ok=True)
        shutil.rmtree(half, ignore_errors=True)
        half.mkdir(mode=0o700)
        try:
            yield half
            for path in half.rglob("*"):
                if path.is_file():
                    _to_disk(path)
            half.rename(target / name)
        except BaseException:
            shutil.rmtree(half, ignore_errors=True)
            raise


def _copy_clips(source: Path, target: Path) -> int:
    """How many were copied; one that `watch` deletes meanwhile is left out."""
    count = 0
    for clip in sorted(source.glob("*.flac")):
        target.mkdir(mode=0o700, exist_ok=True)
        try:
            shutil.copyfile(clip, target / clip.name)
        except FileNotFoundError:
            continue
        count += 1
    return count


def _to_disk(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
