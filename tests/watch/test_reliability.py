"""What a death, a full disk or a read-only folder in mid-alarm leaves: all that was shown, and a whole history."""

import os
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import beepwatch
from beepwatch.records.reading import History
from beepwatch.records.verify import verify

ROOT = str(Path(beepwatch.__file__).parents[1])
SMALL = 'mount -t tmpfs -o size=900k none "$0" && exec "$@"'
"""In a mount namespace of its own: a disk of 900 kB."""


@contextmanager
def looping(folder: Path, what: str, *before: str) -> "Iterator[subprocess.Popen[str]]":
    """The loop as a process of its own."""
    command = [*before, sys.executable, "-m", "tests.watch.looping", str(folder), what]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT,
        env={**os.environ, "PYTHONPATH": ROOT, "TZ": "UTC"},
    ) as child:  # fmt: skip
        try:
            yield child
        finally:
            child.kill()


def shown(folder: Path, seconds: float) -> set[tuple[str, int]]:
    """What the screen had shown of alarms when the process was killed, `seconds` after the first."""
    with looping(folder, "kill") as child:
        assert child.stdout is not None
        lines = [child.stdout.readline()]
        while "ALARM:" not in lines[-1]:
            assert lines[-1], "".join(lines)
            lines.append(child.stdout.readline())
        time.sleep(seconds)  # the moment of death is what is tested
        child.kill()
        lines += child.stdout.readlines()
    whole = [line for line in lines if line.endswith("\n")]
    raised = {
        ("raised", int(number)) for line in whole for number in re.findall(r"ALARM: .*alarm number (\d+)\.", line)
    }
    return raised | {("ended", count + 1) for count in range(sum("ENDED:" in line for line in whole))}


def kept(folder: Path) -> set[tuple[str, int]]:
    """What the history has of that run, which is the newest."""
    connection = sqlite3.connect(folder / "history.sqlite3")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    rows = connection.execute(
        "SELECT kind, number FROM state JOIN alarm ON alarm.id = alarm WHERE span = (SELECT max(id) FROM span)"
    ).fetchall()
    connection.close()
    assert verify(folder).faults == ()
    return set(rows)


def deaths(folder: Path, count: int, seed: int) -> int:
    """So many deaths into one folder; return how many changes were shown and found again."""
    moments = random.Random(seed)
    found = 0
    for _ in range(count):
        seen = shown(folder, moments.uniform(0.0, 1.5))
        assert seen - kept(folder) == set()
        found += len(seen)
    return found


def test_what_the_screen_has_shown_is_in_the_history_after_kill_9(tmp_path: Path) -> None:
    """Of the whole loop in mid-alarm, clips being saved meanwhile; each death leaves the file whole."""
    print(f"{deaths(tmp_path, 8, 20260301)} alarms and ends shown and found")


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    """Where a small disk is to be mounted."""
    if shutil.which("unshare") is None or os.geteuid() != 0:
        if os.environ.get("CI"):
            pytest.fail("a small disk needs root and unshare")
        pytest.skip("a small disk needs root and unshare")
    (tmp_path / "disk").mkdir()
    return tmp_path / "disk"


def test_a_disk_that_is_full_in_mid_night_is_told_and_loses_nothing(disk: Path) -> None:
    """It is said, the alarm in that time wakes all the same, and once there is room all of it is written."""
    copy = disk.parent / "copy"
    script = f'{SMALL}; cp -a "$0" "{copy}"'.replace("exec ", "")
    with looping(disk, "full", "unshare", "-m", "sh", "-c", script, str(disk)) as child:
        assert child.stdout is not None
        lines = child.stdout.readlines()
    text = "".join(lines)
    assert "the disk is full: make room on it" in text
    assert "It is kept in memory, and I try again." in text
    assert "PLAYED [1, 2, 3]" in text
    assert "WRITTEN True" in text
    assert verify(copy).faults == ()
    with History(copy) as history:
        assert [alarm.state.why for alarm in history.alarms()] == [f"alarm number {n}" for n in (1, 2, 3)]
        assert [alarm.woken_after is not None for alarm in history.alarms()] == [True] * 3
        assert all(alarm.ended is not None for alarm in history.alarms()[:2])


READ_ONLY = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from beepwatch.cli import main
folder, *words = sys.argv[1:]
sys.exit(main([*words, "--data", folder]))
"""
COMMANDS = {
    ("history",): (0, "lead-disconnect"),
    ("history", "--verify"): (0, "The history is as it was written"),
    ("history", "note", "1", "words"): (2, "it cannot be opened: check its folder or choose another"),
    ("watch",): (2, "cannot write in the data folder"),
}


def test_a_read_only_folder_is_read_and_refused_for_writing_in_one_line(disk: Path, tmp_path: Path) -> None:
    """What was written can be seen and checked there; whatever would write says why not, and changes nothing."""
    whole = tmp_path / "whole"
    whole.mkdir()
    with looping(whole, "night") as child:
        child.communicate(timeout=100)
    mount = 'mount -t tmpfs none "$0" && cp -a "$1"/. "$0" && mount -o remount,ro "$0" && shift && exec "$@"'
    for words, (code, told) in COMMANDS.items():
        run = [sys.executable, "-c", READ_ONLY, str(disk), *words]
        done = subprocess.run(
            ["unshare", "-m", "sh", "-c", mount, str(disk), str(whole), *run],
            capture_output=True, text=True, cwd=ROOT, check=False, env={**os.environ, "PYTHONPATH": ROOT},
        )  # fmt: skip
        assert done.returncode == code, done.stderr
        assert told.replace("-", " ") in (done.stdout + done.stderr).replace("-", " ")
        if code:
            assert done.stderr.count("\n") == 1
