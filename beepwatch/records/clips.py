"""The folder of evidence clips beside the history file, and what is deleted from it."""

from datetime import datetime
from pathlib import Path

from beepwatch.errors import RecordsError
from beepwatch.records.database import plainly
from beepwatch.records.reading import History
from beepwatch.records.store import Store

FOLDER = "clips"
"""Its name."""


def delete(store: Store, folder: Path, number: int, now: datetime, why: str = "on request") -> None:
    """Delete a clip's file for good, and write that down. Raises RecordsError."""
    with History(folder) as history:
        clip = next((one for one in history.clips() if one.id == number), None)
    if clip is None:
        raise RecordsError(f"there is no clip {number}")
    with plainly(folder):
        (folder / FOLDER / Path(clip.clip.file).name).unlink(missing_ok=True)
    store.clip_deleted(number, now, why)
