"""Faults put into the sound server for real: each is told and kept as a gap, none ends the listening."""

import signal
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live


def gaps(listening: Listening) -> list[dict[str, Any]]:
    return [row for row in listening.history("--listening") if row["record"] == "gap"]


def seconds(row: dict[str, Any]) -> float:
    return (datetime.fromisoformat(row["ended"]) - datetime.fromisoformat(row["began"])).total_seconds()


def test_a_sound_server_that_dies_is_told_and_taken_up_again(
    room: Room, listen: Callable[..., Listening], hiss: Path, lead: Path
) -> None:
    """Killed while listening: told in 5 to 7 s, no exit, a gap; with the next server it hears and names again."""
    room.play(hiss)
    listening = listen("--silent")
    listening.expect("Listening to 'pulse'", 15)
    time.sleep(1.0)  # something to have heard before
    room.kill_server()
    assert 3.5 < listening.expect("I HAVE NOT HEARD THE ROOM", 10) < 7.5
    room.restart_server()
    room.play(hiss)
    assert listening.expect("I HEAR AGAIN", 15) < 12
    room.play(lead)
    listening.expect("ALARM: lead-disconnect", 15)
    assert listening.end() == 0
    assert [alarm["pattern"] for alarm in listening.history()] == ["lead-disconnect"]
    (gap,) = [row for row in gaps(listening) if row["reason"] == "no sound came from the microphone"]
    assert seconds(gap) > 5


def test_digital_silence_is_told_and_ends_with_the_sound(
    room: Room, listen: Callable[..., Listening], hiss: Path
) -> None:
    """A room of exact zeros is no room: told, a technical alarm after 10 s, over once there is sound."""
    listening = listen()
    listening.expect("Listening to 'pulse'", 15)
    listening.expect("digital silence", 8)
    listening.expect("I cannot hear the room", 8)
    room.play(hiss)
    listening.expect("I HEAR AGAIN", 5)
    assert listening.end() == 0
    assert any("digital silence" in gap["reason"] for gap in gaps(listening))


def test_a_hanging_sound_server_does_not_keep_it_from_ending(
    room: Room, listen: Callable[..., Listening], hiss: Path
) -> None:
    """The server stops answering: told, and Ctrl-C still ends the program within seconds, with exit 0."""
    room.play(hiss)
    listening = listen()
    listening.expect("Listening to 'pulse'", 15)
    time.sleep(1.0)  # something to have heard before
    room.hang_server()
    listening.expect("I HAVE NOT HEARD THE ROOM", 10)
    assert listening.end(signal.SIGINT, seconds=8) == 0
    assert gaps(listening)
