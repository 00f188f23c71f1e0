"""`beepwatch watch` as a process of its own in the virtual room, and what it says."""

import json
import os
import pty
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from threading import Condition, Thread
from typing import Any

from tests.live.room import Room

ROOT = Path(__file__).parents[2]


class Listening:
    """The program, started in a room; `expect` waits for a line, `answer` presses a key, `end` stops it.

    source: what it is to hear. terminal: give it one for its input; otherwise its input is closed. sick: run it by
    `tests.live.sick` with this fault.
    """

    def __init__(self, room: Room, data: Path, *source: str, terminal: bool = False, sick: str = "") -> None:
        self._room, self.data = room, data
        self.lines: list[str] = []
        self._news = Condition()
        ours, theirs = pty.openpty() if terminal else (-1, -1)
        self._keyboard = ours
        program = ["tests.live.sick", sick] if sick else ["beepwatch"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", *program, "watch", "--data", str(data), *source],
            env=room.env | {"PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            stdin=theirs if terminal else subprocess.DEVNULL,
            # a keyboard only counts for the program whose terminal it is
            start_new_session=True, preexec_fn=_own_terminal if terminal else _close_input,  # noqa: PLW1509
        )  # fmt: skip
        if terminal:
            os.close(theirs)
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def expect(self, text: str, seconds: float) -> float:
        """Wait until a line holds `text`; return the seconds it took."""
        began = time.monotonic()
        with self._news:
            found = self._news.wait_for(lambda: any(text in line for line in self.lines), seconds)
        assert found, f"{text!r} was not said in {seconds} s, but:\n" + "".join(self.lines)
        return time.monotonic() - began

    def wait_for(self, text: str, seconds: float, since: int = 0) -> float | None:
        """As `expect`, of the lines from number `since` on; None where it was not said."""
        began = time.monotonic()
        with self._news:
            found = self._news.wait_for(lambda: any(text in line for line in self.lines[since:]), seconds)
        return time.monotonic() - began if found else None

    def answer(self) -> None:
        """Press the space bar."""
        self.press(" ")

    def press(self, key: str) -> None:
        """Press a key."""
        os.write(self._keyboard, key.encode())

    def end(self, number: signal.Signals = signal.SIGINT, seconds: float = 8.0) -> int:
        """Send a signal, wait for the end and return the exit code."""
        self.process.send_signal(number)
        code = self.process.wait(timeout=seconds)
        self._reader.join(10)
        assert not any("a fault in the program" in line for line in self.lines), "".join(self.lines)
        return code

    def close(self) -> None:
        """End it and its children, whatever they do."""
        with suppress(ProcessLookupError):  # all have ended
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=10)
        self._reader.join(10)
        assert self.process.stdout is not None
        self.process.stdout.close()
        if self._keyboard >= 0:
            os.close(self._keyboard)

    def history(self, *options: str) -> list[dict[str, Any]]:
        """What `beepwatch history` tells of it, a dictionary a line."""
        told = subprocess.run(
            [sys.executable, "-m", "beepwatch", "history", "--format", "jsonl", "--data", str(self.data), *options],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        return [json.loads(line) for line in told.stdout.splitlines()]

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._news:
                self.lines.append(line)
                self._news.notify_all()


def _own_terminal() -> None:
    """In the new process: take the input as the terminal of the session."""
    import fcntl  # noqa: PLC0415 - only in the child
    import termios  # noqa: PLC0415

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _close_input() -> None:
    os.close(0)
