"""What the history holds, as frozen values, and how times and figures are written into it.

A time is two columns: UTC as RFC 3339 text with microseconds (so that text order is time order) and the
minutes that the local clock was ahead of UTC (so that the hour on the bedside clock can be shown again).
"""

import math
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal, TypeAlias, get_args

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Priority

Kind: TypeAlias = Literal["household", "recording"]
"""Whose history a listening span belongs to; the two are never mixed."""
Change: TypeAlias = Literal["changed", "renamed"]
"""A new beep or a better figure; another name."""
NoteKind: TypeAlias = Literal[
    "woken", "acknowledged", "stopped", "again", "reminded", "paused", "resumed", "battery-changed"
]
"""Waking began; somebody answered; that its beeping had stopped was told; it beeped on after an answer and woke again;
somebody was reminded of it; a planned pause silenced it; that pause was over; somebody said that the battery is new."""

SNAPSHOT = "pattern, priority, onset, raised, ended, last, beeps, duration, period, frequency, confidence, why"
"""The columns that hold an `Alarm` as it stood, in the order of `snapshot`."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch inside a listening span in which nothing was heard."""

    began: datetime
    ended: datetime
    reason: str
    planned: str | None = None
    """What a planned pause was for; None for a gap that nobody wanted."""


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of listening, from the start of `watch` to its end."""

    id: int
    kind: Kind
    source: str
    began: datetime
    until: datetime
    """The last moment known to be listened to."""
    lost: float
    """Seconds of sound lost in pieces too short to be gaps."""
    closed: bool
    """False where it goes on still, or where a crash or a power loss ended it."""
    gaps: tuple[Gap, ...] = ()


@dataclass(frozen=True, slots=True)
class LoggedAlarm:
    """One alarm of the alarm log, as it stood last."""

    id: int
    span: int
    kind: Kind
    source: str
    began: datetime
    """Onset of its first beep."""
    raised: datetime
    ended: datetime | None
    """End of its last beep; None while it goes on, or where listening stopped before it ended."""
    state: Alarm
    woken_after: float | None
    """Seconds from `raised` until waking began; None if nobody was woken."""
    acknowledged_after: float | None
    """Seconds from `raised` until somebody answered; None if nobody did."""
    stopped_after: float | None
    """Seconds from `raised` until it was told that the beeping had stopped; None if it was not."""
    drill: bool = False
    """Whether it was a rehearsal."""
    answered_by: str | None = None
    """Who answered, as far as known."""
    answered_way: str | None = None
    """By what: "key", "page", "bedside", ..."""

    @property
    def lasted(self) -> float:
        """Seconds from its first beep to the end of its last so far, by the sound's own clock."""
        return self.state.last - self.state.onset


@dataclass(frozen=True, slots=True)
class LoggedState:
    """One row of what became of an alarm."""

    kind: str
    """"raised", "changed", "renamed", "ended", or a `NoteKind`."""
    at: datetime
    after: float | None
    """s since it was raised, by a clock that is never set; None where that was not measured."""
    who: str | None
    way: str | None
    pattern: str | None
    """What it was taken for then; None in a row that does not say."""
    beeps: int | None


@dataclass(frozen=True, slots=True)
class LoggedBeep:
    """One beep kept as evidence; `onset` in seconds of stream time of its span, Hz, dBFS, dB."""

    span: int
    onset: float
    duration: float
    frequency: float
    level: float
    snr: float


def stored(moment: datetime) -> tuple[str, int]:
    """Two columns of a time: UTC text and minutes ahead of UTC.

    moment: aware, any zone. Raises ValueError for a time without a zone: it could mean any hour.
    """
    offset = moment.utcoffset()
    if offset is None:
        raise ValueError(f"{moment} has no time zone: pass datetime.now().astimezone()")
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(timespec="microseconds") + "Z", round(offset.total_seconds() / 60)


def restored(text: str, offset: int) -> datetime:
    """The time that `stored` wrote, in a fixed zone of `offset` minutes. Raises RecordsError for a damaged one."""
    try:
        return datetime.fromisoformat(text).astimezone(timezone(timedelta(minutes=offset)))
    except (ValueError, TypeError, OverflowError) as error:
        raise RecordsError(
            f"the history holds a time that is none ({text!r}): `beepwatch history --verify` tells what is damaged"
        ) from error


def plain(text: str) -> str:
    """Text that SQLite can hold: bytes of a file name that are no UTF-8 become escapes."""
    return str(text).encode("utf-8", "backslashreplace").decode("utf-8")


def text(value: str | None) -> str | None:
    """As `plain`; None stays None."""
    return None if value is None else plain(value)


def number(value: float | None) -> float | None:
    """A plain float for SQLite, which knows no numpy numbers."""
    return None if value is None else float(value)


def one_of(value: str, kinds: object) -> str:
    """`value`, if the Literal type `kinds` (or one of a union of them) has it; raises ValueError that lists them."""
    known = [one for kind in get_args(kinds) for one in get_args(kind) or (kind,)]
    if value not in known:
        raise ValueError(f"unknown kind {value!r}: one of {', '.join(known)}")
    return value


def snapshot(alarm: Alarm) -> tuple[str | float | int | None, ...]:
    """The columns `SNAPSHOT` of an alarm as it stands."""
    return (
        plain(alarm.pattern), plain(alarm.priority), number(alarm.onset), number(alarm.raised),
        number(alarm.ended), number(alarm.last), int(alarm.beeps), number(alarm.duration),
        number(alarm.period), number(alarm.frequency), number(alarm.confidence), plain(alarm.why),
    )  # fmt: skip


def _figure(value: float | None) -> float:
    """A figure of a row; SQLite keeps a NaN as NULL."""
    return math.nan if value is None else value


def alarm_of(row: sqlite3.Row) -> Alarm:
    """The alarm in the columns `number` and `SNAPSHOT` of a row."""
    priority: Priority = row["priority"]
    return Alarm(
        number=row["number"], pattern=row["pattern"], priority=priority,
        onset=_figure(row["onset"]), raised=_figure(row["raised"]), ended=row["ended"],
        last=_figure(row["last"]), beeps=row["beeps"], duration=_figure(row["duration"]),
        period=row["period"], frequency=_figure(row["frequency"]), confidence=_figure(row["confidence"]),
        why=row["why"],
    )  # fmt: skip
