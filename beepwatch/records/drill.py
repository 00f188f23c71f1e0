"""The file by which `rehearse` asks a running watch for a drill, and by which watch tells how it goes."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, TypeAlias

import msgspec

from beepwatch.errors import RecordsError
from beepwatch.events import Priority
from beepwatch.records.whole import Mark, mark, remove, write_whole

FILE = "rehearsal.json"
FRESH = timedelta(seconds=30)
"""How old a wish may be when watch finds it: an older one was for another evening (judgement)."""
Stage: TypeAlias = Literal["asked", "refused", "begun", "answered", "interrupted", "unanswered"]
"""refused: not now, see `why`; interrupted: a real alarm came; unanswered: nobody pressed anything in time."""


class Drill(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One rehearsal as it stands."""

    stage: Stage
    asked: datetime
    """Aware."""
    by: str
    """Who chose it."""
    pattern: str
    """What beepwatch's own recogniser named the taught beep."""
    priority: Priority
    tone: float
    """Hz."""
    beep: float
    """s."""
    confidence: float
    why: str = ""
    seconds: float | None = None
    """From the alarm to the answer."""

    def fresh(self, now: datetime) -> bool:
        """Whether it was asked for just now."""
        return abs(now - self.asked) < FRESH


def read_drill(folder: Path) -> Drill | None:
    """The rehearsal that is asked for or under way; None where there is none. Raises RecordsError."""
    path = folder / FILE
    try:
        made = msgspec.json.decode(path.read_bytes(), type=Drill)
    except FileNotFoundError:
        return None
    except (OSError, msgspec.DecodeError) as error:
        raise RecordsError(f"{path} is no rehearsal ({error}): remove that file") from error
    if made.asked.tzinfo is None:
        raise RecordsError(f"{path} is no rehearsal (a time without a zone): remove that file")
    return made


def write_drill(folder: Path, drill: Drill) -> None:
    """Keep it, in place of any before. Raises RecordsError."""
    write_whole(folder / FILE, msgspec.json.encode(drill))


def clear_drill(folder: Path) -> bool:
    """Remove it; return whether there was one. Raises RecordsError."""
    return remove(folder / FILE)


def drill_mark(folder: Path) -> Mark | None:
    """What changes when the file does."""
    return mark(folder / FILE)
