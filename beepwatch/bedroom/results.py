"""What checks have found, kept in the data folder as one dated JSON file; each step replaces its own part."""

import os
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Literal

import msgspec

from beepwatch.bedroom.check import Room
from beepwatch.bedroom.decay import Decay
from beepwatch.bedroom.findings import Finding
from beepwatch.bedroom.places import Margin, Match, Measured, Taught
from beepwatch.errors import InputError

FILE = "check.json"
RECORDINGS = "check-recordings.json"
"""What recordings told is kept apart: it says nothing of the microphone."""


class Tested(msgspec.Struct, frozen=True):
    """The steady tone."""

    at: datetime
    by: Literal["computer", "phone"]
    findings: tuple[Finding, ...]


class Quiet(msgspec.Struct, frozen=True):
    """The room while nothing is played."""

    at: datetime
    room: Room


class Rings(msgspec.Struct, frozen=True):
    """T60 by octave; keys: Hz of the middle."""

    at: datetime
    decays: dict[int, Decay]


class Beside(msgspec.Struct, frozen=True):
    """The phone beside the device."""

    at: datetime
    phone: Measured
    match: Match | None
    """None while no beep is taught."""
    taught: Taught | None = None
    """What it was matched to: taught anew, the match is void."""


class Place(msgspec.Struct, frozen=True):
    """One place where the device may lie."""

    name: str
    at: datetime
    phone: Measured | None
    """None where no beep was heard."""
    margin: Margin | None
    """None: not heard, or unknown because no beep is taught or the phone was not matched."""


class Kept(msgspec.Struct, frozen=True):
    """All of it. Times carry their offset (RFC 3339)."""

    version: Literal[1] = 1
    microphone: str = ""
    tone: float | None = None
    quiet: Quiet | None = None
    tested: Tested | None = None
    rings: Rings | None = None
    beside: Beside | None = None
    places: tuple[Place, ...] = ()


def put_place(kept: Kept, place: Place) -> Kept:
    """With this place in it, in place of an older one of the same name."""
    others = [each for each in kept.places if each.name != place.name]
    at = next((i for i, each in enumerate(kept.places) if each.name == place.name), len(others))
    return msgspec.structs.replace(kept, places=(*others[:at], place, *others[at:]))


def for_microphone(kept: Kept, name: str) -> Kept:
    """To go on with: nothing that another microphone has measured holds for this one."""
    return kept if kept.microphone == name else Kept(microphone=name)


def load(folder: Path, file: str = FILE) -> Kept:
    """What is kept in `folder`; an empty one where nothing is. Raises InputError, one line, for a broken file."""
    path = folder / file
    try:
        return msgspec.json.decode(path.read_bytes(), type=Kept)
    except FileNotFoundError:
        return Kept()
    except (OSError, msgspec.MsgspecError) as error:
        raise InputError(f"{path} cannot be read ({error}): move it away and check again") from error


def save(folder: Path, kept: Kept, file: str = FILE) -> Path:
    """Write it whole or not at all, readable by this user alone; return where. Raises InputError, one line."""
    path = folder / file
    text = msgspec.json.format(msgspec.json.encode(kept), indent=1)
    try:
        handle, name = tempfile.mkstemp(dir=folder, prefix=f".{file}-")
        with os.fdopen(handle, "wb") as out:
            out.write(text)
        Path(name).replace(path)
    except OSError as error:
        raise InputError(f"cannot write {path} ({error.strerror or error}): choose another --data DIR") from error
    return path
