"""A USB keypad of its own, read without a terminal: any one of its keys says "I am going". Linux only, optional.

The kernel gives a keypad's presses as a file under /dev/input (see /dev/input/by-id/), in records of the C struct
`input_event` (linux/input.h): two longs of time, then type, code, value. Type 1 is a key, value 1 its press.
"""

import os
import struct
from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread

EVENT = struct.Struct("@llHHi")
KEY, PRESSED = 1, 1
AGAIN = 5.0
"""s until a keypad that is away, or may not be read, is tried again (judgement)."""


class Keypad:
    """Calls `press` from its own thread for each key; a keypad that is unplugged is looked for again.

    report: one plain line where it cannot be read, told once until that changes.
    """

    def __init__(
        self, path: Path, press: Callable[[], None], report: Callable[[str], None], again: float = AGAIN
    ) -> None:
        self._path, self._press, self._report, self._again = path, press, report, again
        self._closed = Event()
        self._told: str | None = None
        Thread(target=self._work, name="keypad", daemon=True).start()

    def close(self) -> None:
        """A key that comes later is dropped."""
        self._closed.set()

    def _work(self) -> None:
        while not self._closed.is_set():
            try:
                self._read()
                fault = "it was unplugged"
            except PermissionError:
                fault = "it may not be read: add this user to the group of that file, often `input`"
            except OSError as error:
                fault = error.strerror or str(error)
            if fault != self._told and not self._closed.is_set():
                self._told = fault
                self._report(f"The keypad {self._path} cannot answer ({fault}); the other ways can. I try again.")
            self._closed.wait(self._again)

    def _read(self) -> None:
        """Take presses until there is nothing more to read. Raises OSError."""
        with self._path.open("rb", buffering=0) as file:
            if self._told is not None:
                self._told = None
                self._report(f"The keypad {self._path} can answer again.")
            while record := os.read(file.fileno(), EVENT.size):
                if len(record) < EVENT.size:
                    return
                _, _, kind, _, value = EVENT.unpack(record)
                if kind == KEY and value == PRESSED and not self._closed.is_set():
                    self._press()
