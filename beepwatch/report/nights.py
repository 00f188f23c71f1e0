"""Nights from noon to noon by the clock of the house, over changes of that clock, and what was heard in each. Pure."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from beepwatch.events import Priority
from beepwatch.records.listened import NOT_RUNNING, Listened
from beepwatch.records.rows import Gap, LoggedAlarm

NOON = time(12)
RANK: dict[Priority, int] = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Period:
    """Whole nights, named by the evening on which each begins."""

    first: date
    last: date
    zone: tzinfo | None = None
    """Of the house; None: this computer's."""

    @property
    def nights(self) -> int:
        """How many."""
        return (self.last - self.first).days + 1

    @property
    def since(self) -> datetime:
        """Noon of the first day, UTC."""
        return noon(self.first, self.zone)

    @property
    def until(self) -> datetime:
        """Noon of the day after the last, UTC."""
        return noon(self.last + timedelta(days=1), self.zone)

    @property
    def before(self) -> "Period":
        """As many nights before it."""
        return Period(self.first - timedelta(days=self.nights), self.first - timedelta(days=1), self.zone)

    def day(self, moment: datetime) -> date:
        """The evening of the night in which a moment falls."""
        return (local(moment, self.zone) - timedelta(hours=12)).date()

    def hour(self, moment: datetime, night: date) -> float:
        """Hours from noon of `night` to a moment, as the clock on the wall shows them."""
        return (local(moment, self.zone) - datetime.combine(night, NOON)).total_seconds() / 3600


@dataclass(frozen=True, slots=True)
class Mark:
    """An alarm in the picture of a night."""

    alarm: int
    pattern: str
    priority: Priority
    begin: float
    """Hours from noon."""
    hours: float


@dataclass(frozen=True, slots=True)
class Hole:
    """A stretch of a night that nobody wanted unheard."""

    began: datetime
    seconds: float
    reason: str


@dataclass(frozen=True, slots=True)
class Night:
    """One night."""

    day: date
    seconds: float
    """Heard."""
    paused: float
    """Seconds of planned pauses."""
    holes: tuple[Hole, ...]
    heard: tuple[tuple[float, float], ...]
    """Hours from noon, by the clock on the wall."""
    pauses: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]
    length: float
    """Hours from noon to noon: 24 but for nights in which the clocks change."""

    @property
    def worst(self) -> Hole | None:
        """The longest hole."""
        return max(self.holes, key=lambda hole: hole.seconds, default=None)

    @property
    def kinds(self) -> tuple[tuple[str, int], ...]:
        """(pattern, how many), the most urgent first."""
        names = [mark.pattern for mark in self.marks]
        rank = {mark.pattern: RANK[mark.priority] for mark in self.marks}
        kinds = ((one, names.count(one)) for one in rank)
        return tuple(sorted(kinds, key=lambda kind: (rank[kind[0]], -kind[1], kind[0])))


def noon(day: date, zone: tzinfo | None) -> datetime:
    """Noon of a day there, in UTC: differences of such times are lengths that no change of a clock alters."""
    naive = datetime.combine(day, NOON)
    return (naive.astimezone(UTC) if zone is None else naive.replace(tzinfo=zone)).astimezone(UTC)


def local(moment: datetime, zone: tzinfo | None) -> datetime:
    """The wall time there, without a zone."""
    return moment.astimezone(zone).replace(tzinfo=None)


def nights(period: Period, heard: Listened, alarms: Sequence[LoggedAlarm]) -> tuple[Night, ...]:
    """Each night of the period that has begun by `heard.until`. heard: of the period; alarms: without drills."""
    begun = [gap.began for gap in heard.gaps]
    ended = [gap.ended for gap in heard.gaps]
    share = heard.lost / (heard.seconds + heard.lost) if heard.lost else 0.0
    by_day: dict[date, list[LoggedAlarm]] = {}
    for alarm in alarms:
        by_day.setdefault(period.day(alarm.began), []).append(alarm)
    found = []
    for count in range(period.nights):
        day = period.first + timedelta(days=count)
        since = noon(day, period.zone)
        whole = noon(day + timedelta(days=1), period.zone)
        until = min(whole, heard.until)
        if since >= until:
            break
        gaps = heard.gaps[bisect_right(ended, since) : bisect_left(begun, until)]
        cut = [Gap(max(gap.began, since), min(gap.ended, until), gap.reason, gap.planned) for gap in gaps]
        marks = tuple(_mark(period, day, alarm) for alarm in by_day.get(day, ()))
        length = (whole - since).total_seconds() / 3600
        found.append(_night(period, day, (since, until), cut, marks=marks, share=share, length=length))
    return tuple(found)


def _night(
    period: Period, day: date, ends: tuple[datetime, datetime], gaps: Sequence[Gap],
    *, marks: tuple[Mark, ...], share: float, length: float,
) -> Night:  # fmt: skip
    pieces = list(_between(gaps, *ends))
    seconds = sum((end - begin).total_seconds() for begin, end in pieces) * (1 - share)
    paused = [gap for gap in gaps if gap.planned is not None]
    return Night(
        day=day, seconds=seconds, paused=sum(_seconds(gap) for gap in paused),
        holes=tuple(Hole(gap.began, _seconds(gap), gap.reason) for gap in gaps if _counts(gap, pieces)),
        heard=_hours(period, day, pieces), pauses=_hours(period, day, ((gap.began, gap.ended) for gap in paused)),
        marks=marks, length=length,
    )  # fmt: skip


def _between(gaps: Sequence[Gap], since: datetime, until: datetime) -> Iterator[tuple[datetime, datetime]]:
    """What is left of a night without its gaps, which are in order and do not overlap."""
    at = since
    for gap in gaps:
        if gap.began > at:
            yield at, gap.began
        at = max(at, gap.ended)
    if at < until:
        yield at, until


def _counts(gap: Gap, pieces: Sequence[tuple[datetime, datetime]]) -> bool:
    """Whether a gap is a hole in the night: begun after listening had begun; an evening's end by a person is none."""
    if gap.planned is not None or not any(end <= gap.began for _, end in pieces):
        return False
    return gap.reason != NOT_RUNNING or any(begin >= gap.ended for begin, _ in pieces)


def _hours(
    period: Period, day: date, stretches: Iterable[tuple[datetime, datetime]]
) -> tuple[tuple[float, float], ...]:
    """As the wall's clock has them; where that is set back within a stretch, its ends are put in order."""
    found = [sorted((period.hour(begin, day), period.hour(end, day))) for begin, end in stretches]
    return tuple((max(0.0, begin), min(24.0, end)) for begin, end in found if end > 0 and begin < 24)


def _mark(period: Period, day: date, alarm: LoggedAlarm) -> Mark:
    begin = period.hour(alarm.began, day)
    hours = alarm.lasted / 3600 if alarm.lasted > 0 else 0.0  # a NaN is none
    return Mark(alarm.id, alarm.state.pattern, alarm.state.priority, begin, min(hours, 24.0 - begin))


def _seconds(gap: Gap) -> float:
    return (gap.ended - gap.began).total_seconds()
