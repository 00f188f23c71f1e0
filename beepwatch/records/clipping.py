"""Saving clips and finding those whose time is up, on a thread of its own: the loop never waits for it."""

import hashlib
import io
import logging
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from queue import Empty, Full, Queue, SimpleQueue
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from beepwatch.errors import RecordsError
from beepwatch.records.clips import FOLDER
from beepwatch.records.database import FILE
from beepwatch.records.entries import Clip
from beepwatch.records.narrow import RATE, middles, narrowed
from beepwatch.records.reading import History

LOG = logging.getLogger("beepwatch")
WAITING = 8
"""Clips that may wait to be saved; more are given up and told (judgement: 23 MB)."""
CLOSE = 10.0
"""s that the end waits for what is still to be saved (judgement)."""
STRAY = 3600.0
"""s after which a file that the history does not know of is removed: a crash fell between the two (judgement)."""
TITLE = "An alarm as a listener heard it; not the device's own record"


@dataclass(frozen=True, slots=True)
class Piece:
    """Sound of one alarm, to be saved."""

    number: int
    """The alarm, as the loop counts."""
    samples: npt.NDArray[np.float32]
    """Shape (n, channels), 16 kHz."""
    tone: float
    began: datetime


@dataclass(frozen=True, slots=True)
class Saved:
    """A clip is on the disk."""

    number: int
    clip: Clip


@dataclass(frozen=True, slots=True)
class Expired:
    """A clip's time is up: to be written down, then its file removed."""

    row: int
    path: Path
    why: str


@dataclass(frozen=True, slots=True)
class NotSaved:
    """In one line, why a clip is not there."""

    text: str


Outcome: TypeAlias = Saved | Expired | NotSaved


@dataclass(frozen=True, slots=True)
class Keeping:
    """How long and how much."""

    days: int
    megabytes: int


class Clipper:
    """Takes pieces, gives outcomes; `put` and `take` return at once. clock: aware time."""

    def __init__(
        self, folder: Path, keeping: Keeping, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self._folder, self._keeping, self._clock = folder, keeping, clock
        self._jobs: Queue[Piece | None] = Queue(WAITING)
        self._outcomes: SimpleQueue[Outcome] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="clips", daemon=True)
        self._thread.start()

    def put(self, piece: Piece) -> None:
        """Save a piece soon; given up, and told, where too many wait."""
        self._offer(piece)

    def prune(self) -> None:
        """Look soon for clips whose time is up."""
        self._offer(None)

    def take(self) -> Outcome | None:
        """What came of something, if anything did."""
        try:
            return self._outcomes.get_nowait()
        except Empty:
            return None

    def close(self) -> bool:
        """Save what waits; whether that was done in time."""
        self._stopping = True
        try:
            self._jobs.put(None, timeout=CLOSE)  # wakes it up
        except Full:
            return False
        self._thread.join(CLOSE)
        return not self._thread.is_alive()

    _stopping = False

    def _offer(self, job: Piece | None) -> None:
        try:
            self._jobs.put_nowait(job)
        except Full:
            self._outcomes.put(NotSaved("a clip was given up: the disk is too slow"))

    def _run(self) -> None:
        while not (self._stopping and self._jobs.empty()):
            job = self._jobs.get()
            try:
                if job is not None:
                    self._outcomes.put(Saved(job.number, save(self._folder / FOLDER, job)))
                elif not self._stopping:
                    self._prune()
            except (OSError, RecordsError, ValueError, RuntimeError) as error:
                LOG.exception("a clip")
                self._outcomes.put(NotSaved(f"a clip could not be saved ({error})"))
            finally:
                self._jobs.task_done()

    def _prune(self) -> None:
        for expired in overdue(self._folder, self._keeping, self._clock()):
            self._outcomes.put(expired)


def save(folder: Path, piece: Piece) -> Clip:
    """Filter a piece and write it as FLAC, whole or not at all. Raises OSError."""
    began = piece.began.astimezone(UTC)
    name = f"{began:%Y%m%dT%H%M%S}-{piece.number}.flac"
    content = encoded(narrowed(piece.samples, piece.tone, seed=piece.number & 0xFFFF), piece.tone)
    folder.mkdir(mode=0o700, exist_ok=True)
    half = folder / f".{name}.part"
    try:
        with half.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        half.replace(folder / name)
    except OSError:
        half.unlink(missing_ok=True)
        raise
    seconds = len(piece.samples) / RATE
    return Clip(name, hashlib.sha256(content).digest(), len(content), piece.began, seconds, piece.tone)


def encoded(samples: npt.NDArray[np.int16], tone: float) -> bytes:
    """A FLAC file that says what it is."""
    import soundfile  # noqa: PLC0415 - brings a library in

    held = io.BytesIO()
    with soundfile.SoundFile(held, "w", RATE, 1, subtype="PCM_16", format="FLAC") as file:
        file.title = TITLE
        bands = ", ".join(f"{middle:.0f}" for middle in middles(tone))
        file.comment = f"only narrow bands round {bands} Hz were kept; the crackle was added"
        file.write(samples)
    return held.getvalue()


def overdue(folder: Path, keeping: Keeping, now: datetime) -> list[Expired]:
    """The clips that are too old, then the oldest that make all of them too large; strays are removed at once."""
    if not (folder / FILE).exists():
        return []
    with History(folder) as history:
        clips = [one for one in history.clips() if one.deleted is None]
    _remove_strays(folder / FOLDER, {one.clip.file for one in clips}, now)
    expired, held = [], 0
    for one in sorted(clips, key=lambda one: one.clip.began, reverse=True):
        held += one.clip.size
        path = folder / FOLDER / Path(one.clip.file).name
        if now - one.clip.began > timedelta(days=keeping.days):
            expired.append(Expired(one.id, path, f"over {keeping.days} days old"))
        elif held > 1_000_000 * keeping.megabytes:
            expired.append(Expired(one.id, path, f"clips had come to {keeping.megabytes} MB"))
    return expired


def _remove_strays(folder: Path, known: set[str], now: datetime) -> None:
    """Files that a crash left between the saving of a clip and its row, or half written."""
    for path in [*folder.glob("*.flac"), *folder.glob(".*.part")]:
        if path.name not in known and now.timestamp() - path.stat().st_mtime > STRAY:
            path.unlink(missing_ok=True)
