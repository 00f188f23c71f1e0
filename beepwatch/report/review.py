"""From what the history holds of a period to the figures of the report. Pure."""

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from beepwatch.care.routine import BATTERY, Routine
from beepwatch.care.rules import early, hours_before
from beepwatch.records.entries import CareEvent, Found, Note, Pause, Technical
from beepwatch.records.listened import Listened
from beepwatch.records.rows import LoggedAlarm
from beepwatch.report.clusters import clusters, occasions
from beepwatch.report.figures import (
    Answers,
    Battery,
    Change,
    Changed,
    Kind,
    Margin,
    Review,
    Rhythm,
    Said,
    Told,
    Trouble,
)
from beepwatch.report.nights import RANK, Period, nights
from beepwatch.report.rates import rate, ratio
from beepwatch.waking.escalation import BATTERIES

ENOUGH = 24 * 3600.0
"""s of listening in a period under which no rate is told, and none compared (judgement: three nights)."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a family lets out."""

    names: bool = True
    answers: bool = True
    drills: bool = True
    notes: bool = False


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the history holds; alarms that began in the period, household's only."""

    period: Period
    heard: Listened
    before: Listened
    alarms: Sequence[LoggedAlarm]
    alarms_before: Sequence[LoggedAlarm]
    found: dict[int, Found]
    notes: Sequence[Note]
    technicals: Sequence[Technical]
    pauses: Sequence[Pause]
    care: Sequence[CareEvent]
    """Of all time: hours of a battery begin before the period."""
    margin: Margin
    last_hash: str
    now: datetime


def review(told: Gathered, routines: Sequence[Routine], person: str, wanted: Wanted) -> Review:
    """The figures."""
    if not wanted.names:
        told, person = _nameless(told), ""
    real = [one for one in told.alarms if not one.drill]
    drills = [one for one in told.alarms if one.drill]
    groups = clusters(real)
    grouped = {number for one in groups for number in one.alarms}
    return Review(
        person=person,
        period=told.period,
        seconds=told.heard.seconds,
        lost=told.heard.lost,
        before_seconds=told.before.seconds,
        nights=nights(told.period, told.heard, real),
        pauses=len(told.pauses),
        margin=told.margin,
        kinds=_kinds(real, told.heard.seconds / 3600),
        drills=len(drills) if wanted.drills else 0,
        answers=_answers(real) if wanted.answers else None,
        drill_answers=_answers(drills) if wanted.answers and wanted.drills and drills else None,
        changes=_changes(told, real),
        clusters=tuple(groups),
        high=tuple(
            Told(one, told.found[one.id].what if one.id in told.found else None, one.id in grouped)
            for one in real
            if one.state.priority == "high"
        ),
        battery=_battery(told, routines[0], real),
        rhythms=tuple(_rhythms(told, routines)),
        troubles=tuple(_troubles(told.technicals)),
        notes=_notes(told.notes) if wanted.notes else None,
        last_hash=told.last_hash,
        going_on=told.now < told.period.until,
    )


def _nameless(told: Gathered) -> Gathered:
    return replace(
        told,
        alarms=[replace(one, answered_by=None) for one in told.alarms],
        notes=[replace(one, who=None) for one in told.notes],
        care=[replace(one, who=None) for one in told.care],
    )


def _kinds(alarms: Sequence[LoggedAlarm], hours: float) -> tuple[Kind, ...]:
    found = []
    for pattern in {one.state.pattern for one in alarms}:
        mine = [one for one in alarms if one.state.pattern == pattern]
        lasted = [one.lasted for one in mine if one.lasted >= 0]
        known = rate(occasions(mine), hours) if hours * 3600 >= ENOUGH else None
        first = min(mine, key=lambda one: RANK[one.state.priority])
        found.append(Kind(pattern, first.state.priority, len(mine), sum(lasted), max(lasted, default=0.0), known))
    return tuple(sorted(found, key=lambda kind: (RANK[kind.priority], -kind.count, kind.pattern)))


def _answers(alarms: Sequence[LoggedAlarm]) -> Answers:
    woken = [one for one in alarms if one.woken_after is not None]
    after = [one.acknowledged_after for one in woken if one.acknowledged_after is not None]
    return Answers(len(woken), len(after), statistics.median(after) if after else None, max(after, default=None))


def _changes(told: Gathered, real: Sequence[LoggedAlarm]) -> tuple[Change, ...]:
    """By kind, in the order of the kinds; those that came in neither period are left out."""
    before = [one for one in told.alarms_before if not one.drill]
    enough = min(told.heard.seconds, told.before.seconds) >= ENOUGH
    found = []
    for pattern in {one.state.pattern for one in (*real, *before)}:
        mine = [one for one in real if one.state.pattern == pattern]
        old = [one for one in before if one.state.pattern == pattern]
        priority = min(RANK[one.state.priority] for one in (*mine, *old))
        x, y = occasions(mine), occasions(old)
        known = ratio(x, told.heard.seconds / 3600, y, told.before.seconds / 3600) if enough else None
        found.append((priority, -len(mine), pattern, Change(pattern, x, y, known)))
    return tuple(change for *_, change in sorted(found, key=lambda one: one[:3]))


def _battery(told: Gathered, routine: Routine, real: Sequence[LoggedAlarm]) -> Battery:
    since, until = told.period.since, told.period.until
    mine = [one for one in told.care if one.routine == BATTERY]
    done = [one for one in mine if one.kind == "done" and since <= one.at < until]
    alarms = [one for one in real if one.state.pattern in BATTERIES]
    return Battery(
        changes=tuple(Changed(one, hours_before(routine, mine, one.at)) for one in done),
        alarms=tuple(alarms),
        early=tuple(early(routine, mine, [one.began for one in alarms])),
    )


def _rhythms(told: Gathered, routines: Iterable[Routine]) -> Iterable[Rhythm]:
    """Of each routine but the battery that is armed or was done."""
    since, until = told.period.since, told.period.until
    for routine in routines:
        mine = [one for one in told.care if one.routine == routine.name]
        done = [one.at for one in mine if one.kind == "done" and one.at < until]
        inside = [at for at in done if at >= since]
        if routine.name == BATTERY or not (routine.armed or inside):
            continue
        steps = [(b - a) / timedelta(days=1) for a, b in pairwise(done) if b >= since]
        sooner = [one for one in mine if one.kind == "forecast" and since <= one.at < until]
        yield Rhythm(
            routine.title, routine.span, len(inside), statistics.median(steps) if steps else None,
            max(steps, default=None), len(sooner),
        )  # fmt: skip


def _troubles(technicals: Sequence[Technical]) -> Iterable[Trouble]:
    causes = sorted({one.cause for one in technicals})
    found = []
    for cause in causes:
        mine = [one for one in technicals if one.cause == cause]
        lengths = [(one.ended - one.began).total_seconds() for one in mine if one.ended is not None]
        found.append(Trouble(cause, len(mine), max(lengths, default=0.0)))
    return sorted(found, key=lambda one: (-one.count, one.cause))


def _notes(notes: Sequence[Note]) -> tuple[Said, ...]:
    return tuple(
        Said(one.id, one.about_id if one.about == "alarm" else None, one.at, one.who, one.text) for one in notes
    )
