"""`watch` in a real terminal, and `teach --live`: a person's view, in the virtual room."""

import os
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.records.reading import History
from beepwatch.settings.file import load_sounders
from tests.live.room import Room

pytestmark = pytest.mark.live


class Screen:
    """A program in a pseudo-terminal, and all that it showed there."""

    def __init__(self, room: Room, *arguments: str) -> None:
        self._ours, theirs = os.openpty()
        self.shown = ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "beepwatch", *arguments],
            env=room.env | {"TERM": "xterm", "COLUMNS": "100", "NO_COLOR": "1"},
            stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
        )  # fmt: skip
        os.close(theirs)

    def expect(self, text: str, seconds: float) -> None:
        """Wait until it shows `text`."""
        until = time.monotonic() + seconds
        while text not in self.shown and time.monotonic() < until:
            if select.select([self._ours], [], [], 0.1)[0]:
                try:
                    self.shown += os.read(self._ours, 65536).decode(errors="replace")
                except OSError:  # it has ended
                    break
        assert text in self.shown, f"{text!r} was not shown in {seconds} s, but:\n{self.shown}"

    def type(self, text: str) -> None:
        """Keys pressed."""
        os.write(self._ours, text.encode())

    def close(self) -> None:
        """End it."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(timeout=10)
        os.close(self._ours)


def test_the_terminal_shows_a_live_line_and_a_block_in_alarm(
    room: Room, lead: Path, hiss: Path, tmp_path: Path
) -> None:
    """Levels while it is quiet, the last beep, then the framed block; after Ctrl-C the summary."""
    room.play(hiss)
    screen = Screen(room, "watch", "--device", "pulse", "--silent", "--data", str(tmp_path / "data"))
    try:
        screen.expect("no beep yet", 15)
        room.play(lead)
        screen.expect("last beep", 15)
        screen.expect("┏", 15)
        screen.expect("Check both ends of the cable", 5)
        screen.process.send_signal(2)
        screen.expect("Silence does not mean all is well. To read the history", 8)
        assert screen.process.wait(timeout=8) == 0
        assert "\x1b[3" not in screen.shown  # no colour
        assert "leaked" not in screen.shown  # nothing of the program's is held by the thread that waits for a key
    finally:
        screen.close()


def test_a_change_while_watching_costs_no_second_of_listening(
    room: Room, lead: Path, hiss: Path, tmp_path: Path, no_settings: Path
) -> None:
    """A name set meanwhile is told, and said in the next alarm; a device waits; the history has no gap."""
    room.play(hiss)
    data = str(tmp_path / "data")
    screen = Screen(room, "watch", "--device", "pulse", "--silent", "--data", data)
    try:
        screen.expect("no beep yet", 15)
        assert main(["settings", "set", "names.person", "Sam"]) == 0
        screen.expect("Changed: names.person is now Sam.", 4)
        assert main(["settings", "set", "sound.microphone", "USB"]) == 0
        screen.expect("It waits for the next start of watch.", 4)
        room.play(lead)
        screen.expect("Go to Sam now", 20)
        screen.process.send_signal(2)
        assert screen.process.wait(timeout=8) == 0
    finally:
        screen.close()
    with History(tmp_path / "data") as history:
        (span,) = history.spans()
    assert span.gaps == ()
    assert span.lost == 0.0


def test_teach_live_learns_from_three_beeps(
    room: Room, lead: Path, hiss: Path, tmp_path: Path, no_settings: Path
) -> None:
    """Asked first, listened, shown and kept: the tone to 0.1 %, the level of the virtual microphone to 1 dB."""
    room.play(hiss)
    screen = Screen(room, "teach", "--live", "--device", "pulse")
    try:
        screen.expect("Never unplug a cable to teach me.", 15)
        screen.expect("(y/n) [n]", 5)
        screen.type("y\n")
        screen.expect("I need three beeps.", 10)
        room.play(lead)
        screen.expect("Was that it?", 25)
        screen.type("y\n")
        screen.expect("Is it the breathing device?", 5)
        screen.type("\n")
        screen.expect("A short name", 5)
        screen.type("\n")
        screen.expect("Kept as device.", 5)
        assert screen.process.wait(timeout=8) == 0
    finally:
        screen.close()
    (kept,) = load_sounders(no_settings)
    assert kept.tone == pytest.approx(2730, rel=1e-3)
    assert kept.beeps >= 3
    assert kept.microphone == "pulse"
