"""`beepwatch service`: unit files in their place, systemd's user manager asked, and the look in the evening."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from queue import Empty
from threading import Event

from beepwatch.channels.rounds import Round
from beepwatch.channels.speaker import Failed, Started
from beepwatch.errors import InputError
from beepwatch.records.reading import History
from beepwatch.waking.messages import Messages
from beepwatch.watch.keys import Keys
from beepwatch.watch.sounding import Sounding
from beepwatch.watch.units import EVENING, NAME, TIMER

FRESH = 120.0
"""s since the last word of the history within which it is taken to listen: it writes each 10 s."""
LONGEST = 600.0
"""s at most that an evening without listening is sounded (judgement: nobody may be at home)."""
PATIENCE = 20.0
"""s for one answer of systemd's manager (judgement)."""
ALL = (NAME, EVENING, TIMER)
MESSAGE = "not-started"


def unit_folder() -> Path:
    """Where systemd's user manager looks for units of this user."""
    kept = os.environ.get("XDG_CONFIG_HOME")
    return (Path(kept) if kept else Path.home() / ".config") / "systemd" / "user"


def write(files: dict[str, str], folder: Path) -> list[Path]:
    """Put the unit files there, and take away those of ours that are not among them. Raises InputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in ALL:
            if name in files:
                (folder / name).write_text(files[name], "utf-8")
            else:
                (folder / name).unlink(missing_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: no unit can be written there ({error.strerror}); mend its rights") from error
    return [folder / name for name in files]


def ask(*words: str) -> tuple[int, str]:
    """`systemctl --user ...`: exit code and what it says; 127 where there is no systemd or no manager answers."""
    if shutil.which("systemctl") is None:
        return 127, "there is no systemctl here"
    try:
        done = subprocess.run(
            ("systemctl", "--user", *words), capture_output=True, text=True, timeout=PATIENCE, check=False
        )
    except (OSError, subprocess.SubprocessError) as error:
        return 127, str(error)
    return done.returncode, (done.stdout + done.stderr).strip()


def start(files: Sequence[str]) -> list[str]:
    """Start what was installed, now and at each login; return what went wrong, one line each."""
    orders = [("daemon-reload",), ("enable", "--now", NAME)]
    orders += [("enable", "--now", TIMER)] if TIMER in files else []
    told = [(order, *ask(*order)) for order in orders]
    return [f"systemctl --user {' '.join(order)}: {text or code}" for order, code, text in told if code]


def remove(folder: Path) -> list[str]:
    """Stop and take away all of it; return the names of the files that were there. Raises InputError."""
    there = [name for name in ALL if (folder / name).exists()]
    for name in there:
        if name != EVENING:
            ask("disable", "--now", name)
    write({}, folder)
    ask("daemon-reload")
    return there


def program() -> list[str]:
    """How this very beepwatch is run."""
    return [sys.executable, "-m", "beepwatch"]


def listens(folder: Path, now: datetime) -> bool:
    """Whether a `watch` for the household listens now, by its history. Raises RecordsError."""
    with History(folder) as history:
        spans = [span for span in history.spans() if span.kind == "household" and not span.closed]
    return any(now - span.until < timedelta(seconds=FRESH) for span in spans)


def sound(made: Sounding, messages: Messages, seconds: float = LONGEST) -> str:
    """Sound "tonight's listening has not started" until a key or `seconds`; return by which way it sounded, or ""."""
    answered = Event()
    keys = Keys(lambda _: answered.set())
    made.voice.prepare(messages.lines(MESSAGE))
    made.speaker.play(Round((-1,), "medium", messages.lines(MESSAGE)))
    until, way = time.monotonic() + seconds, ""
    while time.monotonic() < until and not answered.is_set():
        try:
            report = made.reports.get(timeout=0.25)
        except Empty:
            continue
        if isinstance(report, Started):
            way = report.way
        elif isinstance(report, Failed):
            print(f"I cannot wake anybody by sound: {report.text}", flush=True)
    keys.close()
    made.speaker.stop()
    return way
