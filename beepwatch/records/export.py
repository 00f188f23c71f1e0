"""The alarm log and the hours listened as tables for other programs: dictionaries, JSON Lines, CSV. Pure.

Times are RFC 3339 with the offset of the household's clock at that time. Every alarm says that it was heard
by a listener: it is never the device's own record.
"""

import csv
import io
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TypeAlias

from beepwatch.records.listened import Listened
from beepwatch.records.rows import LoggedAlarm, Span

Value: TypeAlias = str | int | float | bool | None
Row: TypeAlias = dict[str, Value]

METHOD = "inferred from sound by a listener, not the device's own record"

ALARM_COLUMNS = (
    "record", "id", "source", "pattern", "priority", "began", "raised", "ended", "seconds", "beeps",
    "duration", "period", "frequency", "confidence", "woken_after", "acknowledged_after", "stopped_after",
    "why", "method",
)  # fmt: skip
LISTENING_COLUMNS = ("record", "source", "began", "ended", "seconds", "lost", "closed", "reason")


def alarm_row(alarm: LoggedAlarm) -> Row:
    """One alarm: times as RFC 3339, lengths in s, frequency in Hz; None where there is nothing to tell.

    `ended` is None where the end was not heard; `seconds` is how long it is known to have gone on.
    """
    state = alarm.state
    return {
        "record": "alarm",
        "id": alarm.id,
        "source": alarm.source,
        "pattern": state.pattern,
        "priority": state.priority,
        "began": rfc3339(alarm.began),
        "raised": rfc3339(alarm.raised),
        "ended": None if alarm.ended is None else rfc3339(alarm.ended),
        "seconds": _rounded(alarm.lasted),
        "beeps": state.beeps,
        "duration": _rounded(state.duration),
        "period": _rounded(state.period),
        "frequency": _rounded(state.frequency),
        "confidence": _rounded(state.confidence),
        "woken_after": _rounded(alarm.woken_after),
        "acknowledged_after": _rounded(alarm.acknowledged_after),
        "stopped_after": _rounded(alarm.stopped_after),
        "why": state.why,
        "method": METHOD,
    }


def listening_rows(spans: Sequence[Span], heard: Listened | None = None) -> Iterator[Row]:
    """Each listening span, whole, as it was written; then, with `heard`, each stretch not listened to.

    `closed` is False where the span goes on or broke off; `lost` s of it went in pieces too short for a gap.
    """
    for span in spans:
        yield {
            "record": "listening",
            "source": span.source,
            "began": rfc3339(span.began),
            "ended": rfc3339(span.until),
            "seconds": _rounded((span.until - span.began).total_seconds()),
            "lost": _rounded(span.lost),
            "closed": span.closed,
            "reason": None,
        }
    for gap in heard.gaps if heard is not None else ():
        yield {
            "record": "gap",
            "source": None,
            "began": rfc3339(gap.began),
            "ended": rfc3339(gap.ended),
            "seconds": _rounded((gap.ended - gap.began).total_seconds()),
            "lost": None,
            "closed": None,
            "reason": gap.reason,
        }


def jsonl(rows: Iterable[Row]) -> str:
    """One JSON object a line, in ASCII."""
    return "".join(json.dumps(row, allow_nan=False) + "\n" for row in rows)


def csv_text(rows: Iterable[Row], columns: Sequence[str]) -> str:
    """RFC 4180: a line of names, CRLF ends, quotes where needed; nothing is an empty field, true is `true`.

    A text that a spreadsheet would take for a formula gets an apostrophe before it.
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


def _rounded(value: float | None) -> float | None:
    """To the millisecond (or mHz); None for a figure that could not be told."""
    return round(value, 3) if value is not None and math.isfinite(value) else None


def _cell(value: Value) -> str | int | float | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return "'" + value
    return value
