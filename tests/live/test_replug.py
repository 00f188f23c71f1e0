"""A microphone that appears only after PortAudio made its list: found by a new list, in the same process."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.live.room import Room

pytestmark = pytest.mark.live
PROGRAM = """
import sys
from pathlib import Path
from beepwatch.channels.feed import Feed
from beepwatch.channels.output import PortAudioOutput
from beepwatch.errors import CannotWake, NoMicrophone
from beepwatch.sources.library import fresh_name
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.portaudio import PortAudio

system, config = PortAudio(), Path(sys.argv[1])
speaker = Feed(PortAudioOutput(), "pulse")
speaker.open()
speaker.check()
try:
    system.find("late_mic")
except NoMicrophone:
    print("not there")
assert not system.refresh("late_mic", None)
speaker.check()
print("left alone")
config.write_text(config.read_text() + 'pcm.late_mic { type pulse\\nhint { show on\\ndescription "Late" } }\\n')
print("fresh:", fresh_name("late_mic", "input"))
assert system.refresh("late_mic", None)
print("found:", system.find("late_mic").name)
try:
    speaker.check()
except CannotWake:
    print("the speaker's stream was closed")
again = Feed(PortAudioOutput(), "pulse")
again.open()
microphone = Microphone("late_mic")
block = microphone.take(5.0)
assert block is not None and len(block.samples)
again.check()
print("heard")
again.give_up()
microphone.close()
"""


def test_a_microphone_that_was_put_in_later_is_found(room: Room, tmp_path: Path, hiss: Path) -> None:
    """Not in the list: nothing is disturbed. Then it is there: listed anew, opened and heard; speakers open again."""
    config = tmp_path / "alsa.conf"
    config.write_text("</usr/share/alsa/alsa.conf>\n")
    room.play(hiss)
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(config)], cwd=Path(__file__).parents[2], text=True, capture_output=True,
        env=room.env | {"ALSA_CONFIG_PATH": str(config), "PYTHONPATH": os.environ.get("PYTHONPATH", ".")},
        timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.splitlines() == [
        "not there", "left alone", "fresh: late_mic", "found: late_mic", "the speaker's stream was closed", "heard",
    ]  # fmt: skip
