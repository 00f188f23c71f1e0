"""What was asked of the history: alarms and spans of a period, and what is told with them."""

import re
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

from beepwatch.errors import InputError, RecordsError
from beepwatch.records.database import FILE, plainly
from beepwatch.records.entries import Found, LoggedCare, LoggedClip, Note, Pause, Technical, Tried
from beepwatch.records.listened import Listened, listened
from beepwatch.records.reading import History
from beepwatch.records.rows import Kind, LoggedAlarm, Span, stored
from beepwatch.records.store import default_folder
from beepwatch.settings.file import config_folder, data_set, load

WHEN = re.compile(
    r"\d{4}-\d{2}-\d{2}([T ](?P<hour>\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?)(?P<zone>Z|[+-]\d{2}:\d{2})?)?",
    re.ASCII | re.IGNORECASE,
)
"""A date, or a date-time of RFC 3339; seconds and zone may be left out."""
T = TypeVar("T")
EXAMPLES = "2026-03-01, 2026-03-01T22:00 or 2026-03-01T22:00:00+01:00"


@dataclass(frozen=True, slots=True)
class Log:
    """What was asked for: alarms and spans of one kind, and the hours they make."""

    kind: Kind
    alarms: Sequence[LoggedAlarm]
    spans: Sequence[Span]
    heard: Listened
    now: datetime
    found: dict[int, Found] = field(default_factory=dict)
    """By alarm."""
    notes: Sequence[Note] = ()
    tried: dict[int, list[Tried]] = field(default_factory=dict)
    """By alarm: tries to wake somebody."""
    clips: dict[int, list[LoggedClip]] = field(default_factory=dict)
    """By alarm; those whose file should be there."""
    technicals: Sequence[Technical] = ()
    pauses: Sequence[Pause] = ()
    care: Sequence[LoggedCare] = ()
    identity: str = ""
    """The hash of the history's first row: which history this is."""
    last: str = ""
    """The hash of its newest row."""

    def notes_on(self, alarm: LoggedAlarm) -> list[Note]:
        """The notes on one alarm."""
        return [note for note in self.notes if (note.about, note.about_id) == ("alarm", alarm.id)]


def data_of(data: Path | None, config: Path | None) -> Path:
    """The folder of the history: as given, as the settings have it, or the platform's own.

    Raises RecordsError where the folder given has no history.
    """
    if data is not None:
        with plainly(data):
            there = (data / FILE).exists()
        if not there:
            raise RecordsError(f"no history in {data}: name the folder that `beepwatch watch --data` was given")
        return data
    settings, _ = load(config_folder(config))
    folder = data_set(settings)
    return folder if folder is not None and (folder / FILE).exists() else default_folder()


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


def read(folder: Path, since: datetime | None, until: datetime | None, kind: Kind, now: datetime) -> Log:
    """The log of a period, empty where there is no history yet. Raises RecordsError."""
    with plainly(folder):
        there = (folder / FILE).exists()
    if there:
        with History(folder) as history, history.together():
            return _read(history, since, until, kind, now)
    end = min(until or now, now)
    start = min(since or end, end)
    return Log(kind, [], [], listened([], start, end, now), now)


def _read(history: History, since: datetime | None, until: datetime | None, kind: Kind, now: datetime) -> Log:
    spans = history.spans(since, until, kind)
    end = min(until or now, now)
    start = since or min([span.began for span in spans], default=end)
    ours = kind == "household"
    return Log(
        kind=kind,
        alarms=history.alarms(since, until, kind),
        spans=[span for span in spans if span.until >= start],
        heard=listened(spans, min(start, end), end, now),
        now=now,
        found=history.found(since, until),
        notes=history.notes_of_alarms(since, until),
        tried=_by_alarm(history.tries(since, until), lambda tried: tried.about_id),
        clips=_by_alarm(history.clips_of_alarms(since, until), lambda clip: clip.alarm),
        technicals=history.technicals(since, until) if ours else [],
        pauses=history.pauses(since, until) if ours else [],
        care=history.care(since, until) if ours else [],
        identity=history.first_hash(),
        last=history.last_hash(),
    )


def _by_alarm(things: Sequence[T], alarm: Callable[[T], int]) -> dict[int, list[T]]:
    found: dict[int, list[T]] = defaultdict(list)
    for thing in things:
        found[alarm(thing)].append(thing)
    return dict(found)
