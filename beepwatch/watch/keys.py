"""Each key at the terminal, without Enter being needed after it: in an alarm any one says "I am going"."""

import os
import sys
import time
from collections.abc import Callable
from threading import Thread

ESCAPE = b"\x1b"
"""First byte of a key that gives several, such as an arrow or a keypad's: together they are one key."""
LONGEST = 32
"""Bytes of one reading: above any key's."""
BACKGROUND = 1.0
"""s until the terminal is asked again while another program has it."""


class Keys:
    """Calls `press` with each key from its own thread; `usable` where there is a terminal to read."""

    def __init__(self, press: Callable[[bytes], None], descriptor: int = 0) -> None:
        self._press = press
        self._descriptor = descriptor
        self._restore: Callable[[], None] | None = None
        self._closed = False
        self.usable = _in_front(descriptor)
        if self.usable:
            self._restore = _unbuffered(descriptor)
            Thread(target=self._read, name="keys", daemon=True).start()

    def close(self) -> None:
        """Give the terminal back as it was; a key that comes later is dropped.

        Its thread may wait for a key until the program ends, so it must hold nothing of the program's any more: what
        is still held then is told as leaked by one of the libraries (nanobind), on the terminal.
        """
        self._closed = True
        self._press = _dropped
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
            for one in [key] if key.startswith(ESCAPE) else [bytes([byte]) for byte in key]:
                if not self._closed:
                    self._press(one)


def _dropped(_: bytes) -> None:
    """A key that comes too late."""


def terminal_restorer(descriptor: int) -> Callable[[], None]:
    """What gives the terminal back as it is now, whatever other processes do to it meanwhile."""
    if sys.platform == "win32" or not _in_front(descriptor):
        return lambda: None
    import termios  # noqa: PLC0415 - not on Windows

    before = termios.tcgetattr(descriptor)
    return lambda: termios.tcsetattr(descriptor, termios.TCSANOW, before)


def _key(descriptor: int) -> bytes:
    """The next keys; empty when there will be none any more."""
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415

        return msvcrt.getwch().encode("utf-8", "replace")
    return os.read(descriptor, LONGEST)


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
