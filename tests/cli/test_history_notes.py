"""`beepwatch history note`, `delete`, `--verify` and its exports: what people add, take out and hand over."""

import json
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pytest

from beepwatch import cli
from beepwatch.events import Alarm, Beep
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.settings.file import keep_sounder, load_sounders
from beepwatch.settings.sounder import Sounder
from tests.records.hostile import HOSTILE, IDS

EVENING = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)
OVEN = Alarm(
    1, "unknown", "low", 100.0, 111.5, 120.0, 120.0, 4, 0.5, 5.0, 2000.0, 0.98, "4 beeps of 0.5 s, all at 2.00 kHz"
)
DEVICE = Sounder(
    name="device", role="wake", tone=2730.0, tone_spread=0.001, length=1.2, level=-40.0, beeps=5, taught="2026-01-01"
)
Run: TypeAlias = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command on a history with two alarms: 1 of an oven at 2000 Hz, 2 at the device's own 2730 Hz."""
    store = Store(tmp_path)
    with store.together():
        span = store.begin_listening("USB microphone", "household", EVENING)
        for number, tone in ((1, 2000.0), (2, 2730.0)):
            alarm = replace(OVEN, number=number, frequency=tone, onset=100.0 * number, last=100.0 * number + 20)
            store.raise_alarm(span, alarm, EVENING + timedelta(minutes=number), EVENING + timedelta(minutes=number))
            for beat in range(4):
                onset = alarm.onset + 5 * beat
                store.add_beeps(span, [Beep(onset, 0.5, tone, -40.0, 12.0, onset + 0.5)])
        store.end_listening(span, EVENING + timedelta(hours=8))
    store.close()
    keep_sounder(tmp_path / "config", DEVICE)

    def command(*words: str) -> tuple[int, str, str]:
        places = ["--data", str(tmp_path), "--config", str(tmp_path / "config")]
        code = cli.main(["history", *words, *places])
        return code, *capsys.readouterr()

    return command


def test_a_note_and_a_finding_stand_beside_the_alarm(run: Run) -> None:
    """With the number by which the note can be deleted."""
    assert run("note", "1", "the oven again", "--found", "other")[:2] == (0, "Noted on alarm 1.\n")
    told = run()[1]
    assert "unknown, low priority (number 1)" in told
    assert "    what it was: other\n    note 1: the oven again\n" in told


def test_a_false_alarm_offers_the_very_command_that_quiets_it(run: Run, tmp_path: Path) -> None:
    """And that command does it: the beep is taught as one to ignore."""
    told = run("note", "1", "--found", "false-alarm")[1]
    (offered,) = [line.split("  ")[1] for line in told.splitlines() if "--teach ignore" in line]
    assert offered == "beepwatch history note 1 --teach ignore"
    code, told, _ = run(*offered.split()[2:])
    assert code == 0, told
    taught = {one.name: one for one in load_sounders(tmp_path / "config")}
    assert (taught["alarm-1"].role, taught["alarm-1"].tone) == ("ignore", 2000.0)


def test_nothing_near_the_devices_tone_is_quieted(run: Run, tmp_path: Path) -> None:
    """Told in one line; what was found is kept all the same."""
    code, _, error = run("note", "2", "--found", "false-alarm", "--teach", "log", "--name", "second")
    assert (code, error.count("\n")) == (2, 1)
    assert "within 3 % of your device's 2730 Hz" in error
    assert [one.name for one in load_sounders(tmp_path / "config")] == ["device"]
    with History(tmp_path) as history:
        assert history.found()[2].what == "false-alarm"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("note", "9", "x"), "there is no alarm 9: `beepwatch history` tells the numbers"),
        (("note", "one", "x"), "'one' is no number"),
        (("note", "1"), 'nothing to note: give words, as in `beepwatch history note 1 "..."`'),
        (("note", "1", "x" * 10_001), "too long: at most 10000"),
        (("note", "1", "--teach", "log", "--name", "a b"), "--name 'a b' cannot be"),
        (("delete", "note", "4"), "there is no note 4"),
        (("delete", "clip", "4"), "there is no clip 4"),
        (("delete", "note"), "'' is no number"),
        (("--verify", "nonsense"), "is no hash"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(run: Run, words: tuple[str, ...], told: str) -> None:
    """Exit code 2, nothing written."""
    code, out, error = run(*words)
    assert (code, out, error.count("\n")) == (2, "", 1)
    assert told in error


def test_deleted_words_are_gone_and_all_is_still_as_it_was_written(run: Run) -> None:
    """The deletion itself is told."""
    run("note", "1", "words that went too far")
    assert run("delete", "note", "1")[:2] == (0, "The note 1 is deleted.\n")
    assert "note 1: (its words were deleted)" in run()[1]
    assert run("delete", "settings")[0] == 0
    code, told, _ = run("--verify")
    assert code == 0
    assert told.startswith("The history is as it was written: ")


def test_damage_is_told_with_exit_code_1(run: Run, tmp_path: Path) -> None:
    """And a hash of before is found in a sound history only."""
    last = run("--verify")[1].split()[-1]
    assert run("--verify", last)[0] == 0
    assert run("--verify", "0" * 64)[0] == 1
    connection = sqlite3.connect(tmp_path / "history.sqlite3")
    connection.execute("DROP TRIGGER state_refuses_update")
    connection.execute("UPDATE state SET pattern = 'fire' WHERE id = 1")
    connection.commit()
    connection.close()
    code, told, _ = run("--verify")
    assert code == 1
    assert told.startswith("DAMAGED: state of an alarm, record 1 is not as it was written")


def test_each_export_of_the_whole_history(run: Run) -> None:
    """Tables of each kind with their columns even where empty; a bundle with an event an alarm."""
    run("note", "1", "Sam slept", "--who", "Anna")
    for of in ("tried", "technical", "pauses", "care"):
        code, told, _ = run("--format", "csv", "--of", of)
        assert (code, told.count("\r\n")) == (0, 1)
    bare = run("--format", "jsonl")[1]
    assert "Sam" not in bare
    assert "Sam slept" in run("--format", "jsonl", "--with-notes")[1]
    bundle = json.loads(run("--format", "fhir")[1])
    assert sum("lead" in str(entry) or "unknown" in str(entry) for entry in bundle["entry"]) == 2
    assert "Sam" not in str(bundle)


def test_a_hostile_note_cannot_steer_the_terminal(run: Run) -> None:
    """Control characters and turned writing are shown as question marks, on one line."""
    run("note", "1", "\x1b[2Jred\nnew line\u202e")
    assert "note 1: ?[2Jred new line?\n" in run()[1]


@pytest.mark.parametrize("note", HOSTILE, ids=IDS)
def test_whatever_a_note_holds_the_screen_stays_a_screen(run: Run, tmp_path: Path, note: str) -> None:
    """One line of bounded length without control characters; the caution is still below it."""
    store = Store(tmp_path)
    store.write_note("alarm", 1, EVENING, note)
    store.close()
    code, told, _ = run()
    assert code == 0
    (line,) = [line for line in told.splitlines() if line.startswith("    note 1:")]
    assert line.isprintable()
    assert len(line) < 2100
    assert told.endswith(f"{cli.CAUTION}\n")
    assert run("--verify")[0] == 0
