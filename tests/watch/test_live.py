"""The live line of a terminal: calm, with colours and characters as the terminal wants them, and never in the way."""

import math
import os
import sys
import time
from io import StringIO
from pathlib import Path

import numpy as np
import pytest

from beepwatch.events import Noise
from beepwatch.hearing.margin import margin_db
from beepwatch.sources.block import Block
from beepwatch.watch.console import Console, large
from beepwatch.watch.ears import level
from beepwatch.watch.live import LiveConsole, drawable
from tests.bedroom.taught import beep
from tests.watch.hand import Bedroom


class Terminal(StringIO):
    """A terminal that remembers what was written."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """As most are: 100 wide, with colours."""
    for name, value in {"TERM": "xterm-256color", "COLUMNS": "100"}.items():
        monkeypatch.setenv(name, value)
    for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE"):
        monkeypatch.delenv(name, raising=False)


def drawn(console: LiveConsole, seconds: float, level: float = -62.0, hearing: bool = True) -> None:
    """So long a sound of this level, 0.1 s a block."""
    for step in range(round(seconds * 10)):
        console.sound(level)
        console.refresh(step / 10, hearing)


def test_the_line_has_levels_last_beep_and_margin() -> None:
    """The margin only for a beep that was taught at this microphone."""
    console = LiveConsole(Terminal(), expected=(2730.0, -40.0))
    drawn(console, 13)
    console.beep("03:12:44", beep(1.0))
    noise = Noise(1.0, ((8000.0, -50.0),))
    console.noise(noise)
    line = console.line(hearing=True).plain
    assert " -62 dB  last beep 03:12:44, 2730 Hz, 1.2 s" in line
    assert line.endswith(f"margin {margin_db(-40.0, -50.0):.0f} dB")
    assert set(line[:24]) == {"▄"}
    unknown = LiveConsole(Terminal())
    unknown.noise(noise)
    assert "margin" not in unknown.line(hearing=True).plain


def test_a_link_is_never_broken() -> None:
    """It has to be copied whole; other lines are wrapped between words."""
    terminal, link = Terminal(), "beepwatch bedside 'https://listener.local:8443/pair#CODE~" + 64 * "f" + "'"
    LiveConsole(terminal).plain(f"{'word ' * 40}\n  {link}")
    lines = terminal.getvalue().splitlines()
    assert lines[-1].strip() == link
    assert len(lines) == 3


def test_it_is_drawn_twice_a_second_at_most() -> None:
    """However often the loop comes by."""
    terminal = Terminal()
    drawn(LiveConsole(terminal), 10)
    assert 15 <= terminal.getvalue().count("no beep yet") <= 22


def test_no_sound_shows_as_none_and_deafness_in_words() -> None:
    """A line that went on with old levels would say that all is well."""
    console = LiveConsole(Terminal())
    console.refresh(0.0, hearing=True)
    assert "no sound" in console.line(hearing=True).plain
    assert console.line(hearing=False).plain == "I DO NOT HEAR THE ROOM"


def test_an_alarm_is_a_framed_block() -> None:
    """With a bell, above the line, its brackets as they are."""
    terminal = Terminal()
    console = LiveConsole(terminal)
    drawn(console, 1)
    console.block("Cable alarm [Sam]\nGo to Sam now.", bell=True)
    out = terminal.getvalue()
    assert "┏" in out
    assert "Cable alarm [Sam]" in out
    assert "\a" in out


@pytest.mark.parametrize("coloured", [True, False])
def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch, coloured: bool) -> None:
    """With it not one colour code is written; without it the block is red."""
    if not coloured:
        monkeypatch.setenv("NO_COLOR", "1")
    terminal = Terminal()
    LiveConsole(terminal).block("Cable alarm", bell=True)
    assert ("41" in terminal.getvalue()) is coloured
    assert "Cable alarm" in terminal.getvalue()


def test_an_ascii_terminal_gets_ascii() -> None:
    """Line and frame."""
    terminal = Terminal("ascii")
    console = LiveConsole(terminal)
    drawn(console, 2)
    console.block("Cable alarm", bell=True)
    assert terminal.getvalue().isascii()


def test_only_a_terminal_gets_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """No pipe, no dumb terminal, nothing at all."""
    assert drawable(Terminal())
    assert not drawable(StringIO())
    assert not drawable(None)
    monkeypatch.setenv("TERM", "dumb")
    assert not drawable(Terminal()) or sys.platform == "win32"


def test_a_plain_console_shows_nothing_of_it() -> None:
    """Piped output is lines only."""
    out = StringIO()
    console = Console(out)
    console.sound(-60.0)
    console.beep("03:12:44", beep(1.0))
    console.noise(Noise(1.0, ((8000.0, -50.0),)))
    console.refresh(1.0, hearing=True)
    console.close()
    assert out.getvalue() == ""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal to stop")
def test_a_stopped_terminal_does_not_stop_the_loop() -> None:
    """Ctrl-S pressed in the night: lines are left out after a short wait, and the listening goes on."""
    import termios  # noqa: PLC0415 - not on Windows

    ours, theirs = os.openpty()
    with os.fdopen(theirs, "w", encoding="utf-8") as terminal:
        termios.tcflow(theirs, termios.TCOOFF)
        console = LiveConsole(terminal)
        began = time.monotonic()
        for step in range(100):
            console.sound(-60.0)
            console.refresh(float(step), hearing=True)
        console.say("03:12:44", "ALARM")
        console.close()
        assert time.monotonic() - began < 5
        termios.tcflow(theirs, termios.TCOON)
    os.close(ours)


def test_levels_of_blocks() -> None:
    """A full-scale sine is 0 dBFS; silence, nothing and a hole are no level."""
    sine = np.sin(np.arange(1600) * 0.1 * math.pi)[:, None].astype(np.float32)
    assert level(Block(sine, 0)) == pytest.approx(0.0, abs=0.01)
    for samples in (np.zeros((5, 1)), np.zeros((0, 1)), np.full((5, 1), np.nan)):
        assert level(Block(samples.astype(np.float32), 0)) == -math.inf


def test_the_loop_feeds_the_line(tmp_path: Path) -> None:
    """Levels, beeps and deafness reach the console, and it is closed at the end."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("nothing", 20)], [(2.0, beep(0.5))])
    seen: list[tuple[str, object]] = []

    class Seeing(Console):
        def sound(self, level: float) -> None:
            seen.append(("sound", round(level)))

        def beep(self, at: str, beep: object) -> None:
            seen.append(("beep", at))

        def refresh(self, now: float, hearing: bool) -> None:
            seen.append(("hearing", hearing))

        def close(self) -> None:
            seen.append(("closed", True))

    bedroom.watch._console = Seeing(StringIO())
    bedroom.run()
    assert ("sound", -17) in seen
    assert any(what == "beep" for what, _ in seen)
    assert ("hearing", True) in seen
    assert ("hearing", False) in seen
    assert seen[-1] == ("closed", True)


def test_lines_from_right_to_left_stand_at_the_right_edge() -> None:
    """In plain lines and in the framed block: marked as such for the terminal, and moved over."""
    text = "\u2067hsilgne on\u2069"
    plain, framed = StringIO(), Terminal()
    Console(plain).block(text)
    (row,) = [line for line in plain.getvalue().splitlines() if "hsilgne" in line]
    assert row.endswith(text)
    assert row.startswith(" " * 40)
    LiveConsole(framed).block(text)
    (row,) = [line for line in framed.getvalue().splitlines() if "hsilgne" in line]
    assert row.index("\u2067") > 40


def test_a_pause_stands_in_the_live_line_and_in_large_letters() -> None:
    """Whoever comes to the screen sees that it does not listen, and until when; letters that do not fit stay plain."""
    console = LiveConsole(Terminal())
    console.pause("20:40")
    assert console.line(hearing=True).plain == "NOT LISTENING until 20:40"
    console.pause(None)
    assert "NOT LISTENING" not in console.line(hearing=True).plain
    rows = large("NOT LISTENING").splitlines()
    assert len(rows) == 4
    assert 55 < max(map(len, rows)) < 76
    assert large("x" * 40) == "x" * 40
    assert large("\u05d0") == "\u05d0"
