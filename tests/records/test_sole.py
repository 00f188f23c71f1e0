"""Only one process at a time listens and writes for a household."""

import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import pytest

from beepwatch.errors import RecordsError
from beepwatch.records import sole
from beepwatch.records.reading import History
from beepwatch.records.store import Store

HOLD = (
    "import sys, time; from datetime import UTC, datetime; from pathlib import Path; "
    "from beepwatch.records.store import Store; store = Store(Path(sys.argv[1])); "
    "store.begin_listening('x', 'household', datetime.now(UTC)); print('holds', flush=True); time.sleep(60)"
)


def test_a_second_listener_is_refused_in_one_line_and_nothing_is_written(
    store: Store, tmp_path: Path, evening: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says what to do; the first goes on; readers, notes and recordings are not kept out."""
    monkeypatch.setattr(sole.take, "__defaults__", (0.1,))
    span = store.begin_listening("USB microphone", "household", evening)
    second = Store(tmp_path)
    with pytest.raises(RecordsError, match=r"another beepwatch already listens .*: end that one, or choose") as told:
        second.begin_listening("another", "household", evening)
    assert "\n" not in str(told.value)
    second.begin_listening("kitchen.wav", "recording", evening)
    second.close()
    store.extend_listening(span, evening)
    with History(tmp_path) as history:
        assert [span.source for span in history.spans()] == ["USB microphone"]


def test_a_listener_that_was_killed_holds_nothing(tmp_path: Path, evening: datetime) -> None:
    """The next start need not be told anything; it waits for the dying one."""
    with subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "holds\n"
        child.kill()
        store = Store(tmp_path)
        began = time.monotonic()
        store.begin_listening("USB microphone", "household", evening)
        assert time.monotonic() - began < 3.0
    store.close()


def test_a_listener_that_ends_lets_the_next_one_begin(store: Store, tmp_path: Path, evening: datetime) -> None:
    """In one process, too."""
    store.begin_listening("USB microphone", "household", evening)
    store.close()
    again = Store(tmp_path)
    again.begin_listening("kitchen", "household", evening)
    again.close()
    with History(tmp_path) as history:
        assert [span.source for span in history.spans()] == ["USB microphone", "kitchen"]
