"""`watch` at a microphone where there is no route: it names the alarm and wakes by tone and voice."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.live.room import Room
from tests.offline import nowhere

pytestmark = pytest.mark.live


def test_watch_hears_and_wakes_without_a_route(room: Room, lead: Path, tmp_path: Path) -> None:
    """The sound server is a socket in the file system; nothing else is reached, and nothing fails for it."""
    told = tmp_path / "told.txt"
    with told.open("w") as out:
        watch = subprocess.Popen(
            [*nowhere(), sys.executable, "-m", "beepwatch", "watch", "--device", "pulse", "--data", str(tmp_path)],
            env=room.env | {"PYTHONUNBUFFERED": "1"}, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
        )  # fmt: skip
    try:
        room.play(lead).wait(timeout=30)
        watch.send_signal(signal.SIGINT)
        assert watch.wait(timeout=20) == 0, told.read_text()
    finally:
        watch.kill()
        watch.wait(timeout=10)
    assert "ALARM: lead-disconnect" in told.read_text()
    assert "The wake sound has begun for lead-disconnect" in told.read_text()
    assert "fault" not in told.read_text()
