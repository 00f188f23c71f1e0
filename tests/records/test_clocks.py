"""Nights over midnight, over the change to summer time and back, and with a clock that is set: lengths and hours."""

import csv
import io
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from dateutil.parser import isoparse

from beepwatch.events import Ended, Event, Raised
from beepwatch.records.export import ALARM_COLUMNS, alarm_row, csv_text, jsonl
from beepwatch.records.journal import Journal
from beepwatch.records.listened import listened
from beepwatch.records.reading import History
from beepwatch.records.rows import LoggedAlarm
from beepwatch.records.store import Store
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.timeline import Timeline
from tests.watch import hand
from tests.watch.hand import Bedroom, HandClock, alarm

CHANGES = [
    # zone, the evening before (local), hours that the clock goes forward; dates as the zones' authorities publish them
    ("Europe/Berlin", "2026-03-28T22:00", 1.0),  # last Sunday of March (Directive 2000/84/EC)
    ("Europe/Berlin", "2026-10-24T22:00", -1.0),
    ("America/New_York", "2026-03-07T22:00", 1.0),  # second Sunday of March (Energy Policy Act of 2005)
    ("America/New_York", "2026-10-31T22:00", -1.0),
    ("Australia/Lord_Howe", "2026-10-03T22:00", 0.5),  # half an hour, from the first Sunday of October
    ("Australia/Lord_Howe", "2026-04-04T22:00", -0.5),
    ("UTC", "2026-03-01T22:00", 0.0),
]
NIGHT = 9 * 3600.0
"""s of the room, from 22:00."""
ONSETS = (3600.0, 2.5 * 3600.0, 8 * 3600.0)
"""s: at 23:00, at 00:30, and after any change of the clock."""
STEP = 120.0


@pytest.fixture(params=CHANGES, ids=lambda change: f"{change[0]} {change[2]:+g} h")
def change(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[ZoneInfo, datetime, float]]:
    """The zone of the bedside clock, when the night begins, and by how much the clock changes in it."""
    name, evening, hours = request.param
    zone = ZoneInfo(name)
    began = datetime.fromisoformat(evening).replace(tzinfo=zone)
    monkeypatch.setenv("TZ", name)
    time.tzset()
    monkeypatch.setattr(hand, "BEGAN", began.astimezone(UTC))
    yield zone, began, hours
    monkeypatch.undo()
    time.tzset()


def test_a_night_over_midnight_and_a_change_of_the_clock(
    change: tuple[ZoneInfo, datetime, float], tmp_path: Path
) -> None:
    """Nine hours are nine hours; every hour shown is that of the clock by the bed, before and after the change."""
    zone, began, hours = change
    clock = HandClock()
    timeline = Timeline(clock.clock)
    logbook = Logbook(Journal(Store(tmp_path), lambda: clock.now), timeline, clock.clock, "USB microphone", "household")
    for step in range(1, int(NIGHT / STEP) + 1):
        clock.go_on(STEP)
        assert timeline.anchor(STEP * step, clock.now) == 0.0
        for number, at in enumerate(ONSETS, 1):
            one = replace(alarm(number, onset=at, last=at + 7), raised=at + 7.3)
            if at + 7.3 <= STEP * step < at + 7.3 + STEP:
                logbook.alarm(Raised(at + 7.3, one))
            if at + 90 <= STEP * step < at + 90 + STEP:
                logbook.alarm(Ended(at + 90, replace(one, last=at + 60, ended=at + 60)))
        logbook.heard(STEP * step)
    assert logbook.end(NIGHT)
    with History(tmp_path) as history:
        alarms, (span,) = history.alarms(), history.spans()
    assert (span.until - span.began).total_seconds() == pytest.approx(NIGHT)
    assert [round(one.lasted) for one in alarms] == [60, 60, 60]
    for logged, at in zip(alarms, ONSETS, strict=True):
        expected = (began.astimezone(UTC) + timedelta(seconds=at)).astimezone(zone)
        assert (logged.began, logged.began.isoformat()) == (expected, expected.isoformat())
    shown = [one.began.strftime("%d %H:%M") for one in alarms]
    assert shown[0][3:] == "23:00"
    assert shown[1][3:] == "00:30"
    late = (began.replace(tzinfo=None) + timedelta(hours=8 + hours)).strftime("%H:%M")
    assert shown[2][3:] == late
    _exported(alarms, zone)


def _exported(alarms: list[LoggedAlarm], zone: ZoneInfo) -> None:
    """The same moments in every export, by parsers that are not ours."""
    rows = [alarm_row(one) for one in alarms]
    for line, row in zip(jsonl(rows).splitlines(), rows, strict=True):
        read = json.loads(line)
        local, utc = isoparse(read["began"]), isoparse(read["began_utc"])
        assert local == utc
        assert local.utcoffset() == utc.astimezone(zone).utcoffset()
        assert row["began"] == read["began"]
    table = list(csv.DictReader(io.StringIO(csv_text(rows, ALARM_COLUMNS), newline="")))
    assert [isoparse(line["ended"]) - isoparse(line["began"]) for line in table] == [timedelta(seconds=60)] * 3


@pytest.mark.parametrize("hours", [-1.0, 1.0, -24.0])
def test_a_clock_that_is_set_in_mid_alarm_changes_no_length(tmp_path: Path, hours: float) -> None:
    """How long it went on, and how long until somebody was woken, count by the clock that is never set.

    After it was set the wall times are those of the clock as it is then. An hour that comes twice is counted once.
    """
    one = replace(alarm(onset=20.0, last=27.0), raised=27.3)
    events: list[tuple[float, Event]] = [
        (27.3, Raised(27.3, one)),
        (120.0, Ended(120.0, replace(one, last=80.0, ended=80.0))),
    ]
    bedroom = Bedroom(tmp_path, [("sound", 60.0), ("set", 0.0), ("sound", 90.0)], events)
    bedroom.calls["set"] = lambda: setattr(bedroom.hand, "set_by", 3600 * hours)
    summary = bedroom.run()
    assert summary.seconds == pytest.approx(150.0, abs=0.2)
    with History(tmp_path) as history:
        (logged,), spans = history.alarms(), history.spans()
    assert logged.lasted == pytest.approx(60.0)
    assert logged.began == hand.BEGAN + timedelta(seconds=20)
    assert logged.ended == hand.BEGAN + timedelta(seconds=80, hours=hours)
    now = hand.BEGAN + timedelta(days=2)
    heard = listened(spans, hand.BEGAN - timedelta(days=2), now, now)
    assert heard.seconds >= 0
    assert bedroom.heard("The computer's clock was set by")
