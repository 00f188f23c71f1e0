"""What a reader finds, also while another process writes or where nobody may write."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records.reading import History
from beepwatch.records.rows import restored, stored
from beepwatch.records.store import Store, data_folder


def test_an_alarm_is_read_as_it_stood_last(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """The newest figures and name, the first waking and answer, the end."""
    span = store.begin_listening("USB microphone", "household", evening)
    alarm = store.raise_alarm(span, lead, evening + timedelta(seconds=100), evening + timedelta(seconds=111.5))
    store.note(alarm, "woken", evening + timedelta(seconds=112))
    store.change_alarm(alarm, replace(lead, pattern="fire"), evening + timedelta(seconds=120), "renamed")
    store.note(alarm, "woken", evening + timedelta(seconds=130))
    store.note(alarm, "acknowledged", evening + timedelta(seconds=150), 38.0)
    over = replace(lead, pattern="fire", beeps=40, last=296.2, ended=296.2)
    with History(tmp_path) as history:
        (before,) = history.alarms()
        store.end_alarm(alarm, over, evening + timedelta(seconds=296.2))
        (after,) = history.alarms()
    assert (before.ended, before.state.pattern, before.state.beeps) == (None, "fire", 3)
    assert before.lasted == pytest.approx(11.2)
    assert after.state == over
    assert after.lasted == pytest.approx(196.2)
    assert after.began == evening + timedelta(seconds=100)
    assert after.ended == evening + timedelta(seconds=296.2)
    assert (after.woken_after, after.acknowledged_after, after.stopped_after) == (0.5, 38.0, None)


def test_recordings_are_never_mixed_into_the_households_history(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """Neither their alarms nor their listening."""
    for kind, source in (("household", "USB microphone"), ("recording", "kitchen.wav")):
        span = store.begin_listening(source, kind, evening)  # type: ignore[arg-type]
        store.raise_alarm(span, lead, evening, evening)
    with History(tmp_path) as history:
        assert [alarm.source for alarm in history.alarms()] == ["USB microphone"]
        assert [alarm.source for alarm in history.alarms(kind="recording")] == ["kitchen.wav"]
        assert [span.source for span in history.spans()] == ["USB microphone"]
        assert [span.source for span in history.spans(kind="recording")] == ["kitchen.wav"]


def test_a_period_has_the_alarms_that_reach_into_it(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm, over: Alarm
) -> None:
    """One that began before it and went on counts; one that ended before does not, whatever is noted later."""
    span = store.begin_listening("USB microphone", "household", evening)
    hours = [evening + timedelta(hours=hour) for hour in range(4)]
    for number, began in enumerate(hours, 1):
        alarm = store.raise_alarm(span, replace(lead, number=number), began, began)
        store.end_alarm(alarm, replace(over, number=number), began + timedelta(minutes=10))
        store.note(alarm, "acknowledged", hours[-1] + timedelta(hours=1))
    store.extend_listening(span, hours[-1] + timedelta(hours=1))
    with History(tmp_path) as history:

        def numbers(since: datetime | None, until: datetime | None) -> list[int]:
            return [alarm.state.number for alarm in history.alarms(since, until)]

        assert numbers(None, None) == [1, 2, 3, 4]
        assert numbers(hours[1] + timedelta(minutes=5), hours[3]) == [2, 3]
        assert numbers(hours[1] + timedelta(minutes=11), None) == [3, 4]
        assert numbers(None, hours[0]) == []


def test_the_span_before_a_period_is_read_with_it(store: Store, tmp_path: Path, evening: datetime) -> None:
    """How it ended tells why nothing was heard when the period began; those before it are not needed."""
    for night in range(4):
        span = store.begin_listening(f"night {night}", "household", evening + timedelta(days=night))
        store.gap(span, evening + timedelta(days=night), evening + timedelta(days=night), "unplugged")
        store.end_listening(span, evening + timedelta(days=night, hours=8))
    with History(tmp_path) as history:
        found = history.spans(evening + timedelta(days=1, hours=9), evening + timedelta(days=3))
    assert [span.source for span in found] == ["night 1", "night 2"]
    assert [len(span.gaps) for span in found] == [0, 1]


def test_the_beeps_of_an_alarm_are_kept_as_evidence(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """From its first beep to its last, of its own span only."""
    span, other = (store.begin_listening(name, "household", evening) for name in ("one", "two"))
    beeps = [Beep(onset, 1.2, 2730.0, -41.5, 12.25, onset + 1.3) for onset in (90.0, 100.0, 105.0, 110.0, 130.0)]
    store.extend_listening(span, evening, 0.0, beeps)
    store.extend_listening(other, evening, 0.0, beeps)
    store.raise_alarm(span, lead, evening, evening)
    with History(tmp_path) as history:
        found = history.beeps(history.alarms()[0])
    assert [(beep.span, beep.onset) for beep in found] == [(span, 100.0), (span, 105.0), (span, 110.0)]
    assert (found[0].duration, found[0].frequency, found[0].level, found[0].snr) == (
        1.2,
        2730.0,
        -41.5,
        12.25,
    )


def test_two_readers_see_all_that_is_committed_while_a_writer_is_in_mid_write(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """Nobody waits for anybody: each reader sees what was committed, and the writer goes on."""
    span = store.begin_listening("USB microphone", "household", evening)
    with History(tmp_path, timeout=0.0) as one, History(tmp_path, timeout=0.0) as two:
        for number in range(1, 4):
            with store.together():
                store.raise_alarm(span, replace(lead, number=number), evening, evening)
                assert [len(reader.alarms()) for reader in (one, two)] == [number - 1, number - 1]
            assert [len(reader.alarms()) for reader in (one, two)] == [number, number]


@contextmanager
def without_privileges() -> Iterator[None]:
    """As a user whom file permissions hold back: root may write anywhere."""
    was = os.geteuid()
    if was == 0:
        os.seteuid(65534)  # "nobody" on Debian
    try:
        yield
    finally:
        os.seteuid(was)


@pytest.fixture
def closed_folder(evening: datetime, lead: Alarm) -> Iterator[Path]:
    """A folder with a history in which everybody may read and nobody but root may write."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = Store(folder)
        store.raise_alarm(store.begin_listening("USB microphone", "household", evening), lead, evening, evening)
        store.close()
        (folder / "history.sqlite3").chmod(0o444)
        folder.chmod(0o555)
        yield folder
        folder.chmod(0o755)


