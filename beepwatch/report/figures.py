"""All that a report tells, as frozen values: the same for paper, file and page. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from beepwatch.care.rules import Early
from beepwatch.events import Priority
from beepwatch.records.entries import CareEvent, Finding
from beepwatch.records.rows import LoggedAlarm
from beepwatch.report.clusters import Cluster
from beepwatch.report.nights import Hole, Night, Period
from beepwatch.report.rates import Ratio


@dataclass(frozen=True, slots=True)
class Kind:
    """Alarms of one kind, without drills."""

    pattern: str
    priority: Priority
    count: int
    total: float
    """s, of all together."""
    longest: float
    """s."""
    rate: tuple[float, float, float] | None
    """In 100 h of listening: (rate, low, high) with the exact 95 % interval; None where too little was listened to."""


@dataclass(frozen=True, slots=True)
class Change:
    """How often one kind came now, against the period before, in occasions."""

    pattern: str
    now: int
    before: int
    ratio: Ratio | None
    """None: too little listening to tell."""


@dataclass(frozen=True, slots=True)
class Answers:
    """How long it took until somebody pressed a button, of the alarms that woke somebody."""

    woken: int
    answered: int
    median: float | None
    """s from raised."""
    longest: float | None


@dataclass(frozen=True, slots=True)
class Margin:
    """Minutes of the hearing margin that were written."""

    minutes: int
    unknown: int
    low: int
    """Under 6 dB."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A cause of beepwatch's own alarms."""

    cause: str
    count: int
    longest: float
    """s."""


@dataclass(frozen=True, slots=True)
class Said:
    """A note on an alarm; `text` None where its words were deleted."""

    number: int
    alarm: int | None
    at: datetime
    who: str | None
    text: str | None


@dataclass(frozen=True, slots=True)
class Told:
    """A high-priority alarm with its evidence (`alarm.state.why`) and what it was."""

    alarm: LoggedAlarm
    found: Finding | None
    cluster: bool
    """Whether it is one of a cluster."""


@dataclass(frozen=True, slots=True)
class Changed:
    """A changed main battery."""

    event: CareEvent
    hours: float | None
    """Of use that the old one had, by the hours a day."""


@dataclass(frozen=True, slots=True)
class Battery:
    """The battery log."""

    changes: tuple[Changed, ...]
    alarms: tuple[LoggedAlarm, ...]
    """Battery alarms of the period."""
    early: tuple[Early, ...]


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How a routine kept its rhythm."""

    title: str
    wanted: float | None
    """Days."""
    count: int
    typical: float | None
    """Median days from one time to the next."""
    longest: float | None
    early: int
    """Times that it came early: damp, dirty or another word."""


@dataclass(frozen=True, slots=True)
class Review:
    """A period of a household."""

    person: str
    period: Period
    seconds: float
    """Heard."""
    lost: float
    """s, in pieces too short to be gaps."""
    before_seconds: float
    nights: tuple[Night, ...]
    pauses: int
    margin: Margin
    kinds: tuple[Kind, ...]
    drills: int
    answers: Answers | None
    """None: left out."""
    drill_answers: Answers | None
    changes: tuple[Change, ...]
    clusters: tuple[Cluster, ...]
    high: tuple[Told, ...]
    """By time."""
    battery: Battery
    rhythms: tuple[Rhythm, ...]
    troubles: tuple[Trouble, ...]
    notes: tuple[Said, ...] | None
    """None: left out."""
    last_hash: str
    going_on: bool
    """Whether the period is not over yet."""

    @property
    def listened_nights(self) -> Sequence[Night]:
        """Nights in which anything was heard."""
        return [night for night in self.nights if night.seconds > 0]

    @property
    def paused(self) -> float:
        """Seconds of planned pauses."""
        return sum(night.paused for night in self.nights)

    @property
    def holes(self) -> Sequence[Hole]:
        """Every stretch of a night that nobody wanted unheard."""
        return [hole for night in self.nights for hole in night.holes]
