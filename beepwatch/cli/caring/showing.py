"""How the routines stand: on the screen, and as a calendar."""

import argparse
from datetime import date, datetime

from beepwatch.care.rules import Stand, early, stand
from beepwatch.care.words import early_line, line
from beepwatch.cli import CAUTION
from beepwatch.cli.caring.house import House, house_of
from beepwatch.errors import InputError
from beepwatch.records.database import FILE
from beepwatch.records.entries import CareEvent, LoggedCare
from beepwatch.records.reading import History
from beepwatch.records.words import day, printable
from beepwatch.waking.escalation import BATTERIES

NEWEST = 10
"""Entries that are shown; all are in `beepwatch history --format csv --of care`."""


def show(arguments: argparse.Namespace) -> None:
    """A line a routine, then the newest entries with their numbers."""
    house, today = house_of(arguments), datetime.now().astimezone().date()
    entries = house.care()
    for one in stands(house, [entry.event for entry in entries], today):
        print(printable(line(one)))
    for told in _early(house, [entry.event for entry in entries]):
        print(told)
    shown = [entry for entry in entries if entry.event.kind != "reminded"][-NEWEST:]
    if shown:
        print("\nNewest entries:")
    for entry in reversed(shown):
        print(f"  {printable(_entry(entry))}")
    print(f"\nHow it is done: as your clinic showed you.\n{CAUTION}")


def write_calendar(arguments: argparse.Namespace) -> None:
    """The file for a calendar."""
    from beepwatch.care.calendar import calendar  # noqa: PLC0415

    house, now = house_of(arguments), datetime.now().astimezone()
    known = stands(house, [entry.event for entry in house.care()], now.date())
    count = sum(one.mark in ("rest", "soon", "due") for one in known)
    if not count:
        raise InputError("no routine is armed with a day known, so there is nothing to write: see `beepwatch care`")
    identity = "new"
    if (house.folder / FILE).exists():
        with History(house.folder) as history:
            identity = history.first_hash()
    made = calendar(known, identity, now, house.settings.care.remind_from)
    try:
        arguments.output.write_bytes(made)
    except OSError as error:
        raise InputError(f"cannot write {arguments.output} ({error.strerror}): choose another place with -o") from error
    print(f"Wrote {arguments.output}: {count} of {len(known)} routines. Make it anew after each change.")


def stands(house: House, events: list[CareEvent], today: date) -> list[Stand]:
    """How each routine stands today."""
    return [stand(routine, events, today) for routine in house.routines]


def _early(house: House, events: list[CareEvent]) -> list[str]:
    """A word for each battery alarm that came much before its forecast."""
    battery = house.routines[0]
    if not battery.armed or not (house.folder / FILE).exists():
        return []
    with History(house.folder) as history:
        alarms = [one.began for one in history.alarms() if one.state.pattern in BATTERIES and not one.drill]
    return [early_line(one) for one in early(battery, events, alarms)[-1:]]


def _entry(entry: LoggedCare) -> str:
    event = entry.event
    hours = f" after about {event.hours:.0f} h" if event.hours is not None else ""
    why = f" ({event.reason})" if event.reason else ""
    who = f" by {event.who}" if event.who else ""
    due = f", due {day(event.due.date())}" if event.due is not None else ""
    did = "due early" if event.kind == "forecast" else event.kind
    return f"{entry.id}: {day(event.at.date())} {event.at:%H:%M}  {event.routine} {did}{hours}{why}{who}{due}"
