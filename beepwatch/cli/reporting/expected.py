"""Which beeps belong to an alarm, and when its profile expects them: what a picture of it marks. Pure.

An alarm keeps no list of its beeps, so they are found again by tone, length and time.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import TypeAlias

from beepwatch.events import Alarm, Beep
from beepwatch.patterns.profiles import Bursts, LongTone, Profile

Mark: TypeAlias = tuple[float, float]
"""Onset and length of a beep, s."""
TONE = 0.03
"""Relative distance from the alarm's tone within which a beep is its own: what `--tone` allows too (judgement)."""
ALIKE = 2.0
"""Factor within which the lengths of one alarm's beeps lie (judgement)."""
PIECES = 8.0
"""A long tone may be heard in pieces, the least an eighth of it: lead alarms' beeps are shorter (judgement)."""
EDGE = 0.1
"""s by which a beep may stand outside of its alarm (judgement: hearing's own error is less)."""
NEAR = 0.35
"""Part of the period by which a beep may miss its due time and still be the one expected (judgement)."""


def own(alarm: Alarm, profile: Profile | None, beeps: Sequence[Beep]) -> list[Beep]:
    """Those of `beeps` that the alarm is made of, by onset."""
    shortest = alarm.duration / (PIECES if isinstance(profile, LongTone) else ALIKE)
    end = _end(alarm)
    found = [
        beep
        for beep in beeps
        if abs(beep.frequency / alarm.frequency - 1) <= TONE
        and shortest <= beep.duration <= alarm.duration * ALIKE
        and beep.onset >= alarm.onset - EDGE
        and beep.end <= end + EDGE
    ]
    return sorted(found, key=lambda beep: beep.onset)


def expected(alarm: Alarm, profile: Profile | None, heard: Sequence[Beep], until: float) -> list[Mark]:
    """When beeps were due, from the first of `heard` (the alarm's own) to the alarm's end, or to `until` if open.

    Each is counted from the one before: where that was heard from its onset, else from its due time. So a breath
    that wanders is no fault, and a beep that is missing leaves its mark.
    """
    group = _group(alarm, profile, heard)
    period = alarm.period or _period(profile)
    near = NEAR * (period or 1.0) if len(group) == 1 else (group[1][0] - group[0][0]) / 2
    at = _first(alarm, profile, heard)
    stop = until if alarm.ended is None else min(until, alarm.ended)
    marks: list[Mark] = []
    while at < stop:
        marks += [(at + offset, length) for offset, length in group]
        if period is None:
            break
        at = _met(at, heard, near) + period
    return marks


def _end(alarm: Alarm) -> float:
    """End of its last beep so far."""
    return alarm.last if alarm.ended is None else alarm.ended


def _group(alarm: Alarm, profile: Profile | None, heard: Sequence[Beep]) -> list[Mark]:
    """One round of the pattern: offsets and lengths. The lengths of long tones are the profile's own.

    The pauses inside a group have wide limits in some profiles, so they are those of the first whole group heard.
    """
    if isinstance(profile, LongTone):
        return [(0.0, sum(profile.length) / 2)]
    if not isinstance(profile, Bursts):
        return [(0.0, alarm.duration)]
    count = len(profile.gaps) + 1
    for group in _groups(profile, heard):
        if len(group) == count:
            return [(beep.onset - group[0].onset, alarm.duration) for beep in group]
    steps = [sum(gap) / 2 + alarm.duration for gap in profile.gaps]
    return [(sum(steps[:place]), alarm.duration) for place in range(count)]


def _groups(profile: Bursts, heard: Sequence[Beep]) -> list[list[Beep]]:
    """Pulses parted where a pause of the profile lies between them."""
    shortest = 0.9 * min(low for low, _ in profile.pauses)
    groups: list[list[Beep]] = [[*heard[:1]]]
    for before, beep in pairwise(heard):
        if beep.onset - before.end >= shortest:
            groups.append([])
        groups[-1].append(beep)
    return groups


def _period(profile: Profile | None) -> float | None:
    """s from onset to onset by the profile, where only one beep was heard and the profile has one period."""
    return sum(profile.period) / 2 if isinstance(profile, LongTone) else None


def _first(alarm: Alarm, profile: Profile | None, heard: Sequence[Beep]) -> float:
    """Where counting starts: the alarm's onset, or the first whole group that is shown of a long alarm."""
    if not heard or heard[0].onset - alarm.onset < ALIKE * EDGE:
        return alarm.onset
    if not isinstance(profile, Bursts):
        return heard[0].onset
    groups = _groups(profile, heard)
    return groups[min(1, len(groups) - 1)][0].onset


def _met(at: float, heard: Sequence[Beep], near: float) -> float:
    """The onset of the beep that came when one was due at `at`, else `at`."""
    onset = min((beep.onset for beep in heard), key=lambda onset: abs(onset - at), default=at)
    return onset if abs(onset - at) <= near else at
