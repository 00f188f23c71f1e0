"""The tables for other programs, read back by parsers that are not ours."""

import csv
import io
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import msgspec
import pytest

from beepwatch.events import Alarm
from beepwatch.records.export import (
    ALARM_COLUMNS,
    LISTENING_COLUMNS,
    alarm_row,
    csv_text,
    jsonl,
    listening_rows,
)
from beepwatch.records.listened import listened
from beepwatch.records.rows import Gap, LoggedAlarm, Span

CET = timezone(timedelta(hours=1))
BEGAN = datetime(2026, 3, 29, 1, 59, 58, 250_000, tzinfo=CET)


class Line(msgspec.Struct):
    """What a reader of the contract expects; msgspec parses the times as RFC 3339 by itself."""

    record: str
    pattern: str
    priority: str
    began: datetime
    ended: datetime | None
    woken_after: float | None
    acknowledged_after: float | None


@pytest.fixture
def logged(over: Alarm) -> LoggedAlarm:
    return LoggedAlarm(
        id=7, span=3, kind="household", source="USB microphone", began=BEGAN,
        raised=BEGAN + timedelta(seconds=11.5),
        ended=(BEGAN + timedelta(seconds=196.2)).astimezone(timezone(timedelta(hours=2))),
        state=over, woken_after=0.4, acknowledged_after=None, stopped_after=None,
    )  # fmt: skip


def test_json_lines_are_read_back_by_another_parser(logged: LoggedAlarm) -> None:
    """Offsets are those of the clock by the bed, before and after the change to summer time."""
    text = jsonl(map(alarm_row, (logged, replace(logged, ended=None))))
    one, two = (msgspec.json.decode(line, type=Line) for line in text.splitlines())
    assert '"began": "2026-03-29T01:59:58.250+01:00"' in text
    assert '"ended": "2026-03-29T03:03:14.450+02:00"' in text
    assert (one.record, one.pattern, one.priority) == ("alarm", "lead-disconnect", "high")
    assert one.began == BEGAN
    assert one.ended == logged.ended
    assert (one.woken_after, one.acknowledged_after) == (0.4, None)
    assert two.ended is None


def test_figures_that_are_no_number_are_null(logged: LoggedAlarm) -> None:
    """JSON knows no NaN."""
    unknown = replace(logged, state=replace(logged.state, confidence=float("nan"), last=float("nan")))
    row = alarm_row(unknown)
    assert (row["confidence"], row["seconds"]) == (None, None)
    assert "NaN" not in jsonl([row])


def test_a_csv_is_read_back_with_every_field_in_its_place(logged: LoggedAlarm) -> None:
    """RFC 4180: CRLF after each line, quotes round commas, quotes doubled, line breaks kept."""
    nasty = 'mic, the "good"\r\none'
    text = csv_text(map(alarm_row, (replace(logged, source=nasty), logged)), ALARM_COLUMNS)
    lines = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert text.endswith("\r\n")
    assert lines[0]["source"] == nasty
    assert lines[1] == {name: "" if value is None else str(value) for name, value in alarm_row(logged).items()}


def test_a_csv_gives_a_spreadsheet_no_formula(logged: LoggedAlarm) -> None:
    """A recording's name may be anything."""
    text = csv_text([alarm_row(replace(logged, source="=1+1"))], ALARM_COLUMNS)
    (line,) = csv.DictReader(io.StringIO(text, newline=""))
    assert line["source"] == "'=1+1"


def test_listening_spans_and_gaps_are_a_list_of_their_own() -> None:
    """Each span as it was written, then every stretch not listened to."""
    end = BEGAN + timedelta(hours=8)
    gap = Gap(BEGAN + timedelta(hours=1), BEGAN + timedelta(hours=2), "microphone unplugged")
    night = Span(1, "household", "USB microphone", BEGAN, end, 0.25, False, (gap,))
    rows = list(listening_rows([night], listened([night], BEGAN, end, end + timedelta(days=1))))
    assert [(row["record"], row["seconds"], row["reason"]) for row in rows] == [
        ("listening", 28800.0, None),
        ("gap", 3600.0, "microphone unplugged"),
    ]
    lines = list(csv.DictReader(io.StringIO(csv_text(rows, LISTENING_COLUMNS), newline="")))
    assert [line["closed"] for line in lines] == ["false", ""]
    assert [line["lost"] for line in lines] == ["0.25", ""]
