"""A family's own command as a way to wake: arguments without a shell, words by environment, failures told."""

import json
import os
import sys
import time
from pathlib import Path
from queue import SimpleQueue

import pytest

from beepwatch.channels.command import CommandWay
from beepwatch.channels.way import Tried, Way
from beepwatch.waking.actions import Alert

ALERT = Alert(
    (1, 2), "lead-disconnect", "high", "Cable alarm", ("Anna. Anna.", "Go to $(touch x); `id` now."), False, "Anna"
)
DUMP = "import json, os, sys; json.dump([sys.argv[1:], dict(os.environ)], open(sys.argv[1], 'w'))"


def way(reports: "SimpleQueue[Tried]", *command: str, quiet: tuple[str, ...] = (), seconds: float = 20.0) -> CommandWay:
    return CommandWay("lamp", command, reports.put, quiet=quiet, seconds=seconds, ticks=lambda: 7.0)


def test_the_command_gets_its_arguments_and_the_words(tmp_path: Path) -> None:
    """Exactly the arguments that are set; text by environment; a success for each alarm that it told of."""
    reports: SimpleQueue[Tried] = SimpleQueue()
    lamp: Way = way(reports, sys.executable, "-c", DUMP, str(tmp_path / "told"), "$HOME; *")
    lamp.alert(ALERT)
    assert [reports.get(timeout=20) for _ in range(2)] == [
        Tried("lamp", "Anna", 1, True, "", 7.0),
        Tried("lamp", "Anna", 2, True, "", 7.0),
    ]
    lamp.close()
    arguments, environment = json.loads((tmp_path / "told").read_text())
    assert arguments == [str(tmp_path / "told"), "$HOME; *"]
    told = {key.removeprefix("BEEPWATCH_"): value for key, value in environment.items() if key.startswith("BEEPWATCH_")}
    assert told == {
        "EVENT": "alarm", "ALARM": "lead-disconnect", "PRIORITY": "high", "TITLE": "Cable alarm",
        "MESSAGE": "Anna. Anna.\nGo to $(touch x); `id` now.", "TO": "Anna", "DRILL": "0",
    }  # fmt: skip
    assert os.environ["PATH"] == environment["PATH"]


@pytest.mark.parametrize(("code", "detail"), [
    ("raise SystemExit('the lamp does not answer')", "failed (exit code 1): the lamp does not answer"),
    ("import time; time.sleep(60)", "had not ended after 0.5 s, so it was ended"),
])  # fmt: skip
def test_a_failure_and_a_hang_are_told(code: str, detail: str) -> None:
    """With the exit code and its last words, or that it was ended; the caller waits for nothing."""
    reports: SimpleQueue[Tried] = SimpleQueue()
    seconds = 0.5 if "sleep" in code else 20.0
    lamp = way(reports, sys.executable, "-c", code, seconds=seconds)
    began = time.monotonic()
    lamp.alert(ALERT)
    assert time.monotonic() - began < 0.2
    report = reports.get(timeout=20)
    assert not report.ok
    assert detail in report.detail
    assert "\n" not in report.detail
    lamp.close()


def test_a_command_that_is_not_there_is_told() -> None:
    """Its name, and what the system says."""
    reports: SimpleQueue[Tried] = SimpleQueue()
    lamp = way(reports, "/no/such/lamp")
    lamp.alert(ALERT)
    assert "/no/such/lamp cannot be run: No such file" in reports.get(timeout=5).detail
    lamp.close()


def test_what_a_hanging_command_started_is_ended_with_it(tmp_path: Path) -> None:
    """A child of its own that would go on for ever goes, too."""
    reports: SimpleQueue[Tried] = SimpleQueue()
    child = f"import time\nwhile True:\n open({str(tmp_path / 'alive')!r}, 'w').close()\n time.sleep(0.05)"
    parent = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {child!r}])"
    lamp = way(reports, sys.executable, "-c", parent, seconds=3.0)
    lamp.alert(ALERT)
    assert not reports.get(timeout=20).ok
    (tmp_path / "alive").unlink(missing_ok=True)
    time.sleep(0.3)
    assert not (tmp_path / "alive").exists()
    lamp.close()


def test_quiet_comes_after_alert_and_only_once_nothing_is_left(tmp_path: Path) -> None:
    """A lamp is put out when both alarms are answered, even if it was still being lit."""
    log = tmp_path / "log"
    note = "import sys, time; time.sleep(float(sys.argv[3])); open(sys.argv[1], 'a').write(sys.argv[2] + ' ')"
    command = (sys.executable, "-c", note, str(log))
    reports: SimpleQueue[Tried] = SimpleQueue()
    lamp = way(reports, *command, "on", "0.3", quiet=(*command, "off", "0"))
    lamp.alert(ALERT)
    lamp.quiet((1,))
    lamp.quiet((2,))  # the other one, answered by itself
    lamp.quiet((1, 2))
    lamp.close()
    until = time.monotonic() + 20
    while (log.read_text() if log.exists() else "") != "on off " and time.monotonic() < until:
        time.sleep(0.05)
    assert log.read_text() == "on off "


def test_closing_puts_out_what_is_lit(tmp_path: Path) -> None:
    """The end of watch in the middle of an alarm leaves no lamp on."""
    log = tmp_path / "off"
    touch = (sys.executable, "-c", "import sys; open(sys.argv[1], 'w').close()", str(log))
    reports: SimpleQueue[Tried] = SimpleQueue()
    lamp = way(reports, sys.executable, "-c", "pass", quiet=touch)
    lamp.alert(ALERT)
    lamp.close()
    until = time.monotonic() + 20
    while not log.exists() and time.monotonic() < until:
        time.sleep(0.05)
    assert log.exists()
