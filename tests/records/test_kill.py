"""What a process that is killed in mid-alarm leaves behind: all that it had reported."""

import os
import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeAlias

import beepwatch
from beepwatch.records.reading import History
from beepwatch.records.verify import verify

WRITER = Path(__file__).parent / "writer.py"
Entry: TypeAlias = tuple[str, int, int, int]
"""What was written, of which span, of which alarm of it (or how far), at how many beeps."""


BESIDES = {
    "tried": "SELECT span, step FROM tried JOIN alarm ON alarm.id = about_id",
    "found": "SELECT span, who FROM found JOIN alarm ON alarm.id = alarm",
    "note": "SELECT span, who FROM note JOIN payload ON hash = payload JOIN alarm ON alarm.id = about_id",
    "technical": "SELECT span, cause FROM technical",
    "pause": "SELECT span, who FROM pause",
    "margin": "SELECT span, margin FROM margin_open UNION SELECT span, json_each.value "
    "FROM margin, json_each(figures) WHERE json_each.value IS NOT NULL",
    "care": "SELECT spans.span, care.hours FROM care JOIN (SELECT DISTINCT span FROM alarm) AS spans",
}
"""The rows besides states, by what the writer says of them: span and number of the alarm that is in them."""


@contextmanager
def writing(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A process that writes alarms into `folder` without end, and reports each change after its commit."""
    root = str(Path(beepwatch.__file__).parents[1])
    with subprocess.Popen(
        [sys.executable, str(WRITER), str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": root},
    ) as child:
        try:
            yield child
        finally:
            child.kill()


def reported(folder: Path, seconds: float, after: str) -> list[Entry]:
    """What a writer had reported when it was killed (SIGKILL) `seconds` after it first said `after`."""
    with writing(folder) as child:
        assert child.stdout is not None
        lines = [child.stdout.readline()]
        while not lines[-1].startswith(after):
            lines.append(child.stdout.readline())
        time.sleep(seconds)  # the moment of death is what is tested
        child.kill()
        lines += child.stdout.readlines()
    words = [line.split() for line in lines if line.endswith("\n")]
    return [(kind, int(span), int(number), int(beeps)) for kind, span, number, beeps in words]


def written(folder: Path) -> set[Entry]:
    """What the file holds after that, by the same words; the file itself is whole."""
    connection = sqlite3.connect(folder / "history.sqlite3")
    try:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        states = connection.execute(
            "SELECT state.kind, span, number, coalesce(beeps, 0) FROM state JOIN alarm ON alarm.id = alarm"
        ).fetchall()
        reach = connection.execute("SELECT span, lost FROM heartbeat").fetchall()
        besides = [
            (kind, span, int(number), 0)
            for kind, question in BESIDES.items()
            for span, number in connection.execute(question).fetchall()
        ]
    finally:
        connection.close()
    assert verify(folder).faults == ()
    # An extension of a span takes the place of the one before it.
    return {*states, *besides, *(("listening", span, far, 0) for span, lost in reach for far in range(int(lost) + 1))}


def test_nothing_reported_is_missing_after_kill_9_at_random_moments(tmp_path: Path) -> None:
    """30 deaths into one file: it stays whole, holds each reported change, and each broken span shows."""
    moments = random.Random(20260301)
    counts = []
    for _ in range(30):
        said = reported(tmp_path, moments.uniform(0.0, 0.2), after="raised")
        assert set(said) - {("opening", 0, 0, 0)} <= written(tmp_path)
        counts.append(len(said))
    print(f"{sum(counts)} changes reported and found, {min(counts)} to {max(counts)} a life")
    assert min(counts) < max(counts)
    with History(tmp_path) as history:
        spans, alarms = history.spans(), history.alarms()
    assert len(spans) == 30
    assert not any(span.closed for span in spans)
    assert sum(alarm.ended is None for alarm in alarms) <= 30  # at most the one that each death cut short


def test_a_death_while_the_file_is_made_leaves_one_that_opens(tmp_path: Path) -> None:
    """Every step of making it is whole or not there; the next start goes on from it."""
    moments = random.Random(20260302)
    for life in range(10):
        folder = tmp_path / str(life)
        folder.mkdir()
        reported(folder, moments.uniform(0.0, 0.03), after="opening")
        said = reported(folder, 0.0, after="raised")
        assert set(said) - {("opening", 0, 0, 0)} <= written(folder)
