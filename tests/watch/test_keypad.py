"""A USB keypad by its file under /dev/input, played by a pipe: any one key answers; trouble is told once."""

import os
from pathlib import Path
from queue import Empty, SimpleQueue

import pytest

from beepwatch.watch.keypad import EVENT, Keypad


def record(kind: int, code: int, value: int) -> bytes:
    """One `struct input_event` of linux/input.h."""
    return EVENT.pack(0, 0, kind, code, value)


def test_each_press_is_told_and_nothing_else(tmp_path: Path) -> None:
    """Press (1) counts; release (0), repeat (2), scan codes (type 4) and syncs (type 0) do not."""
    path = tmp_path / "event-kbd"
    os.mkfifo(path)
    pressed: SimpleQueue[bool] = SimpleQueue()
    pad = Keypad(path, lambda: pressed.put(True), lambda text: None)
    with path.open("wb", buffering=0) as keys:
        for kind, code, value in ((4, 4, 458_840), (1, 96, 1), (0, 0, 0), (1, 96, 2), (1, 96, 0), (1, 30, 1)):
            keys.write(record(kind, code, value))
        assert pressed.get(timeout=5)
        assert pressed.get(timeout=5)
        with pytest.raises(Empty):
            pressed.get(timeout=0.1)
        pad.close()


def test_a_keypad_that_is_not_there_is_told_once_and_taken_when_it_comes(tmp_path: Path) -> None:
    """Unplugged or forbidden: one line; plugged in later, it answers."""
    path = tmp_path / "event-kbd"
    said: SimpleQueue[str] = SimpleQueue()
    pressed: SimpleQueue[bool] = SimpleQueue()
    pad = Keypad(path, lambda: pressed.put(True), said.put, again=0.02)
    assert "cannot answer (No such file or directory)" in said.get(timeout=5)
    with pytest.raises(Empty):
        said.get(timeout=0.2)
    os.mkfifo(path)
    with path.open("wb", buffering=0) as keys:
        assert "can answer again" in said.get(timeout=5)
        keys.write(record(1, 28, 1))
        assert pressed.get(timeout=5)
    assert "it was unplugged" in said.get(timeout=5)
    pad.close()