def test_a_history_in_a_read_only_folder_can_be_read(closed_folder: Path) -> None:
    """As from a backup on a disc: WAL has no room for its index there."""
    with without_privileges(), History(closed_folder) as history:
        assert len(history.alarms()) == 1


def test_a_read_only_folder_is_told_in_one_line_to_the_writer(closed_folder: Path) -> None:
    """The folder, the reason and what to do, whether it is asked for first or not."""
    with without_privileges():
        with pytest.raises(RecordsError, match=r"cannot write in the data folder .*choose another with --data DIR"):
            data_folder(closed_folder)
        with pytest.raises(RecordsError, match="may not be opened or written: change its permissions or choose"):
            Store(closed_folder)
        with pytest.raises(RecordsError, match=r"cannot write in the data folder .*choose another with --data DIR"):
            data_folder(closed_folder / "new")


def test_a_history_that_is_not_there_is_not_made_by_a_reader(tmp_path: Path) -> None:
    """Reading leaves the folder as it is."""
    with pytest.raises(RecordsError, match="it cannot be opened"):
        History(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("zone", "wall", "fold", "utc", "minutes"),
    [
        ("Europe/Berlin", (2026, 3, 29, 1, 59, 59), 0, "2026-03-29T00:59:59.000000Z", 60),
        ("Europe/Berlin", (2026, 3, 29, 3, 0, 0), 0, "2026-03-29T01:00:00.000000Z", 120),
        ("Europe/Berlin", (2026, 10, 25, 2, 30, 0), 0, "2026-10-25T00:30:00.000000Z", 120),
        ("Europe/Berlin", (2026, 10, 25, 2, 30, 0), 1, "2026-10-25T01:30:00.000000Z", 60),
        ("America/New_York", (2026, 3, 8, 3, 0, 0), 0, "2026-03-08T07:00:00.000000Z", -240),
        ("America/New_York", (2026, 11, 1, 1, 30, 0), 0, "2026-11-01T05:30:00.000000Z", -240),
        ("America/New_York", (2026, 11, 1, 1, 30, 0), 1, "2026-11-01T06:30:00.000000Z", -300),
        ("Australia/Lord_Howe", (2026, 4, 5, 1, 45, 0), 0, "2026-04-04T14:45:00.000000Z", 660),
        ("Australia/Lord_Howe", (2026, 4, 5, 1, 45, 0), 1, "2026-04-04T15:15:00.000000Z", 630),
        ("Asia/Kathmandu", (2026, 6, 1, 0, 0, 0), 0, "2026-05-31T18:15:00.000000Z", 345),
    ],
)
def test_both_clocks_of_a_night_with_a_change_of_time_are_kept(
    zone: str, wall: tuple[int, int, int, int, int, int], fold: int, utc: str, minutes: int
) -> None:
    """Known dates of the IANA zone database: UTC and offset are written, and read back as the same time."""
    moment = datetime(*wall, tzinfo=ZoneInfo(zone), fold=fold)
    assert stored(moment) == (utc, minutes)
    back = restored(*stored(moment))
    assert back.astimezone(UTC) == moment.astimezone(UTC)
    assert back.replace(tzinfo=None) == datetime(*wall)  # noqa: DTZ001
