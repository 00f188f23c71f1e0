"""`beepwatch backup`: a copy while the history is written, the way back, and what it refuses."""

import hashlib
import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beepwatch import cli
from beepwatch.events import Alarm
from beepwatch.records.clips import FOLDER
from beepwatch.records.entries import Clip
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.records.verify import verify

EVENING = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)
LEAD = Alarm(1, "lead-disconnect", "high", 100.0, 111.5, None, 111.2, 3, 1.2, 5.0, 2730.0, 0.98, "3 beeps")


def history_in(folder: Path) -> Store:
    """A history with an alarm and a clip, still open."""
    folder.mkdir()
    store = Store(folder)
    span = store.begin_listening("USB microphone", "household", EVENING)
    alarm = store.raise_alarm(span, LEAD, EVENING, EVENING)
    (folder / FOLDER).mkdir()
    (folder / FOLDER / "one.flac").write_bytes(b"sound")
    store.clip(alarm, Clip("one.flac", hashlib.sha256(b"sound").digest(), 5, EVENING, 1.0, 2730.0))
    return store


def backed_up(data: Path, target: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """The folder that the command tells."""
    assert cli.main(["backup", str(target), "--data", str(data)]) == 0
    return Path(capsys.readouterr().out.splitlines()[0].removeprefix("Copied to ").removesuffix("."))


def test_a_copy_goes_back_with_every_row_and_clip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same last hash in the copy and in what was restored from it; the writer had never stopped."""
    store = history_in(tmp_path / "data")
    last = verify(tmp_path / "data").last
    copy = backed_up(tmp_path / "data", tmp_path / "stick", capsys)
    assert sorted(path.name for path in copy.iterdir()) == [FOLDER, "history.sqlite3"]
    store.found(1, "cable", EVENING)
    store.close()
    assert cli.main(["backup", "--restore", str(copy), "--data", str(tmp_path / "new")]) == 0
    assert capsys.readouterr().out.endswith(f"1 clip, last hash {last}\n")
    assert (tmp_path / "new" / FOLDER / "one.flac").read_bytes() == b"sound"
    with History(tmp_path / "new") as history:
        assert [alarm.state.pattern for alarm in history.alarms()] == ["lead-disconnect"]
        assert history.found() == {}
    with Store(tmp_path / "new").together():
        pass


def test_a_copy_made_while_alarms_are_written_is_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A writer in another thread does not stop for it; each of five copies passes every check."""
    store = history_in(tmp_path / "data")
    store.close()
    done, written = threading.Event(), 0

    def write() -> None:
        nonlocal written
        mine = Store(tmp_path / "data", timeout=10.0)
        while not done.is_set():
            mine.change_alarm(1, LEAD, EVENING + timedelta(seconds=written))
            written += 1
        mine.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        copies = [backed_up(tmp_path / "data", tmp_path / f"stick{turn}", capsys) for turn in range(5)]
    finally:
        done.set()
        thread.join()
    assert written > 5
    assert [verify(copy).faults for copy in copies] == [()] * 5


def test_a_restore_overwrites_no_history(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line says what to move away."""
    history_in(tmp_path / "data").close()
    copy = backed_up(tmp_path / "data", tmp_path / "stick", capsys)
    assert cli.main(["backup", "--restore", str(copy), "--data", str(tmp_path / "data")]) == 2
    assert "move history.sqlite3 and clips away first" in capsys.readouterr().err


def test_a_damaged_copy_is_not_put_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line names the first fault; nothing is left in the new folder."""
    history_in(tmp_path / "data").close()
    copy = backed_up(tmp_path / "data", tmp_path / "stick", capsys)
    connection = sqlite3.connect(copy / "history.sqlite3")
    connection.execute("DROP TRIGGER state_refuses_update")
    connection.execute("UPDATE state SET pattern = 'fire'")
    connection.commit()
    connection.close()
    assert cli.main(["backup", "--restore", str(copy), "--data", str(tmp_path / "new")]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "state of an alarm, record 1 is not as it was written" in told
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("restore", [[], ["--restore"]])
def test_what_is_no_history_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], restore: list[str]
) -> None:
    """A misspelt folder makes no copy of nothing."""
    code = cli.main(["backup", str(tmp_path / "stick"), *restore, "--data", str(tmp_path / "no")])
    told = capsys.readouterr()
    assert (code, told.out, told.err.count("\n")) == (2, "", 1)
    assert list(tmp_path.iterdir()) == []


def test_a_target_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    """A full or missing stick: one line, exit code 2, no half copy (run as another program, as a person would)."""
    history_in(tmp_path / "data").close()
    (tmp_path / "stick").write_text("a file")
    done = subprocess.run(
        [sys.executable, "-m", "beepwatch", "backup", str(tmp_path / "stick"), "--data", str(tmp_path / "data")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
