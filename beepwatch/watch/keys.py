"""One key at the terminal says "I am going", without Enter being needed after it."""

import os
import sys
import time
from collections.abc import Callable
from threading import Thread

ANSWERS = frozenset(b"\r\n ")
"""Enter and the space bar: found in the dark."""
BACKGROUND = 1.0
"""s until the terminal is asked again while another program has it."""


class Keys:
    """Calls `press` from its own thread for each Enter or space; `usable` where there is a terminal to read."""

    def __init__(self, press: Callable[[], None], descriptor: int = 0) -> None:
        self._press = press
        self._descriptor = descriptor
        self._restore: Callable[[], None] | None = None
        self._closed = False
        self.usable = _in_front(descriptor)
        if self.usable:
            self._restore = _unbuffered(descriptor)
            Thread(target=self._read, name="keys", daemon=True).start()

    def close(self) -> None:
        """Give the terminal back as it was; a key that comes later is dropped."""
        self._closed = True
        if self._restore is not None:
            self._restore()
            self._restore = None

    def _read(self) -> None:
        while not self._closed:
            try:
                key = _key(self._descriptor)
            except OSError:  # in the background now: the terminal is another program's
                time.sleep(BACKGROUND)
                continue
            if not key:  # the terminal has gone
                return
            if key[0] in ANSWERS and not self._closed:
                self._press()


def terminal_restorer(descriptor: int) -> Callable[[], None]:
    """What gives the terminal back as it is now, whatever other processes do to it meanwhile."""
    if sys.platform == "win32" or not _in_front(descriptor):
        return lambda: None
    import termios  # noqa: PLC0415 - not on Windows

    before = termios.tcgetattr(descriptor)
    return lambda: termios.tcsetattr(descriptor, termios.TCSANOW, before)


def _key(descriptor: int) -> bytes:
    """The next key; empty when there will be none any more."""
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415

        return msvcrt.getwch().encode("utf-8", "replace")
    return os.read(descriptor, 1)


def _in_front(descriptor: int) -> bool:
    """Whether this is a terminal and its keys are for us."""
    try:
        if not os.isatty(descriptor):
            return False
        return sys.platform == "win32" or os.tcgetpgrp(descriptor) == os.getpgrp()
    except OSError:
        return False


def _unbuffered(descriptor: int) -> Callable[[], None]:
    """Let each key come at once and unseen; return what undoes it."""
    if sys.platform == "win32":
        return lambda: None
    import termios  # noqa: PLC0415 - not on Windows
    import tty  # noqa: PLC0415

    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)  # Ctrl-C still works

    def restore() -> None:
        try:
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
        except termios.error:  # the terminal has gone
            return

    return restore
