"""`beepwatch service`: written but not started without a yes; status and evening go by the history."""

import os
import stat
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.records.store import Store
from beepwatch.watch import service
from beepwatch.watch.units import EVENING, NAME, TIMER

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="systemd is only on Linux")


@pytest.fixture
def systemctl(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A `systemctl` that writes down what it is asked; units go to a folder of the test's."""
    tools, asked = tmp_path / "tools", tmp_path / "asked"
    tools.mkdir()
    asked.touch()
    program = tools / "systemctl"
    program.write_text(f'#!/bin/sh\necho "$@" >> {asked}\ncase "$2" in is-*) echo enabled;; esac\n')
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tools}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return asked


def folders(tmp_path: Path) -> list[str]:
    return ["--data", str(tmp_path / "data"), "--config", str(tmp_path / "settings")]


def listened(folder: Path, ago: float, *, closed: bool = False) -> None:
    """A history with one span that was last heard so long ago, s."""
    now = datetime.now().astimezone()
    folder.mkdir(exist_ok=True)
    store = Store(folder)
    span = store.begin_listening("a microphone", "household", now - timedelta(hours=1))
    store.extend_listening(span, now - timedelta(seconds=ago))
    if closed:
        store.end_listening(span, now - timedelta(seconds=ago))
    store.close()


def test_install_writes_and_does_not_start(tmp_path: Path, systemctl: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody says yes: the files are there, systemd was asked nothing, and how to start and linger is told."""
    assert main(["settings", "set", "watching.evening", "22:00", "--config", str(tmp_path / "settings")]) == 0
    assert main(["service", "install", "--device", "USB", "--page", *folders(tmp_path)]) == 0
    said = capsys.readouterr().out
    there = tmp_path / "config" / "systemd" / "user"
    assert {path.name for path in there.iterdir()} == {NAME, EVENING, TIMER}
    assert systemctl.read_text() == ""
    assert '"--page"\n' in (there / NAME).read_text()
    for words in ("Not started.", "loginctl enable-linger", "22:00", "systemctl --user enable --now"):
        assert words in said or words.replace("--user ", "--user daemon-reload && systemctl --user ", 1) in said


def test_install_with_start_starts_and_remove_takes_it_away(
    tmp_path: Path, systemctl: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An earlier timer goes where no evening hour is set any more."""
    main(["settings", "set", "watching.evening", "22:00", "--config", str(tmp_path / "settings")])
    main(["service", "install", *folders(tmp_path)])
    main(["settings", "clear", "watching.evening", "--config", str(tmp_path / "settings")])
    assert main(["service", "install", "--start", *folders(tmp_path)]) == 0
    there = tmp_path / "config" / "systemd" / "user"
    assert {path.name for path in there.iterdir()} == {NAME}
    assert systemctl.read_text().splitlines() == ["--user daemon-reload", f"--user enable --now {NAME}"]
    assert main(["service", "remove"]) == 0
    assert list(there.iterdir()) == []
    assert f"--user disable --now {NAME}" in systemctl.read_text()
    assert main(["service", "remove"]) == 0
    assert "There was no service" in capsys.readouterr().out


@pytest.mark.parametrize(("ago", "closed", "listens"), [(5.0, False, True), (600.0, False, False), (5.0, True, False)])
def test_it_listens_where_the_history_says_so(tmp_path: Path, ago: float, closed: bool, listens: bool) -> None:
    """A span that goes on and was heard in the last two minutes; not a crashed one, nor one that was ended."""
    listened(tmp_path / "data", ago, closed=closed)
    assert service.listens(tmp_path / "data", datetime.now().astimezone()) is listens


def test_status_tells_units_and_listening(tmp_path: Path, systemctl: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not installed, no history: exit code 1; installed and listening: 0."""
    assert main(["service", "status", *folders(tmp_path)]) == 1
    assert f"{NAME}: not installed" in capsys.readouterr().out
    main(["service", "install", *folders(tmp_path)])
    listened(tmp_path / "data", 5.0)
    assert main(["service", "status", *folders(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert f"{NAME}: enabled, enabled" in said
    assert "It listens now" in said


def test_the_evening_is_quiet_where_it_listens(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No sound, exit code 0."""
    listened(tmp_path / "data", 5.0)
    assert main(["service", "evening", *folders(tmp_path)]) == 0
    assert "has started" in capsys.readouterr().out


def test_units_that_cannot_be_written_are_told(
    tmp_path: Path, systemctl: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, exit code 2."""
    (tmp_path / "config").write_text("a file where a folder should be")
    assert main(["service", "install", *folders(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "no unit can be written there" in error
