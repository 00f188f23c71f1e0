"""`beepwatch history`: the alarm log, and the hours listened with each gap."""

import argparse
import io
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeAlias

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError, RecordsError
from beepwatch.records.database import FILE, plainly
from beepwatch.records.export import (
    ALARM_COLUMNS,
    LISTENING_COLUMNS,
    Row,
    alarm_row,
    csv_text,
    jsonl,
    listening_rows,
)
from beepwatch.records.listened import Listened, listened, still_listening
from beepwatch.records.reading import History
from beepwatch.records.rows import Kind, LoggedAlarm, Span, stored
from beepwatch.records.store import default_folder
from beepwatch.settings.file import config_folder, data_set, load

HELP = "the alarms heard, who was woken and answered, and the hours listened"
FORMATS = """formats:
  text   the alarms, then the hours listened with each gap
  jsonl  one JSON line an alarm: pattern, priority, began, ended (RFC 3339, null if its end was not heard),
         woken_after, acknowledged_after (seconds from raised, null if nobody), and more
  csv    the same as a table (RFC 4180)
  With --listening, jsonl and csv give the listening spans and the gaps instead of the alarms.
"""
USES = """examples:
  beepwatch history                                 all alarms, and the hours listened
  beepwatch history --since 2026-03-01              from that day on
  beepwatch history --format csv > alarms.csv       as a table
"""
WHEN = re.compile(
    r"\d{4}-\d{2}-\d{2}([T ](?P<hour>\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?)(?P<zone>Z|[+-]\d{2}:\d{2})?)?",
    re.ASCII | re.IGNORECASE,
)
"""A date, or a date-time of RFC 3339; seconds and zone may be left out."""
EXAMPLES = "2026-03-01, 2026-03-01T22:00 or 2026-03-01T22:00:00+01:00"

Clock: TypeAlias = Callable[[datetime], str]


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "history", help=HELP, description=f"Tell {HELP}.", epilog=f"{FORMATS}\n{USES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    when = "date or date-time (RFC 3339), local where it names no zone"
    verb.add_argument("--since", metavar="WHEN", help=f"from this {when}")
    verb.add_argument("--until", metavar="WHEN", help=f"to this {when}; a date counts to its end")
    verb.add_argument("--format", choices=("text", "csv", "jsonl"), default="text", help="default: text")
    verb.add_argument("--data", metavar="DIR", type=Path, help="folder of the history (default: this user's own)")
    verb.add_argument("--config", metavar="DIR", type=Path, help="folder of the settings")
    verb.add_argument("--recordings", action="store_true", help="recordings instead of the household's history")
    verb.add_argument("--listening", action="store_true", help="the hours listened instead of the alarms")
    verb.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class Log:
    """What was asked for: alarms and spans of one kind, and the hours they make."""

    kind: Kind
    alarms: Sequence[LoggedAlarm]
    spans: Sequence[Span]
    heard: Listened
    now: datetime


def run(arguments: argparse.Namespace) -> int:
    """Print the log; returns 0. Raises InputError for a bad time, RecordsError for no such history."""
    now = datetime.now().astimezone()
    since = None if arguments.since is None else moment("--since", arguments.since)
    until = None if arguments.until is None else moment("--until", arguments.until, to_the_end=True)
    if since is not None and since >= (min(until, now) if until else now):
        raise InputError(f"--since {arguments.since} is not before {'--until and ' if until else ''}now")
    kind: Kind = "recording" if arguments.recordings else "household"
    log = read(arguments.data or _set_folder(arguments.config), since, until, kind, now)
    if arguments.format == "text":
        print("\n".join(text(log, alarms=not arguments.listening)))
    else:
        _print_table(log, arguments.format, arguments.listening)
    return 0


def _set_folder(config: Path | None) -> Path | None:
    """The folder of the history as the settings have it, once there is a history; None: the platform's own."""
    settings, _ = load(config_folder(config))
    folder = data_set(settings)
    return folder if folder is not None and (folder / FILE).exists() else None


def moment(option: str, given: str, to_the_end: bool = False) -> datetime:
    """The time that `given` names: an RFC 3339 date-time or a date (its start, or `to_the_end` its end).

    Without a zone it is local. Raises InputError that names the option.
    """
    found = WHEN.fullmatch(given.strip())
    try:
        if found is not None:
            return _moment(found, to_the_end)
    except (ValueError, OverflowError, OSError):  # no such day, or beyond what the system's clock can tell
        pass
    raise InputError(f"{option} {given!r} is no date: write it like {EXAMPLES}")


def _moment(found: re.Match[str], to_the_end: bool) -> datetime:
    start = datetime.fromisoformat(found.group().upper())
    if to_the_end and not found["hour"]:
        start += timedelta(days=1)
    stored(start.astimezone())  # refuses what has no UTC
    return start if found["zone"] else start.astimezone()


def read(folder: Path | None, since: datetime | None, until: datetime | None, kind: Kind, now: datetime) -> Log:
    """The log of a period, empty where nothing was listened to; RecordsError if `folder` has no history."""
    alarms: list[LoggedAlarm] = []
    spans: list[Span] = []
    path = (folder or default_folder()) / FILE
    with plainly(path):
        there = path.exists()
    if there:
        with History(path.parent) as history:
            alarms, spans = history.alarms(since, until, kind), history.spans(since, until, kind)
    elif folder is not None:
        raise RecordsError(f"no history in {folder}: name the folder that `beepwatch watch --data` was given")
    end = min(until or now, now)
    start = since or min([span.began for span in spans], default=end)
    heard = listened(spans, min(start, end), end, now)
    return Log(kind, alarms, [span for span in spans if span.until >= start], heard, now)


