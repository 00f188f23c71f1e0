"""Listener and bedside as two programs in two network namespaces, each with a sound server of its own."""

import os
import pty
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Thread

import pytest

from tests.live import wires
from tests.live.bedside import Ears
from tests.live.room import Room, missing
from tests.page.browser import lacking

pytestmark = pytest.mark.live
ROOT = Path(__file__).parents[2]
LINK = re.compile(r"'(https://\S+/pair#[0-9A-Z]+~[0-9a-f]{64})'")


class Program:
    """beepwatch in a namespace and a room, with a terminal for its keys."""

    def __init__(self, cable: wires.Cable, space: str, room: Room, *words: str, source: str = "") -> None:
        self._keyboard, theirs = pty.openpty()
        env = room.env | {"PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)}
        env |= {"PULSE_SOURCE": source} if source else {}
        self.process = subprocess.Popen(
            cable.inside(space, sys.executable, "-m", "beepwatch", *words), env=env, cwd=ROOT, text=True,
            stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
            preexec_fn=_own_terminal,  # noqa: PLW1509 - a keyboard only counts for the program whose terminal it is
        )  # fmt: skip
        os.close(theirs)
        self.lines: list[tuple[float, str]] = []
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def expect(self, text: str, seconds: float, since: float = 0.0) -> float:
        """Wait for a line; when it was said."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            for at, line in list(self.lines):
                if at >= since and text in line:
                    return at
            time.sleep(0.05)
        raise AssertionError(f"{text!r} was not said in {seconds} s, but:\n" + "".join(line for _, line in self.lines))

    def press(self) -> None:
        """A key."""
        os.write(self._keyboard, b" ")

    def close(self) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=10)
        self._reader.join(10)
        assert self.process.stdout is not None
        self.process.stdout.close()
        os.close(self._keyboard)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append((time.monotonic(), line))


def _own_terminal() -> None:
    import fcntl  # noqa: PLC0415
    import termios  # noqa: PLC0415

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@contextmanager
def home() -> Iterator[tuple[wires.Cable, Room, Room]]:
    """A cable and two rooms."""
    with wires.cable() as cable:
        rooms = Room(), Room()
        try:
            yield cable, *rooms
        finally:
            for room in rooms:
                room.close()


def test_an_alarm_crosses_the_house_and_a_cut_is_noticed_at_both_ends(hiss: Path, lead: Path, tmp_path: Path) -> None:
    """Beeps in one room sound in the other, while the first stays quiet; a key there answers. The cable is cut: within
    10 s both ends sound, each for what it misses. Mended, both say that it is back."""
    for lack in (wires.missing(), missing()):
        if lack is not None:
            lacking(lack)
    with home() as (cable, there, here), ExitStack() as ending:
        listener = Program(
            cable, cable.a, there, "watch", "--device", "pulse", "--data", str(tmp_path / "there"),
            "--config", str(tmp_path), "--page",
        )  # fmt: skip
        ending.callback(listener.close)
        there.play(hiss)
        listener.expect("The page, for paired devices", 30)
        told = subprocess.run(
            [sys.executable, "-m", "beepwatch", "paired", "--new", "--data", str(tmp_path / "there")],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
        found = LINK.search(told.stdout)
        assert found is not None, told.stdout
        link = re.sub("//[^:/]+", f"//{wires.LISTENER}", found[1])
        data = ("--data", str(tmp_path / "here"), "--config", str(tmp_path))
        wires.run(*cable.inside(cable.b, sys.executable, "-m", "beepwatch", "bedside", link, "--name", "Anna", *data))
        bedside = Program(cable, cable.b, here, "bedside", *data, "--device", "pulse", source="BEDSIDE.monitor")
        ending.callback(bedside.close)
        bedside.expect("I am linked", 30)
        time.sleep(6)  # the listener looks who is paired each 5 s
        quiet, loud = Ears(there), Ears(here)
        ending.callback(quiet.close)
        ending.callback(loud.close)
        there.play(lead)
        raised = listener.expect("ALARM: lead-disconnect", 40)
        sounded = loud.first_sound(raised - 1, 10)
        assert sounded < raised + 5
        time.sleep(3)
        with pytest.raises((AssertionError, TimeoutError)):
            quiet.first_sound(raised - 1, 0.5)
        bedside.press()
        answered = listener.expect("Anna is going", 10)
        assert answered < time.monotonic()
        time.sleep(15)  # the alarm ends
        there.play(hiss)
        cable.cut()
        cut = time.monotonic()
        assert loud.first_sound(cut + 1, 12) - cut < 10
        assert quiet.first_sound(cut + 1, 12) - cut < 10
        bedside.expect("NOT LISTENING", 5, cut)
        listener.expect("has fallen silent", 10, cut)
        mended = time.monotonic()
        cable.mend()
        bedside.expect("I am linked", 30, mended)
        listener.expect("Over: the computer beside the caregiver", 30, mended)
