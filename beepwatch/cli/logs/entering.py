"""`beepwatch history note` and `beepwatch history delete`: what people add to the history, and take out of it."""

import argparse
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, get_args

from beepwatch.care.rules import changed_battery, known_already
from beepwatch.cli import CAUTION
from beepwatch.cli.logs.log import data_of
from beepwatch.errors import InputError
from beepwatch.records.clips import delete
from beepwatch.records.entries import Finding
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.waking.escalation import BATTERIES

if TYPE_CHECKING:
    from beepwatch.records.rows import LoggedAlarm

Places: TypeAlias = Callable[[argparse.ArgumentParser], None]

WAIT = 5.0
"""s to wait while `watch` writes: judgement."""
LONGEST = 10_000
"""Letters of a note: judgement, some pages."""
NOTE_USES = """examples:
  beepwatch history note 12 "the plug had slipped" --found cable
  beepwatch history note 12 --found false-alarm
  beepwatch history note 12 --found false-alarm --teach ignore --name oven

The number of an alarm stands beside it in `beepwatch history`. A note can be deleted again: `beepwatch history delete`.
"""
DELETE_USES = """examples:
  beepwatch history delete note 3     the words of note 3
  beepwatch history delete clip 7     the sound of clip 7
  beepwatch history delete settings   what the settings were, names in them; the settings themselves stay

That there was one, and that it was deleted, stays in the history. Copies made by `beepwatch backup` keep theirs.
"""


def add(actions: "argparse._SubParsersAction[argparse.ArgumentParser]", places: Places) -> None:
    """Describe both to argparse."""
    form = argparse.RawDescriptionHelpFormatter
    note = actions.add_parser(
        "note", help="what an alarm turned out to be, in a word or in your own", epilog=f"{NOTE_USES}\n{CAUTION}",
        formatter_class=form,
    )  # fmt: skip
    note.add_argument("alarm", metavar="NUMBER", help="number of the alarm")
    note.add_argument("words", metavar="WORDS", nargs="?", help="a note in your own words")
    note.add_argument("--found", choices=get_args(Finding), help="what it was")
    note.add_argument("--who", metavar="NAME", help="who says so")
    note.add_argument("--teach", choices=("ignore", "log"), help="from now on ignore that beep, or only log its alarms")
    note.add_argument("--name", metavar="NAME", help="a name for that beep (default: alarm-NUMBER)")
    places(note)
    note.set_defaults(run=run_note)
    gone = actions.add_parser(
        "delete", help="delete the words of a note, or the sound of a clip", epilog=f"{DELETE_USES}\n{CAUTION}",
        formatter_class=form,
    )  # fmt: skip
    gone.add_argument("what", choices=("note", "clip", "settings"), help="words, sound, or settings that held")
    gone.add_argument("number", metavar="NUMBER", nargs="?", help="number of the note or clip")
    places(gone)
    gone.set_defaults(run=run_delete)


def run_note(arguments: argparse.Namespace) -> int:
    """Write it down; returns 0. Raises InputError or RecordsError, one line."""
    folder, number = data_of(arguments.data, arguments.config), _number(arguments.alarm)
    if not (arguments.words or arguments.found or arguments.teach):
        raise InputError(f'nothing to note: give words, as in `beepwatch history note {number} "..."`, or --found')
    if arguments.words and len(arguments.words) > LONGEST:
        raise InputError(f"a note of {len(arguments.words)} letters is too long: at most {LONGEST}")
    with History(folder) as history:
        alarm = history.alarm(number)
    if alarm is None:
        raise InputError(f"there is no alarm {number}: `beepwatch history` tells the numbers")
    now = datetime.now().astimezone()
    with closing(Store(folder, WAIT)) as store, store.together():
        if arguments.found:
            store.found(number, arguments.found, now, arguments.who)
            _battery(store, folder, alarm, arguments)
        if arguments.words:
            store.write_note("alarm", number, now, arguments.words, arguments.who)
    if arguments.found or arguments.words:
        print(f"Noted on alarm {number}.")
    if arguments.teach:
        _teach(folder, alarm, arguments)
    elif arguments.found == "false-alarm":
        _offer(alarm)
    return 0


def _battery(store: Store, folder: Path, alarm: "LoggedAlarm", arguments: argparse.Namespace) -> None:
    """A battery alarm that was the battery: it was changed then, unless that is written down already."""
    if arguments.found != "battery" or alarm.state.pattern not in BATTERIES or alarm.drill:
        return
    event = changed_battery(alarm.raised, arguments.who, alarm.id)
    with History(folder) as history:
        known = known_already(event, [one.event for one in history.care(routine=event.routine)])
    if not known:
        print(f"The main battery counts as changed then (care entry {store.care(event)}): see `beepwatch care`.")


def run_delete(arguments: argparse.Namespace) -> int:
    """Delete it; returns 0. Raises InputError or RecordsError, one line."""
    folder, now = data_of(arguments.data, arguments.config), datetime.now().astimezone()
    if arguments.what == "settings":
        with closing(Store(folder, WAIT)) as store:
            store.delete_settings(now)
        print("What the settings were is deleted from the history.")
        return 0
    number = _number(arguments.number or "")
    with closing(Store(folder, WAIT)) as store:
        if arguments.what == "note":
            store.delete_note(number, now)
        else:
            delete(store, folder, number, now)
    print(f"The {arguments.what} {number} is deleted.")
    return 0


def _number(given: str) -> int:
    if not given.isascii() or not given.isdecimal() or len(given) > 15:
        raise InputError(f"{given!r} is no number: `beepwatch history` tells the numbers")
    return int(given)


def _offer(alarm: "LoggedAlarm") -> None:
    """How to make that beep one that wakes nobody."""
    print("If it comes again, one of these keeps it from waking you:")
    print(f"  beepwatch history note {alarm.id} --teach log       its alarms are kept, and wake nobody")
    print(f"  beepwatch history note {alarm.id} --teach ignore    its beeps count for nothing")
    print("Both are refused near your device's own tone.")


def _teach(folder: Path, alarm: "LoggedAlarm", arguments: argparse.Namespace) -> None:
    """Make the beep of this alarm a taught one."""
    from beepwatch.bedroom.talk import Talk  # noqa: PLC0415
    from beepwatch.bedroom.teach import Wish, from_alarm, is_name, teach  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415

    name = arguments.name or f"alarm-{alarm.id}"
    if not is_name(name):
        raise InputError(f"--name {name!r} cannot be: use letters, digits, - and _, up to 40 of them")
    heard = from_alarm(folder, alarm)
    if not heard.candidates:
        raise InputError(
            f"too few beeps of alarm {alarm.id} were kept to learn from: `beepwatch teach` from a recording"
        )
    wish = Wish(name, arguments.teach, sure=True)
    today = date.today()  # noqa: DTZ011 - the day here, as a person counts it
    teach(heard, Talk(), config_folder(arguments.config), wish, pen=" .:-=+*%#", today=today)
