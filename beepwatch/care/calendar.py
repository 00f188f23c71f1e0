"""The routines as a calendar file (iCalendar, RFC 5545): whole days, with a word by day and never at night. Pure."""

import hashlib
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Alarm, Calendar, Event

from beepwatch.care.routine import SHOWN, Routine
from beepwatch.care.rules import Stand

AHEAD = 30
"""Times of a rhythm that are written: done early or late, the family makes the file anew (judgement)."""
ABOUT = f"Made by beepwatch from what the family wrote down. Write down there when it is done: {SHOWN}."


def calendar(stands: Iterable[Stand], identity: str, now: datetime, hour: str) -> bytes:
    """The file. identity: of this history, so that a newer file takes an older one's place. hour: of the word, "09:00".

    Only armed routines of which a day is known are in it. now: aware.
    """
    made = Calendar()
    made.add("prodid", "-//beepwatch//care routines//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    for one in stands:
        if one.mark in ("rest", "soon", "due") and one.due is not None and one.ask_by is not None:
            on = max(one.ask_by if one.routine.supply else one.due, now.date())
            made.add_component(_event(one, on, identity, now, hour))
    return bytes(made.to_ical())


def _event(one: Stand, on: date, identity: str, now: datetime, hour: str) -> Event:
    routine = one.routine
    event = Event()
    uid = hashlib.sha256(f"{identity} {routine.name}".encode()).hexdigest()[:32]
    event.add("uid", f"{uid}@beepwatch")
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", max(0, int(now.timestamp()) // 60 - 29_000_000))  # grows with each newer file
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    event.add("summary", _summary(routine))
    event.add("description", ABOUT)
    event.add("transp", "TRANSPARENT")
    if routine.days is not None and not routine.supply:
        event.add("rrule", {"freq": "daily", "interval": routine.days, "count": AHEAD})
    event.add_component(_word(routine, hour))
    return event


def _summary(routine: Routine) -> str:
    if routine.supply:
        return f"Order {routine.title}"
    return f"{routine.title} (forecast)" if routine.hours is not None else routine.title


def _word(routine: Routine, hour: str) -> Alarm:
    """Shown, never sounded, at an hour of the day; a forecast's also its days ahead."""
    at = time.fromisoformat(hour)
    ahead = 0 if routine.supply else routine.ahead
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", _summary(routine))
    alarm.add("trigger", timedelta(days=-ahead, hours=at.hour, minutes=at.minute))
    return alarm
