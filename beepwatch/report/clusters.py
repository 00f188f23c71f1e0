"""Alarms of one kind close together. Pure."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from beepwatch.records.rows import LoggedAlarm

WITHIN = timedelta(minutes=10)
"""Alarms within this are close together (judgement)."""
FEWEST = 3
"""Alarms that make a cluster (judgement: two are often one that was interrupted)."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """Some alarms of one kind that began within ten minutes."""

    pattern: str
    at: datetime
    seconds: float
    """From the first one's beginning to the last one's."""
    alarms: tuple[int, ...]
    """Their ids."""


def clusters(alarms: Sequence[LoggedAlarm]) -> list[Cluster]:
    """Every group of `FEWEST` or more of a kind that began within ten minutes of its first, by time."""
    found: list[Cluster] = []
    for pattern in sorted({one.state.pattern for one in alarms}):
        mine = sorted((one for one in alarms if one.state.pattern == pattern), key=lambda one: one.began)
        begun = [one.began for one in mine]
        at = 0
        while at < len(mine):
            group = mine[at : bisect_right(begun, begun[at] + WITHIN)]
            if len(group) >= FEWEST:
                seconds = (group[-1].began - group[0].began).total_seconds()
                found.append(Cluster(pattern, group[0].began, seconds, tuple(one.id for one in group)))
            at += len(group) if len(group) >= FEWEST else 1
    return sorted(found, key=lambda one: (one.at, one.pattern))


def occasions(alarms: Sequence[LoggedAlarm]) -> int:
    """How often it happened: alarms of one kind, each within ten minutes of the one before, are one occasion."""
    count = 0
    last: dict[str, datetime] = {}
    for one in sorted(alarms, key=lambda one: one.began):
        before = last.get(one.state.pattern)
        count += before is None or one.began - before > WITHIN
        last[one.state.pattern] = one.began
    return count
