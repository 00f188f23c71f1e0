"""The tables for other programs, read back by parsers that are not ours."""

import csv
import io
import json
import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import msgspec
import pytest
from dateutil.parser import isoparse

from beepwatch.events import Alarm
from beepwatch.records.entries import Attempt, CareEvent, Found, LoggedCare, Note, Tried
from beepwatch.records.export import (
    ALARM_COLUMNS,
    LISTENING_COLUMNS,
    With,
    alarm_row,
    care_row,
    csv_text,
    jsonl,
    listening_rows,
    tried_row,
)
from beepwatch.records.listened import listened
from beepwatch.records.rows import Gap, LoggedAlarm, Span
from tests.npm import node, package
from tests.records.hostile import HOSTILE, IDS

CET = timezone(timedelta(hours=1))
BEGAN = datetime(2026, 3, 29, 1, 59, 58, 250_000, tzinfo=CET)


PARSE = """
const papa = require('papaparse'); const text = require('fs').readFileSync(process.argv[1], 'utf8');
console.log(JSON.stringify(papa.parse(text, {header: true, newline: '\\r\\n', skipEmptyLines: true})));
"""


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
    rows = [alarm_row(one, With(names=True)) for one in (replace(logged, source=nasty), logged)]
    text = csv_text(rows, ALARM_COLUMNS)
    lines = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert text.endswith("\r\n")
    assert lines[0]["source"] == nasty
    shown = {None: "", False: "false", True: "true"}
    assert lines[1] == {name: shown.get(value, str(value)) for name, value in rows[1].items()}  # type: ignore[arg-type]


def test_names_and_notes_stay_in_the_house(logged: LoggedAlarm) -> None:
    """Until they are asked for, each by itself; dates stay."""
    alarm = replace(logged, acknowledged_after=3.0, answered_by="Anna", answered_way="page")
    note = Note(1, "alarm", 7, BEGAN, "Anna", "Sam had slipped off the pillow")
    bare = jsonl([alarm_row(alarm, With(), None, [note])])
    assert not [word for word in ("Anna", "Sam", "USB") if word in bare]
    assert "2026-03-29T01:59:58.250+01:00" in bare
    assert "Sam" not in jsonl([alarm_row(alarm, With(names=True), None, [note])])
    full = alarm_row(alarm, With(names=True, notes=True), Found(1, 7, "cable", BEGAN, None), [note])
    assert (full["acknowledged_by"], full["source"], full["found"]) == ("Anna", "USB microphone", "cable")
    assert full["notes"] == "Sam had slipped off the pillow"


def test_a_routine_of_the_familys_own_is_words_of_theirs() -> None:
    """Its name goes out with the notes only; so does a reason in their words, and whom a way was meant for."""
    own = LoggedCare(1, CareEvent("sam's inhaler", "done", BEGAN, reason="Anna said so"))
    assert (care_row(own)["routine"], care_row(own)["reason"]) == ("own", None)
    assert care_row(own, With(notes=True))["routine"] == "sam's inhaler"
    assert care_row(LoggedCare(1, CareEvent("exit-site", "done", BEGAN, reason="damp")))["routine"] == "exit-site"
    tried = Tried(1, "alarm", 7, BEGAN, Attempt("page", ok=False, who="Anna", detail="Anna's phone is off", step=2))
    assert "Anna" not in jsonl([tried_row(tried)])
    assert tried_row(tried, With(names=True))["detail"] == "Anna's phone is off"


def test_times_in_utc_are_the_same_moments(logged: LoggedAlarm) -> None:
    """Read by another parser."""
    row = alarm_row(logged)
    assert row["began_utc"] == "2026-03-29T00:59:58.250Z"
    assert isoparse(str(row["began_utc"])) == isoparse(str(row["began"])) == logged.began
    assert isoparse(str(row["ended_utc"])) == isoparse(str(row["ended"])) == logged.ended


@pytest.mark.parametrize("note", HOSTILE, ids=IDS)
def test_a_hostile_note_is_harmless(logged: LoggedAlarm, note: str) -> None:
    """In CSV one field of one line, no formula, no NUL; in JSON the very text again."""
    row = alarm_row(logged, With(notes=True), None, [Note(1, "alarm", 7, BEGAN, None, note)])
    table = csv_text([row, row], ALARM_COLUMNS)
    one, two = csv.DictReader(io.StringIO(table, newline=""), strict=True)
    assert one == two
    shown = note if len(note) < 32_000 else note[:32_000] + " ..."
    assert one["notes"].removeprefix("'") == re.sub("[\x00\x07\x1b]", "\ufffd", shown)
    assert not one["notes"].startswith(("=", "@", "\uff1d"))
    assert json.loads(jsonl([row]))["notes"] == note


def test_a_csv_is_read_by_a_parser_that_is_not_pythons(logged: LoggedAlarm) -> None:
    """PapaParse, which follows RFC 4180: the same fields in the same places, every hostile note among them."""
    notes = [note for note in HOSTILE if len(note) < 1000]
    rows = [alarm_row(logged, With(notes=True), None, [Note(1, "alarm", 7, BEGAN, None, note)]) for note in notes]
    table = csv_text(rows, ALARM_COLUMNS)
    read = json.loads(node(package("papaparse", "5.5.3"), PARSE, table))
    assert read["errors"] == []
    assert read["meta"]["fields"] == list(ALARM_COLUMNS)
    assert read["data"] == list(csv.DictReader(io.StringIO(table, newline=""), strict=True))


def test_a_csv_gives_a_spreadsheet_no_formula(logged: LoggedAlarm) -> None:
    """A recording's name may be anything."""
    text = csv_text([alarm_row(replace(logged, source="=1+1"), With(names=True))], ALARM_COLUMNS)
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
