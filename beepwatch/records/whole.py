"""Small files, such as those by which another process reaches a running watch: written whole or not at all."""

import os
import tempfile
from pathlib import Path
from typing import TypeAlias

from beepwatch.errors import RecordsError

Mark: TypeAlias = tuple[int, int]


def write_whole(path: Path, text: bytes) -> None:
    """Write a file in place of any before, on the disk when this returns. Raises RecordsError, one line."""
    try:
        put_whole(path, text)
    except OSError as error:
        raise RecordsError(f"cannot write {path}: {error.strerror or error}") from error


def put_whole(path: Path, text: bytes) -> None:
    """As `write_whole`, readable by this user alone; makes its folder. Raises OSError."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def remove(path: Path) -> bool:
    """Remove a file; return whether there was one. Raises RecordsError."""
    try:
        path.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise RecordsError(f"cannot remove {path}: {error.strerror or error}") from error
    return True


def mark(path: Path) -> Mark | None:
    """What changes when the file does; None where there is none."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_ino
