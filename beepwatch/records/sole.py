"""One listener a history: a lock that goes with the process that holds it, however that ends."""

import os
import sys
import time
from pathlib import Path
from typing import BinaryIO

from beepwatch.errors import RecordsError

FILE = "listening.lock"
WAIT = 3.0
"""s to wait for another listener to go: one that was killed may still be going (judgement)."""
STEP = 0.05
"""s from try to try (judgement)."""


def take(folder: Path, wait: float = WAIT) -> BinaryIO:
    """Hold the lock of a folder until the file returned is closed or the process ends.

    Raises RecordsError, one line, where another process listens and writes there.
    """
    try:
        file = (folder / FILE).open("ab")
    except OSError as error:
        raise RecordsError(f"cannot write in the data folder {folder} ({error.strerror})") from error
    until = time.monotonic() + wait
    while not _locked(file):
        if time.monotonic() > until:
            file.close()
            raise RecordsError(
                f"another beepwatch already listens and writes in {folder}: "
                "end that one, or choose another folder with --data DIR"
            )
        time.sleep(STEP)
    return file


def _locked(file: BinaryIO) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt  # noqa: PLC0415

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl  # noqa: PLC0415

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
            os.set_inheritable(file.fileno(), False)
    except OSError:
        return False
    return True
