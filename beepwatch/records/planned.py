"""The planned pause as a small file beside the history: how another terminal reaches a running watch, over restarts.

It is written whole or not at all. There is no file while no pause is planned.
"""

from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from beepwatch.errors import InputError, RecordsError
from beepwatch.records.whole import Mark, mark, remove, write_whole
from beepwatch.waking.commands import Purpose

FILE = "pause.json"
LONGEST: dict[Purpose, timedelta] = {
    "bath": timedelta(hours=3),
    "care": timedelta(hours=3),
    "battery": timedelta(hours=1),
    "hospital": timedelta(days=30),
    "away": timedelta(days=30),
}
"""For how long a pause may be (judgement): what is done at the bedside is done in hours, and a pause that is forgotten
must end by itself."""
EARLY = timedelta(minutes=5)
"""A file that begins later than this from now is not believed: the clock was set back (judgement)."""


class PlannedPause(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One planned pause. Times are aware."""

    began: datetime
    until: datetime
    purpose: Purpose
    by: str
    via: str

    @property
    def label(self) -> str:
        """Its end as a person reads it: the hour, and the day where it is not the day it began."""
        until = self.until.astimezone()
        near = until.date() == self.began.astimezone().date()
        return f"{until:%H:%M}" if near else f"{until:%a %d %b %H:%M}"

    def left(self, now: datetime) -> float:
        """s until its end; 0 or less: it is over, or the clock was set so that its length cannot be believed."""
        return 0.0 if self.began - now > EARLY else (self.until - now).total_seconds()


def planned(seconds: float, purpose: Purpose, by: str, via: str, now: datetime) -> PlannedPause:
    """A pause from `now` on (aware). Raises InputError for one that is too long for its purpose, or not over 0."""
    longest = LONGEST[purpose]
    if not 0 < seconds <= longest.total_seconds():
        hours = longest.total_seconds() / 3600
        span = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
        raise InputError(f"a pause for {purpose} may be over 0 and up to {span}; give a shorter one, such as 30m")
    return PlannedPause(now, now + timedelta(seconds=seconds), purpose, by, via)


def read_pause(folder: Path) -> PlannedPause | None:
    """The planned pause; None where there is none. Raises RecordsError for a file that is none."""
    path = folder / FILE
    try:
        made = msgspec.json.decode(path.read_bytes(), type=PlannedPause)
    except FileNotFoundError:
        return None
    except (OSError, msgspec.DecodeError) as error:
        raise RecordsError(f"{path} is no planned pause ({error}): I listen; remove that file") from error
    if made.began.tzinfo is None or made.until.tzinfo is None:
        raise RecordsError(f"{path} is no planned pause (times without a zone): I listen; remove that file")
    return made


def write_pause(folder: Path, pause: PlannedPause) -> None:
    """Keep it, in place of any before. Raises RecordsError."""
    write_whole(folder / FILE, msgspec.json.encode(pause))


def clear_pause(folder: Path) -> bool:
    """Remove it; return whether there was one. Raises RecordsError."""
    return remove(folder / FILE)


def signature(folder: Path) -> Mark | None:
    """What changes when the file does; None where there is none."""
    return mark(folder / FILE)
