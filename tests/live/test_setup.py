"""`setup` in the virtual room, with nothing replaced: devices found, played, heard, and a test wake."""

from pathlib import Path

import pytest

from beepwatch.settings.file import load
from tests.live.room import Room
from tests.live.test_terminal import Screen

pytestmark = pytest.mark.live


def test_room_microphone_speaker_and_wake(room: Room, hiss: Path, lead: Path, no_settings: Path) -> None:
    """A person who answers by Enter, but for the room: a sound in it makes the bar jump, and the wake tone sounds."""
    room.play(hiss)
    for step, answers in {
        "room": (("same room", "y"),),
        "microphone": (("Its number?", ""), ("Is this the one?", "y")),
        "speaker": (("Its number?", ""), ("hear a soft tone?", "y")),
        "wake": (("Begin?", ""), ("It sounds now.", ""), ("from deep sleep?", "y")),
    }.items():
        screen = Screen(room, "setup", "--step", step)
        try:
            for question, answer in answers:
                screen.expect(question, 30)
                if question == "Its number?" and step == "microphone":
                    room.play(lead)  # its beeps are the clap
                screen.type(f"{answer}\n")
            assert screen.process.wait(timeout=15) == 0, screen.shown
            assert "still open" not in screen.shown
        finally:
            screen.close()
        if step == "microphone":
            assert "I heard you clap." in screen.shown
        if step == "speaker":
            assert "It played" in screen.shown
    settings, _ = load(no_settings)
    assert settings.setup.done.split() == ["room", "microphone", "speaker", "wake"]
    assert settings.home.same_room == "yes"


def test_without_a_sound_system_it_goes_on(tmp_path: Path, room: Room, no_settings: Path) -> None:
    """The server is gone: the line says so, the step stays open, exit 0."""
    room.kill_server()
    screen = Screen(room, "setup", "--step", "microphone")
    try:
        screen.expect("beepwatch setup --step microphone", 40)
        assert screen.process.wait(timeout=15) == 0
        assert "Traceback" not in screen.shown
    finally:
        screen.close()
    assert load(no_settings)[0].setup.done == ""
