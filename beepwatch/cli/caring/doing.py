"""What a family tells of its routines: armed or not, done, due earlier or later, entered by mistake."""

import argparse
import math
from contextlib import closing
from datetime import datetime

from beepwatch.bedroom.talk import Talk
from beepwatch.care.routine import BATTERY, EXIT_SITE, Routine
from beepwatch.care.rules import hours_before, stand
from beepwatch.care.words import WHY, line
from beepwatch.cli.caring.house import House, house_of, when
from beepwatch.cli.logs.log import moment
from beepwatch.errors import InputError
from beepwatch.records.entries import CareEvent, CareKind
from beepwatch.records.words import day
from beepwatch.settings.file import change, keep_row
from beepwatch.settings.model import LONGEST

SETTING = {BATTERY: "care.battery", EXIT_SITE: "care.exit-site"}
"""Where the answer about the clinic is kept; of another routine in its own row."""


def arm(arguments: argparse.Namespace) -> None:
    """Take its figures, ask, and remind from now on if the answer is yes."""
    house = house_of(arguments)
    routine = house.routine(arguments.routine)
    _figures(house, routine, arguments)
    fresh = house_of(arguments)
    _ask(fresh, fresh.routine(routine.name), arguments.clinic_says)
    _say(arguments)


def disarm(arguments: argparse.Namespace) -> None:
    """No reminders any more; what was written stays."""
    house = house_of(arguments)
    routine = house.routine(arguments.routine)
    _answer(house, routine, "no")
    _keep(house, CareEvent(routine.name, "disarmed", datetime.now().astimezone()))
    print(f"{routine.title}: no more reminders.")


def add_own(arguments: argparse.Namespace) -> None:
    """A routine of the family's own, then as `arm`."""
    house = house_of(arguments)
    name, days, lead = arguments.routine, _whole("--days", arguments.days), _whole("--lead", arguments.lead)
    if any(one.name == name for one in house.routines):
        raise InputError(f"there is a routine {name!r} already: `beepwatch care arm {name} --days {days}` changes it")
    row: dict[str, str | int] = {"name": name, "days": days, "lead": lead, "clinic": "unasked"}
    if arguments.title:
        row["title"] = arguments.title
    keep_row(house.config, "routine", name, row)
    fresh = house_of(arguments)
    _ask(fresh, fresh.routine(name), arguments.clinic_says)
    _say(arguments)


def done(arguments: argparse.Namespace) -> None:
    """It was done; its rhythm begins anew."""
    house, at = house_of(arguments), when(arguments)
    routine = house.routine(arguments.routine)
    if arguments.action == "changed" and routine.hours is None:
        raise InputError(f"{routine.name} is no battery: `beepwatch care done {routine.name}`")
    hours = hours_before(routine, [one.event for one in house.care()], at)
    _entry(house, routine, "done", at, arguments, hours=hours)
    _say(arguments)


def early(arguments: argparse.Namespace) -> None:
    """Due at once."""
    house, at = house_of(arguments), when(arguments)
    _entry(house, house.routine(arguments.routine), "forecast", at, arguments, due=at)
    _say(arguments)


def postpone(arguments: argparse.Namespace) -> None:
    """Due on another day."""
    house, at = house_of(arguments), when(arguments)
    due = moment("--to", arguments.to)
    if due <= at:
        raise InputError(f"--to {arguments.to} is not to come: give a later day")
    _entry(house, house.routine(arguments.routine), "postponed", at, arguments, due=due)
    _say(arguments)


def wrong(arguments: argparse.Namespace) -> None:
    """An entry does not hold."""
    house = house_of(arguments)
    entries = {str(one.id): one for one in house.care()}
    if arguments.number not in entries:
        raise InputError(f"there is no entry {arguments.number!r} of care: `beepwatch care` tells the numbers")
    with closing(house.store()) as store:
        store.correct("care", entries[arguments.number].id, datetime.now().astimezone())
    print(f"Entry {arguments.number} is marked as wrong and counts no more.")


def _figures(house: House, routine: Routine, arguments: argparse.Namespace) -> None:
    """The figures that were given with `arm`."""
    battery = routine.hours is not None
    for option, given, fits in (
        ("--hours", arguments.hours, battery),
        ("--hours-a-day", arguments.hours_a_day, battery),
        ("--days", arguments.days, not battery),
    ):
        if given is not None and not fits:
            raise InputError(f"{option} is not for {routine.name}: see `beepwatch care arm --help`")
    if arguments.hours is not None:
        change(house.config, "care.battery-hours", arguments.hours)
    if arguments.hours_a_day is not None:
        change(house.config, "care.hours-a-day", arguments.hours_a_day)
    if arguments.days is not None and routine.name == EXIT_SITE:
        change(house.config, "care.exit-site-days", arguments.days)
    elif arguments.days is not None:
        keep_row(house.config, "routine", routine.name, {"days": _whole("--days", arguments.days)})


def _ask(house: House, routine: Routine, given: str | None) -> None:
    """The one question; only a yes arms."""
    talk = Talk()
    answer = given or talk.choose(
        f"Does your own clinic say this: {routine.says}?", ("yes", "no", "unsure"), "unsure"
    )  # fmt: skip
    _answer(house, routine, "unasked" if answer == "unsure" else answer)
    if answer == "yes":
        _keep(house, CareEvent(routine.name, "armed", datetime.now().astimezone()))
    else:
        talk.say("Then I remind you of nothing. Ask your clinic what holds for you.")


def _answer(house: House, routine: Routine, answer: str) -> None:
    if routine.name in SETTING:
        change(house.config, SETTING[routine.name], answer)
    else:
        keep_row(house.config, "routine", routine.name, {"clinic": answer})


def _entry(
    house: House, routine: Routine, kind: CareKind, at: datetime, arguments: argparse.Namespace,
    *, due: datetime | None = None, hours: float | None = None,
) -> None:  # fmt: skip
    reason = getattr(arguments, "reason", None)
    for words in (reason, arguments.who):
        if words and len(words) > LONGEST:
            raise InputError(f"{words[:20]!r}... is too long: at most {LONGEST} letters")
    if hours is not None and not math.isfinite(hours):
        hours = None
    _keep(house, CareEvent(routine.name, kind, at, due=due, hours=hours, reason=reason, who=arguments.who))


def _keep(house: House, event: CareEvent) -> None:
    with closing(house.store()) as store:
        number = store.care(event)
    why = f", {WHY.get(event.reason, event.reason)}" if event.reason else ""
    print(f"Written down as entry {number}: {event.routine} {event.kind}, {day(event.at.date())}{why}.")


def _say(arguments: argparse.Namespace) -> None:
    house = house_of(arguments)
    events = [one.event for one in house.care()]
    print(line(stand(house.routine(arguments.routine), events, datetime.now().astimezone().date())))


def _whole(option: str, given: str) -> int:
    if not given.isascii() or not given.isdecimal() or len(given) > 4:
        raise InputError(f"{option} {given!r} is no number of days: give a whole one, as 14")
    return int(given)
