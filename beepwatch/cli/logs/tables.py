"""The history as tables for other programs, on standard output."""

import io
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias

from beepwatch import __version__
from beepwatch.cli import CAUTION
from beepwatch.cli.logs.log import Log
from beepwatch.cli.logs.text import length
from beepwatch.records import export
from beepwatch.records.export import Row, With

Rows: TypeAlias = Callable[[Log, With], Iterable[Row]]


def _alarms(log: Log, extra: With) -> Iterable[Row]:
    return (export.alarm_row(one, extra, log.found.get(one.id), log.notes_on(one)) for one in log.alarms)


def _tried(log: Log, extra: With) -> Iterable[Row]:
    return (export.tried_row(one, extra) for alarm in log.alarms for one in log.tried.get(alarm.id, ()))


def _listening(log: Log, extra: With) -> Iterable[Row]:
    return export.listening_rows(log.spans, log.heard if log.kind == "household" else None, extra)


TABLES: dict[str, tuple[Sequence[str], Rows]] = {
    "alarms": (export.ALARM_COLUMNS, _alarms),
    "tried": (export.TRIED_COLUMNS, _tried),
    "listening": (export.LISTENING_COLUMNS, _listening),
    "technical": (
        export.TECHNICAL_COLUMNS,
        lambda log, extra: (export.technical_row(o, extra) for o in log.technicals),
    ),
    "pauses": (export.PAUSE_COLUMNS, lambda log, extra: (export.pause_row(one, extra) for one in log.pauses)),
    "care": (export.CARE_COLUMNS, lambda log, extra: (export.care_row(one, extra) for one in log.care)),
}
"""Columns and rows of each table, by the name that --of takes."""
OF = tuple(TABLES)


def print_table(log: Log, form: str, of: str, *, names: bool, notes: bool) -> None:
    """The rows on standard output; what a person must know with them on standard error."""
    columns, rows = TABLES[of]
    made = rows(log, With(names, notes))
    _write(export.csv_text(made, columns) if form == "csv" else export.jsonl(made))
    if not log.alarms and of == "alarms":
        heard = length(log.heard.seconds) if log.heard.seconds > 0 else "no time"
        print(f"beepwatch: no alarms; listened for {heard} (--listening tells when)", file=sys.stderr)
    _caution()


def print_bundle(log: Log, *, names: bool, notes: bool) -> None:
    """The bundle of FHIR on standard output."""
    from beepwatch.records.fhir import Told, bundle  # noqa: PLC0415

    told = Told(
        alarms=log.alarms, technicals=log.technicals, pauses=log.pauses, care=log.care, found=log.found,
        notes=log.notes, heard=log.heard,
    )  # fmt: skip
    made = bundle(told, log.identity, log.now, With(names, notes), version=__version__, caution=CAUTION)
    _write(json.dumps(made, indent=1, allow_nan=False) + "\n")
    _caution()


def _write(text: str) -> None:
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(newline="", errors="backslashreplace")  # CSV has line ends of its own
    sys.stdout.write(text)


def _caution() -> None:
    if sys.stderr.isatty():
        print(CAUTION, file=sys.stderr)
