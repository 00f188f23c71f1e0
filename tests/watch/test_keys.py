"""Keys at a real pseudo-terminal: each is told at once, and the terminal is given back."""

import gc
import os
import pty
import termios
import weakref
from collections.abc import Iterator
from queue import Empty, SimpleQueue

import pytest

from beepwatch.watch import keys
from beepwatch.watch.keys import Keys


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, int]]:
    """(the person's end, the program's end); the tests have no foreground of their own, so they count as in front."""
    monkeypatch.setattr(keys, "_in_front", os.isatty)
    person, program = pty.openpty()
    yield person, program
    os.close(person)
    os.close(program)


@pytest.mark.parametrize("key", [b" ", b"\r", b"\n", b"7", b"x", b"\x1b[B", b"\x1bOM"])
def test_any_one_key_is_told(terminal: tuple[int, int], key: bytes) -> None:
    """Each press, without Enter after it; what an arrow or a keypad sends is one key, not three."""
    person, program = terminal
    pressed: SimpleQueue[bytes] = SimpleQueue()
    found = Keys(pressed.put, program)
    assert found.usable
    os.write(person, key)
    assert pressed.get(timeout=5) in (key, b"\n")  # a terminal makes a line feed of Enter
    with pytest.raises(Empty):
        pressed.get(timeout=0.05)
    found.close()


def test_the_terminal_is_given_back_as_it_was(terminal: tuple[int, int]) -> None:
    """Echo and line mode are on again after `close`."""
    _, program = terminal
    before = termios.tcgetattr(program)
    found = Keys(lambda _: None, program)
    assert termios.tcgetattr(program) != before
    found.close()
    assert termios.tcgetattr(program) == before


def test_once_closed_it_holds_nothing(terminal: tuple[int, int]) -> None:
    """Its thread still waits for a key, and must not keep the program's parts alive at its end."""
    _, program = terminal
    pressed: SimpleQueue[bytes] = SimpleQueue()
    kept = weakref.ref(pressed)
    found = Keys(pressed.put, program)
    found.close()
    del pressed
    gc.collect()
    assert kept() is None


def test_no_terminal_no_keys() -> None:
    """A file or a closed descriptor is not read."""
    reading, writing = os.pipe()
    assert not Keys(lambda _: None, reading).usable
    os.close(reading)
    os.close(writing)
    assert not Keys(lambda _: None, reading).usable


def test_another_program_has_the_terminal() -> None:
    """A terminal whose foreground is not ours is left alone: reading it would stop this program."""
    person, program = pty.openpty()
    assert not Keys(lambda _: None, program).usable
    os.close(person)
    os.close(program)
