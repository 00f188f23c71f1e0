"""The virtual room, scenes to play in it, and the program listening."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import soundfile

from beepwatch.synthesis import decode, render
from tests.live.listening import Listening
from tests.live.room import Room, missing

HISS = """
duration = 60.0
seed = 3
level = -66.0
[background]
kind = "white"
"""
"""A microphone is never digitally silent."""
LEAD = """
duration = 14.0
seed = 4
level = -66.0
[background]
kind = "white"
[[alarms]]
pattern = "lead-disconnect"
start = 1.0
count = 5
breaths_a_minute = 25
length = 1.0
snr = 20.0
"""


@pytest.fixture
def room() -> Iterator[Room]:
    """A private sound server; the test is skipped where that cannot be, but never in CI."""
    lack = missing()
    if lack is not None:
        assert os.environ.get("CI") != "true", lack
        pytest.skip(lack)
    made = Room()
    yield made
    made.close()


def rendered(text: str, path: Path) -> Path:
    """A scenario as a sound file."""
    scenario = decode(text)
    soundfile.write(path, render(scenario).samples, scenario.rate)
    return path


@pytest.fixture(scope="session")
def hiss(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A minute of a quiet room."""
    return rendered(HISS, tmp_path_factory.mktemp("scenes") / "hiss.wav")


@pytest.fixture(scope="session")
def lead(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five beeps of a lead-disconnect alarm, 2.4 s apart."""
    return rendered(LEAD, tmp_path_factory.mktemp("scenes") / "lead.wav")


@pytest.fixture
def listen(room: Room, tmp_path: Path) -> Iterator[Callable[..., Listening]]:
    """Starts the program in the room, as often as it is called."""
    started: list[Listening] = []

    def start(*options: str, recording: Path | None = None, terminal: bool = False) -> Listening:
        source = ("--device", "pulse") if recording is None else (str(recording),)
        started.append(Listening(room, tmp_path / "data", *source, *options, terminal=terminal))
        return started[-1]

    yield start
    for listening in started:
        listening.close()
