"""Nothing is fetched at run time: every verb that hears a file does its work where there is no route."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.offline import nowhere

NIGHT = str(Path(__file__).parents[2] / "samples" / "night.flac")
QUIET = str(Path(__file__).parents[2] / "samples" / "quiet.toml")


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (["watch", NIGHT, "--silent", "--data", "."], "battery-critical"),
        (["review", NIGHT], "battery"),
        (["synth", QUIET, "-o", "quiet.wav"], ""),
        (["teach", NIGHT, "--yes"], "Kept as device"),
        (["check", NIGHT, "--data", "."], "Noise:"),
        (["settings"], "names.person"),
        (["history", "--data", "."], "Nothing was listened to"),
        (["setup", "--step", "room"], "microphone"),
    ],
    ids=lambda part: part[0] if isinstance(part, list) else "",
)
def test_a_verb_works_without_a_route(command: list[str], said: str, tmp_path: Path) -> None:
    """It ends well and says what it has to say."""
    if command[0] == "history":  # there has to be one
        subprocess.run([sys.executable, "-m", "beepwatch", "watch", NIGHT, "--silent", "--data", "."],
                       cwd=tmp_path, capture_output=True, check=True, timeout=120)  # fmt: skip
    done = subprocess.run(
        [*nowhere(), sys.executable, "-m", "beepwatch", *command],
        cwd=tmp_path, input="\n" * 9, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode in ((0, 1) if command[0] == "check" else (0,)), done.stdout + done.stderr
    assert said in done.stdout
