"""Unit files: what they ask of systemd, and that systemd itself understands every line."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from beepwatch.watch.units import EVENING, NAME, TIMER, WATCHDOG, line, units

PROGRAM = ["/usr/bin/python3", "-m", "beepwatch"]


def test_the_service_is_restarted_always_and_watched() -> None:
    """Restart always and without limit, the notify protocol, a watchdog, and the guarded watch."""
    text = units(PROGRAM, ["--device", "USB", "--data", "/home/a b/history"], "")[NAME]
    assert f"WatchdogSec={WATCHDOG}" in text
    for row in ("Type=notify", "Restart=always", "StartLimitIntervalSec=0", "NotifyAccess=main"):
        assert row in text
    assert '"beepwatch" "watch" "--guarded" "--device" "USB" "--data" "/home/a b/history"\n' in text


def test_the_timer_is_only_there_with_an_evening_hour() -> None:
    """It looks by `service evening`, with the folders but not the microphone."""
    assert set(units(PROGRAM, [], "")) == {NAME}
    made = units(PROGRAM, ["--device", "USB", "--data", "/d", "--config", "/c"], "21:30")
    assert set(made) == {NAME, EVENING, TIMER}
    assert "OnCalendar=*-*-* 21:30:00" in made[TIMER]
    assert '"service" "evening" "--data" "/d" "--config" "/c"' in made[EVENING]


def test_what_systemd_would_replace_is_written_so_that_it_stays() -> None:
    """Percent signs, dollars, quotation marks and backslashes in a path or a name."""
    assert line(["a b", 'c"d', "50%", "$HOME", "\\"]) == '"a b" "c\\"d" "50%%" "$$HOME" "\\\\"'


def test_systemd_understands_every_line(tmp_path: Path) -> None:
    """`systemd-analyze verify` finds no unknown key, no bad value and no bad command."""
    if shutil.which("systemd-analyze") is None:
        assert os.environ.get("CI") != "true", "systemd-analyze is missing"
        pytest.skip("systemd-analyze is missing")
    files = units(["/bin/sh", "-c", "true"], ["--device", "a $ strange % name"], "22:00")
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    env = os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)}
    done = subprocess.run(
        ["systemd-analyze", "verify", "--user", *(str(tmp_path / name) for name in files)],
        env=env, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    told = [row for row in done.stderr.splitlines() if any(name in row for name in files)]
    assert (done.returncode, told) == (0, [])
