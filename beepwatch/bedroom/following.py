"""Following a taught tone through the household's history, before a night begins."""

from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path

import msgspec

from beepwatch.bedroom.candidates import DEVICE
from beepwatch.bedroom.drift import TOLD, follow, told
from beepwatch.errors import BeepwatchError
from beepwatch.records.database import FILE
from beepwatch.records.reading import History
from beepwatch.settings.file import keep_sounder
from beepwatch.settings.household import Household
from beepwatch.settings.model import TONES
from beepwatch.settings.sounder import Sounder

LEAST = 3
"""Beeps that an alarm must have to count."""


def follow_device(home: Household, history: Path, today: date) -> list[str]:
    """Follow the device's tone over the nights since it was last looked at, and keep it; return what to tell.

    A history or a file that fails costs the following, never the night: it is told in the one line.
    """
    one = home.device
    if one is None or not (history / FILE).exists():
        return []
    try:
        return _followed(one, home.folder, history, today)
    except BeepwatchError as error:
        return [f"The tone of {one.name} could not be followed: {error}"]


def _followed(one: Sounder, folder: Path, history: Path, today: date) -> list[str]:
    since = date.fromisoformat(one.followed_on or one.taught) + timedelta(days=1)
    nights = _nights(history, since, today)
    drift = follow(one.tone, one.now, nights)
    followed = round(min(max(drift.tone, TONES[0]), TONES[1]), 2)
    line = told(one.name, one.tone, one.now, drift)
    if drift.nights and (abs(drift.tone / one.now - 1) >= TOLD or drift.at_bound):
        last = (today - timedelta(days=1)).isoformat()
        keep_sounder(folder, msgspec.structs.replace(one, followed=followed, followed_on=last))
    return [] if line is None else [line]


def _nights(history: Path, since: date, until: date) -> list[list[float]]:
    """Hz of the device's alarms of each whole day from `since` to before `until`, oldest first."""
    days: dict[date, list[float]] = defaultdict(list)
    begin = datetime.combine(since, datetime.min.time()).astimezone()
    end = datetime.combine(until, datetime.min.time()).astimezone()
    with History(history) as log:
        for alarm in log.alarms(begin, max(begin, end)):
            if alarm.state.pattern in DEVICE and alarm.state.beeps >= LEAST and alarm.began >= begin:
                days[alarm.began.date()].append(alarm.state.frequency)
    return [days[day] for day in sorted(days)]
