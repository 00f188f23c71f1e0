"""The alarm log and the hours listened as tables for other programs: dictionaries, JSON Lines, CSV. Pure.

Times are RFC 3339 with the offset of the household's clock at that time, and once more in UTC. Every alarm says that
it was heard by a listener: it is never the device's own record. Names and people's own words stay in the house unless
`With` lets them out.
"""

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TypeAlias

from beepwatch.records.entries import Found, LoggedCare, Note, Pause, Technical, Tried
from beepwatch.records.listened import Listened
from beepwatch.records.rows import LoggedAlarm, Span

Value: TypeAlias = str | int | float | bool | None
Row: TypeAlias = dict[str, Value]

OUR_ROUTINES = ("battery", "exit-site")
"""Names of routines that are no words of a person."""
OUR_REASONS = ("rhythm", "damp", "dirty", "alarm")
"""Reasons of a care entry that are no words of a person."""
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What a spreadsheet may take for the beginning of a formula, full-width forms too (OWASP, CSV Injection)."""
CELL = 32_000
"""Letters of a field: a cell of a spreadsheet holds 32 767 (Excel's stated limit); JSON Lines give all."""
CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
METHOD = "inferred from sound by a listener, not the device's own record"

ALARM_COLUMNS = (
    "record", "id", "source", "pattern", "priority", "began", "raised", "ended", "began_utc", "ended_utc", "seconds",
    "beeps", "duration", "period", "frequency", "confidence", "woken_after", "acknowledged_after", "acknowledged_by",
    "acknowledged_way", "stopped_after", "drill", "found", "notes", "why", "method",
)  # fmt: skip
LISTENING_COLUMNS = (
    "record", "source", "began", "ended", "began_utc", "ended_utc", "seconds", "lost", "closed", "reason", "planned",
)  # fmt: skip
TECHNICAL_COLUMNS = (
    "record", "id", "cause", "priority", "began", "raised", "ended", "began_utc", "ended_utc", "seconds",
    "acknowledged", "acknowledged_by", "acknowledged_way", "why",
)  # fmt: skip
PAUSE_COLUMNS = (
    "record", "id", "purpose", "began", "planned", "ended", "began_utc", "ended_utc", "seconds", "ended_by", "who",
)  # fmt: skip
TRIED_COLUMNS = ("record", "id", "alarm", "at", "at_utc", "after", "step", "way", "who", "ok", "detail")
CARE_COLUMNS = ("record", "id", "routine", "kind", "at", "at_utc", "due", "hours", "reason", "alarm", "who")


@dataclass(frozen=True, slots=True)
class With:
    """What goes out of the house besides times and figures."""

    names: bool = False
    """Who answered or entered it, and the name of the microphone."""
    notes: bool = False
    """People's own words."""


def alarm_row(alarm: LoggedAlarm, extra: With = With(), found: Found | None = None, notes: Sequence[Note] = ()) -> Row:
    """One alarm: times as RFC 3339, lengths in s, frequency in Hz; None where there is nothing to tell.

    `ended` is None where the end was not heard; `seconds` is how long it is known to have gone on. found, notes: what
    people said about it.
    """
    state = alarm.state
    return {
        "record": "alarm",
        "id": alarm.id,
        "source": alarm.source if extra.names or alarm.kind == "recording" else None,
        "pattern": state.pattern,
        "priority": state.priority,
        "began": rfc3339(alarm.began),
        "raised": rfc3339(alarm.raised),
        **_end(alarm.began, alarm.ended),
        "seconds": _rounded(alarm.lasted),
        "beeps": state.beeps,
        "duration": _rounded(state.duration),
        "period": _rounded(state.period),
        "frequency": _rounded(state.frequency),
        "confidence": _rounded(state.confidence),
        "woken_after": _rounded(alarm.woken_after),
        "acknowledged_after": _rounded(alarm.acknowledged_after),
        "acknowledged_by": alarm.answered_by if extra.names else None,
        "acknowledged_way": alarm.answered_way,
        "stopped_after": _rounded(alarm.stopped_after),
        "drill": alarm.drill,
        "found": None if found is None else found.what,
        "notes": "\n\n".join(note.text for note in notes if note.text) or None if extra.notes else None,
        "why": state.why,
        "method": METHOD,
    }


def listening_rows(spans: Sequence[Span], heard: Listened | None = None, extra: With = With()) -> Iterator[Row]:
    """Each listening span, whole, as it was written; then, with `heard`, each stretch not listened to.

    `closed` is False where the span goes on or broke off; `lost` s of it went in pieces too short for a gap;
    `planned` says what a pause was for.
    """
    for span in spans:
        yield {
            "record": "listening",
            "source": span.source if extra.names or span.kind == "recording" else None,
            "began": rfc3339(span.began),
            **_end(span.began, span.until),
            "seconds": _rounded((span.until - span.began).total_seconds()),
            "lost": _rounded(span.lost),
            "closed": span.closed,
            "reason": None,
            "planned": None,
        }
    for gap in heard.gaps if heard is not None else ():
        yield {
            "record": "gap",
            "source": None,
            "began": rfc3339(gap.began),
            **_end(gap.began, gap.ended),
            "seconds": _rounded((gap.ended - gap.began).total_seconds()),
            "lost": None,
            "closed": None,
            "reason": gap.reason,
            "planned": gap.planned,
        }


def technical_row(one: Technical, extra: With = With()) -> Row:
    """One technical alarm: when beepwatch could not hear, or not wake anybody."""
    return {
        "record": "technical",
        "id": one.id,
        "cause": one.cause,
        "priority": one.priority,
        "began": rfc3339(one.began),
        "raised": rfc3339(one.raised),
        **_end(one.began, one.ended),
        "seconds": None if one.ended is None else _rounded((one.ended - one.began).total_seconds()),
        "acknowledged": None if one.answered is None else rfc3339(one.answered),
        "acknowledged_by": one.answered_by if extra.names else None,
        "acknowledged_way": one.answered_way,
        "why": one.why,
    }


def tried_row(tried: Tried, extra: With = With()) -> Row:
    """One try to wake somebody; `detail`, words of a way that failed, may hold a name, so it goes with the names."""
    attempt = tried.attempt
    return {
        "record": "tried",
        "id": tried.id,
        "alarm": tried.about_id,
        "at": rfc3339(tried.at),
        "at_utc": _utc(tried.at),
        "after": _rounded(attempt.after),
        "step": attempt.step,
        "way": attempt.way,
        "who": attempt.who if extra.names else None,
        "ok": attempt.ok,
        "detail": attempt.detail if extra.names else None,
    }


def pause_row(pause: Pause, extra: With = With()) -> Row:
    """One planned pause; `ended` is None where no end was written: then it counts to `planned`."""
    return {
        "record": "pause",
        "id": pause.id,
        "purpose": pause.purpose,
        "began": rfc3339(pause.began),
        "planned": rfc3339(pause.planned),
        **_end(pause.began, pause.ended),
        "seconds": _rounded((pause.until - pause.began).total_seconds()),
        "ended_by": pause.how,
        "who": pause.who if extra.names else None,
    }


def care_row(care: LoggedCare, extra: With = With()) -> Row:
    """One entry of a care routine; `routine` and `reason` that are words of the family go with the notes."""
    event = care.event
    return {
        "record": "care",
        "id": care.id,
        "routine": routine(event.routine, extra),
        "kind": event.kind,
        "at": rfc3339(event.at),
        "at_utc": _utc(event.at),
        "due": None if event.due is None else rfc3339(event.due),
        "hours": _rounded(event.hours),
        "reason": event.reason if extra.notes or event.reason in OUR_REASONS else None,
        "alarm": event.alarm,
        "who": event.who if extra.names else None,
    }


def routine(name: str, extra: With) -> str:
    """A routine's name as it may go out: one of the family's own is "own" unless notes are let out."""
    return name if extra.notes or name in OUR_ROUTINES else "own"


def jsonl(rows: Iterable[Row]) -> str:
    """One JSON object a line, in ASCII."""
    return "".join(json.dumps(row, allow_nan=False) + "\n" for row in rows)


def csv_text(rows: Iterable[Row], columns: Sequence[str]) -> str:
    """RFC 4180: a line of names, CRLF ends, quotes where needed; nothing is an empty field, true is `true`.

    A text that a spreadsheet would take for a formula gets an apostrophe before it; control characters, which RFC 4180
    has no place for, become U+FFFD; a very long text is cut.
    """
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(columns)
    for row in rows:
        table.writerow([_cell(row[column]) for column in columns])
    return text.getvalue()


def rfc3339(moment: datetime) -> str:
    """To the millisecond, with the offset of its own zone."""
    return moment.isoformat(timespec="milliseconds")


def _end(began: datetime, ended: datetime | None) -> Row:
    """The columns of an end, and both times in UTC."""
    return {
        "ended": None if ended is None else rfc3339(ended),
        "began_utc": _utc(began),
        "ended_utc": None if ended is None else _utc(ended),
    }


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _rounded(value: float | None) -> float | None:
    """To the millisecond (or mHz); None for a figure that could not be told."""
    return round(value, 3) if value is not None and math.isfinite(value) else None


def _cell(value: Value) -> str | int | float | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, str):
        return value
    clean = CONTROL.sub("\ufffd", value if len(value) <= CELL else value[:CELL] + " ...")
    return "'" + clean if clean.startswith(FORMULA) else clean