def text(log: Log, alarms: bool = True) -> Iterator[str]:
    """The log as lines for a person; `alarms` False leaves the hours alone."""
    shown = [alarm.began for alarm in log.alarms] + [gap.began for gap in log.heard.gaps]
    clock = _clock([*shown, *(gap.ended for gap in log.heard.gaps), log.heard.since, log.heard.until])
    if alarms:
        for alarm in log.alarms:
            yield from _alarm_lines(alarm, log, clock)
            yield ""
    yield from _recordings(log, clock) if log.kind == "recording" else _hours(log, clock)
    yield ""
    yield CAUTION


def _alarm_lines(alarm: LoggedAlarm, log: Log, clock: Clock) -> Iterator[str]:
    name = printable(alarm.state.pattern.replace("-", " "))
    source = f" in {printable(alarm.source)}" if log.kind == "recording" else ""
    yield f"{clock(alarm.began)}  {name}, {alarm.state.priority} priority{source}"
    yield f"    {_how_long(alarm, log)}"
    yield f"    {_who(alarm)}"
    yield f"    {printable(alarm.state.why)}"


def _how_long(alarm: LoggedAlarm, log: Log) -> str:
    lasted = length(alarm.lasted)
    if alarm.ended is not None:
        return f"went on for {lasted}"
    span = next((span for span in log.spans if span.id == alarm.span), None)
    if span is not None and still_listening(span, log.now):
        return f"going on: {lasted} so far"
    return f"its end was not heard; it had gone on for {lasted} when listening stopped"


def _who(alarm: LoggedAlarm) -> str:
    woken, answered = alarm.woken_after, alarm.acknowledged_after
    told = "nobody was woken" if woken is None else f"woken {_after(woken)}"
    told += ", nobody answered" if answered is None else f", answered {_after(answered)}"
    if alarm.stopped_after is not None:
        told += f"; the beeping stopped unanswered {_after(alarm.stopped_after)}"
    return told


def _after(seconds: float) -> str:
    return "within 1 s" if seconds < 1 else f"after {length(seconds)}"


def _hours(log: Log, clock: Clock) -> Iterator[str]:
    """Alarms counted only together with the hours listened; then each gap."""
    heard = log.heard
    if heard.seconds <= 0:
        yield "Nothing was listened to in this time, so nothing can be said about alarms."
        yield "`beepwatch watch` listens."
    else:
        whole = (heard.until - heard.since).total_seconds()
        yield f"From {clock(heard.since)} to {clock(heard.until)}:"
        told = _count(len(log.alarms))
        yield f"  listened {length(heard.seconds)} of {length(whole)}; {told} heard in that time"
    if heard.lost > 0:
        yield f"  {length(heard.lost)} of sound was lost in short pieces"
    for gap in heard.gaps:
        yield f"  not listening from {clock(gap.began)} to {clock(gap.ended)}: {printable(gap.reason)}"
    if heard.now:
        yield "  listening now"


def _recordings(log: Log, clock: Clock) -> Iterator[str]:
    if not log.spans:
        yield "No recordings were listened to in this time, so nothing can be said about alarms."
        return
    yield f"Recordings heard: {len(log.spans)}; {_count(len(log.alarms))} in them"
    for span in log.spans:
        went = (span.until - span.began).total_seconds()
        broke_off = "" if span.closed or still_listening(span, log.now) else ", not to its end"
        yield f"  {clock(span.began)}  {printable(span.source)}: {length(went)}{broke_off}"


def _count(alarms: int) -> str:
    return {0: "no alarms", 1: "1 alarm"}.get(alarms, f"{alarms} alarms")


def _clock(moments: Iterable[datetime]) -> Clock:
    """How to write times: as the clock by the bed showed them, with the offset if they have more than one."""
    several = len({moment.utcoffset() for moment in moments}) > 1

    def tell(moment: datetime) -> str:
        offset = f" {moment.isoformat()[-6:]}" if several else ""
        return f"{moment:%a} {moment.day} {moment:%b %Y, %H:%M:%S}{offset}"

    return tell


def length(seconds: float) -> str:
    """A length of time in its two largest units; parts of the smaller one are not counted."""
    if not seconds >= 0:  # a NaN, or a clock that was set back
        return "an unknown time"
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s" if whole else "under 1 s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole // 60 % 60} min"


def printable(given: str) -> str:
    """Text without characters that could steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in given)


def _print_table(log: Log, form: str, listening: bool) -> None:
    """The rows on standard output; what a person must know with them on standard error."""
    rows: Iterable[Row] = map(alarm_row, log.alarms)
    if listening:
        rows = listening_rows(log.spans, log.heard if log.kind == "household" else None)
    columns = LISTENING_COLUMNS if listening else ALARM_COLUMNS
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(newline="", errors="backslashreplace")  # CSV has line ends of its own
    sys.stdout.write(csv_text(rows, columns) if form == "csv" else jsonl(rows))
    if not log.alarms and not listening:
        heard = length(log.heard.seconds) if log.heard.seconds > 0 else "no time"
        print(f"beepwatch: no alarms; listened for {heard} (--listening tells when)", file=sys.stderr)
    if sys.stderr.isatty():
        print(CAUTION, file=sys.stderr)
