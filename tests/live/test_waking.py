"""The wake ladder, a planned pause and a drill with the program itself, in the virtual room."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from beepwatch.records.reading import History
from beepwatch.settings.file import keep_sounder
from beepwatch.settings.sounder import Sounder
from beepwatch.watch.desk import SETTLED
from tests.live.bedside import Ears
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live
Listen = Callable[..., Listening]
LADDER = """
names.caregiver = "Anna"
names.second = "Ben"
[[ladder]]
after = 0
by = ["shaker"]
[[ladder]]
after = 600
who = "second"
by = ["speaker"]
[[command]]
name = "shaker"
run = {run}
"""


def settle(folder: Path, run: list[str]) -> None:
    """Settings with a ladder whose first step is this command."""
    folder.mkdir(exist_ok=True)
    (folder / "settings.toml").write_text(LADDER.format(run=[*run]))


def verb(room: Room, *arguments: str, seconds: float = 60.0) -> str:
    """What another terminal is told."""
    done = subprocess.run(
        [sys.executable, "-m", "beepwatch", *arguments],
        env=room.env, capture_output=True, text=True, timeout=seconds, check=True,
    )  # fmt: skip
    return done.stdout


def test_a_shaker_that_works_wakes_without_a_sound(
    room: Room, listen: Listen, hiss: Path, lead: Path, *, tmp_path: Path, no_settings: Path
) -> None:
    """A deaf caregiver's step: the command gets the words in its environment, and the speaker is not needed yet."""
    told = tmp_path / "told"
    script = f"import os; open({str(told)!r}, 'w').write('|'.join(sorted(k for k in os.environ if 'BEEPWATCH' in k)))"
    settle(no_settings, [sys.executable, "-c", script])
    room.play(hiss)
    watch = listen()
    watch.expect("Listening to", 20)
    room.play(lead)
    watch.expect("Tried shaker for Anna: it worked.", 30)
    assert told.read_text().split("|")[:2] == ["BEEPWATCH_ALARM", "BEEPWATCH_DRILL"]
    watch.end()
    assert not any("wake sound has begun" in line for line in watch.lines)


def test_a_step_that_fails_makes_the_next_begin_at_once_and_any_key_answers(
    room: Room, listen: Listen, hiss: Path, lead: Path, *, tmp_path: Path, no_settings: Path
) -> None:
    """The shaker fails: the speaker, ten minutes off, calls Ben now. Any key answers, another says what it was."""
    settle(no_settings, [sys.executable, "-c", "raise SystemExit('the plug is out')"])
    room.play(hiss)
    watch = listen(terminal=True)
    watch.expect("Listening to", 20)
    room.play(lead)
    watch.expect("Tried shaker for Anna: IT FAILED", 30)
    assert watch.expect("The wake sound has begun for lead-disconnect", 10) < 5
    watch.expect("Ben. Ben.", 5)
    watch.press("7")
    watch.expect("Answered: somebody is going.", 5)
    watch.expect("What was it?", 5)
    time.sleep(1.5 * SETTLED)  # a second key at once would be a slip
    watch.press("1")
    watch.expect("Written down: it was cable.", 5)
    assert watch.end() == 0
    with History(tmp_path / "data") as history:
        (alarm,) = history.alarms()
        tries = [(one.attempt.way, one.attempt.who, one.attempt.ok) for one in history.tried("alarm", alarm.id)]
        assert tries[:2] == [("shaker", "Anna", False), ("speaker", "Ben", True)]
        assert "the plug is out" in (history.tried("alarm", alarm.id)[0].attempt.detail or "")
        assert history.found()[alarm.id].what == "cable"
    assert alarm.acknowledged_after is not None


def test_a_pause_from_another_terminal_silences_the_device_until_it_ends(
    room: Room, listen: Listen, hiss: Path, lead: Path, tmp_path: Path
) -> None:
    """NOT LISTENING in large letters, no wake sound in the pause; its end wakes for what still beeps."""
    data = str(tmp_path / "data")
    room.play(hiss)
    watch, ears = listen(), Ears(room)
    watch.expect("Listening to", 20)
    assert "watch runs." in verb(room, "pause", "30m", "--for", "bath", "--by", "Anna", "--data", data)
    watch.expect("NOT LISTENING until", 5)
    watch.expect(r"|_|\_|\___/", 5)
    room.play(lead)
    watch.expect("ALARM: lead-disconnect", 30)
    assert not any("wake sound has begun" in line for line in watch.lines)
    verb(room, "pause", "--stop", "--data", data)
    watch.expect("I LISTEN AGAIN", 5)
    watch.expect("The wake sound has begun for lead-disconnect", 10)
    watch.expect("The pause is over, and it beeps.", 5)
    ears.close()
    assert watch.end() == 0
    with History(tmp_path / "data") as history:
        (pause,) = history.pauses()
        assert (pause.purpose, pause.who, pause.how) == ("bath", "Anna", "person")


def test_a_drill_runs_the_ladder_and_times_the_answer(
    room: Room, listen: Listen, hiss: Path, tmp_path: Path, no_settings: Path
) -> None:
    """Asked for from another terminal, marked as drill on the screen, answered by a key, kept with its seconds."""
    keep_sounder(no_settings, Sounder(
        name="device", role="wake", tone=2730.0, tone_spread=0.001, length=1.2, level=-40.0, beeps=3,
        taught="2026-03-01",
    ))  # fmt: skip
    room.play(hiss)
    watch = listen(terminal=True)
    watch.expect("Listening to", 20)
    asked = subprocess.Popen(
        [sys.executable, "-m", "beepwatch", "rehearse", "--at-night", "--by", "Anna",
         "--data", str(tmp_path / "data")],
        env=room.env | {"PYTHONUNBUFFERED": "1"}, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    watch.expect("DRILL: lead-disconnect", 30)
    watch.expect("This is a drill. It is not a real alarm.", 5)
    watch.expect("The wake sound has begun for the drill", 10)
    watch.press("\r")
    said, _ = asked.communicate(timeout=20)
    assert asked.returncode == 0
    assert "Answered after" in said
    assert watch.end() == 0
    with History(tmp_path / "data") as history:
        (drill,) = history.alarms()
    assert drill.drill
    assert drill.acknowledged_after is not None
    again = subprocess.run(
        [sys.executable, "-m", "beepwatch", "rehearse", "--at-night", "--by", "Anna",
         "--data", str(tmp_path / "data")],
        env=os.environ | room.env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert again.returncode == 2
    assert "watch does not run" in again.stderr or "one in four weeks" in again.stderr
