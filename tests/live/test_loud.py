"""Live, speaker and microphone in one room: it listens on while it wakes."""

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from beepwatch.channels.tone import FREQUENCY
from tests.live.bedside import RATE, Ears
from tests.live.conftest import rendered
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live
TONE = 2830.0
BEEPS = 9
SCENE = f"""
duration = 100.0
seed = 5
level = -50.0
[background]
kind = "white"
[[alarms]]
pattern = "lead-disconnect"
start = 1.0
count = {BEEPS}
breaths_a_minute = 20
length = 1.0
tone = {TONE}
snr = 20.0
"""
QUIETER = "-18dB"
"""Of the bedside speaker as the room has it, so that both together stay under full scale."""


def level(sound: npt.NDArray[np.float64], hertz: float) -> float:
    """dB of the strongest quarter of a second at `hertz` +-15 Hz."""
    frames = sound[: len(sound) // (RATE // 4) * (RATE // 4)].reshape(-1, RATE // 4)
    power = np.abs(np.fft.rfft(frames * np.hanning(RATE // 4), axis=1)) ** 2
    near = np.abs(np.fft.rfftfreq(RATE // 4, 1 / RATE) - hertz) < 15
    return float(10 * np.log10(power[:, near].sum(axis=1).max()))


def test_a_device_is_followed_under_the_wake_sound_to_its_end(
    room: Room, listen: Callable[..., Listening], tmp_path: Path
) -> None:
    """Its beeps are counted while tone and speech go on, no other alarm is told, and its end is told when it is one."""
    room.control("load-module", "module-loopback", "source=BEDSIDE.monitor", "sink=ROOM", "latency_msec=40")
    room.control("set-sink-volume", "BEDSIDE", QUIETER)
    listening, inside = listen(), Ears(room, "ROOM")
    listening.expect("Listening to 'pulse'", 15)
    room.play(rendered(SCENE, tmp_path / "goes-on.wav"))
    began = time.monotonic()
    listening.expect("ALARM: lead-disconnect", 20)
    listening.expect("The wake sound has begun", 5)
    loud = time.monotonic()
    listening.expect("ENDED: lead-disconnect", 100)
    assert time.monotonic() - began > 1 + (BEEPS - 1) * 3.0 + 25  # not before the silence that ends it
    heard = inside.between(loud, loud + 10)
    inside.close()
    assert level(heard, FREQUENCY) > level(heard, TONE)  # it was the louder of the two, and in the same room
    assert listening.end() == 0
    (alarm,) = listening.history()
    assert alarm["pattern"] == "lead-disconnect"
    assert alarm["beeps"] >= BEEPS - 2
    assert sum("ALARM:" in line for line in listening.lines) == 1
    assert sum("ENDED:" in line for line in listening.lines) == 1
