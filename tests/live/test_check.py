"""`beepwatch check` in the virtual room: it plays, records, judges and keeps, with nothing replaced."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.live.room import Room

pytestmark = pytest.mark.live


def test_the_steady_tone_goes_through_the_room_and_holds(room: Room, hiss: Path, tmp_path: Path) -> None:
    """Played by this computer into the room and heard again: no fault, the tone kept as tested, exit 0."""
    room.play(hiss)
    told = subprocess.run(
        [sys.executable, "-m", "beepwatch", "check", "--step", "tone", "--device", "pulse", "--speaker", "pulse",
         "--data", str(tmp_path), "--config", str(tmp_path / "config")],
        env=room.env | {"PULSE_SINK": "ROOM"}, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
        timeout=120,
    )  # fmt: skip
    assert told.returncode == 0, told.stdout + told.stderr
    assert "Nothing was found" in told.stdout
    kept = json.loads((tmp_path / "check.json").read_text())
    assert kept["tested"]["by"] == "computer"
    assert kept["tested"]["findings"] == []
