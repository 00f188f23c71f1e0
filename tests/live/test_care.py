"""A reminder of a care routine while the program listens, live: a line by day, and nothing sounds."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.records.entries import CareEvent
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live


def hours_west(of: int, now: datetime) -> str:
    """A zone (as POSIX writes it) in which it is about `of` o'clock."""
    return f"TST{(now.hour - of + 12) % 24 - 12:+d}"


@pytest.fixture
def due(no_settings: Path, tmp_path: Path) -> Path:
    """A history in which exit-site care is due, and settings that arm it."""
    no_settings.mkdir()
    (no_settings / "settings.toml").write_text('[care]\nexit-site = "yes"\n[watching]\nself-test = ""\n')
    (tmp_path / "data").mkdir()
    store = Store(tmp_path / "data")
    store.care(CareEvent("exit-site", "done", datetime.now(UTC) - timedelta(days=5)))
    store.close()
    return tmp_path


@pytest.mark.parametrize("hour", [12, 2])
def test_a_routine_that_is_due_is_told_by_day_only(
    room: Room, listen: Callable[..., Listening], hiss: Path, due: Path, hour: int
) -> None:
    """At noon of the house it is said and written down; at two in the night not; the speaker is silent."""
    told = hour == 12
    room.env["TZ"] = hours_west(hour, datetime.now(UTC))
    room.play(hiss)
    recorder = room.record_bedside(due / "bedside.wav")
    listening = listen()
    listening.expect("Listening to 'pulse'", 15)
    found = listening.wait_for("A reminder: Exit-site care is due since", 10 if told else 3)
    listening.end()
    room.finish(recorder)
    assert (found is not None) == told
    with History(due / "data") as history:
        assert [one.event.kind for one in history.care()] == ["done", *(["reminded"] if told else [])]
    heard, _ = soundfile.read(due / "bedside.wav")
    assert np.abs(heard).max() < 0.01
