"""`beepwatch pause`: plan a pause of a running watch from another terminal, end it, or ask how it stands."""

import argparse
import getpass
import re
import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError
from beepwatch.waking.commands import Purpose

if TYPE_CHECKING:
    from beepwatch.records.planned import PlannedPause

EXAMPLES = """examples:
  beepwatch pause 30m --for bath     wake nobody for the device for half an hour
  beepwatch pause                    does it listen now?
  beepwatch pause --stop             listen again at once

Smoke and gas alarms wake all the same. It ends by itself; what beeps then wakes. Stay with the person meanwhile.
"""
LENGTH = re.compile(r"(?:(\d+)d)?(?:(\d+)h)?(?:(\d+)m)?")
SOON = 4.0
"""s in which a running watch has taken it over (it looks each second)."""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "pause",
        help="a planned pause: do not wake for the device for a while",
        description="Tell a running watch not to wake for the device for a while, end that, or ask how it stands.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("length", nargs="?", metavar="LENGTH", help="how long, as 30m, 2h, 1h30m or 3d")
    verb.add_argument("--for", dest="purpose", choices=get_args(Purpose), help="what for: kept in the history")
    verb.add_argument("--by", metavar="NAME", help="who plans it (default: this computer's user)")
    verb.add_argument("--stop", action="store_true", help="end the pause now")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Plan, end or show; return 0. Raises InputError or RecordsError, one line."""
    from beepwatch.records.planned import clear_pause, planned, read_pause, write_pause  # noqa: PLC0415
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.settings.file import config_folder, data_set, load  # noqa: PLC0415

    _check(arguments)
    settings, _ = load(config_folder(arguments.config))
    folder = data_folder(data_set(settings, arguments.data))
    if arguments.stop:
        print("The pause is over." if clear_pause(folder) else "There was no pause.")
        _say_watch(folder)
    elif arguments.length is None:
        _show(read_pause(folder), folder)
    else:
        now = datetime.now().astimezone()
        made = planned(seconds_of(arguments.length), arguments.purpose, arguments.by or _user(), "terminal", now)
        write_pause(folder, made)
        _say_planned(made, folder)
    return 0


def seconds_of(text: str) -> float:
    """A length of time as a person writes it, in s. Raises InputError."""
    found = LENGTH.fullmatch(text.strip().lower())
    if not text.strip() or found is None:
        raise InputError(f"{text!r} is no length of time: write 30m, 2h, 1h30m or 3d")
    days, hours, minutes = (int(part or 0) for part in found.groups())
    return 60.0 * (minutes + 60 * (hours + 24 * days))


def _check(arguments: argparse.Namespace) -> None:
    if arguments.stop and (arguments.length or arguments.purpose):
        raise InputError("give --stop, or a length of time, not both")
    if arguments.length is not None and arguments.purpose is None:
        raise InputError(f"say what the pause is for: --for {', '.join(get_args(Purpose))}")
    if arguments.length is None and arguments.purpose is not None:
        raise InputError("say how long the pause is, as in `beepwatch pause 30m --for bath`")


def _user() -> str:
    """Who sits at this computer, as far as it knows."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


def _show(pause: "PlannedPause | None", folder: Path) -> None:
    if pause is not None and pause.left(datetime.now().astimezone()) > 0:
        _say_pause(pause)
    else:
        print("No pause is planned.")
    _say_watch(folder)


def _say_pause(pause: "PlannedPause") -> None:
    who = f", by {pause.by}" if pause.by else ""
    print(f"NOT LISTENING until {pause.label} ({pause.purpose}{who}). Smoke and gas alarms still wake.")


def _say_planned(pause: "PlannedPause", folder: Path) -> None:
    """What was planned, and whether the running watch has it."""
    _say_pause(pause)
    print("A device that is off or empty makes no sound: stay with the person until then.")
    until = time.monotonic() + SOON
    while listens(folder) and not _taken(pause, folder):
        if time.monotonic() > until:
            print("watch runs but has NOT taken the pause yet: look at its screen.")
            return
        time.sleep(0.2)
    _say_watch(folder)


def _taken(pause: "PlannedPause", folder: Path) -> bool:
    """Whether the history has this pause: watch writes it there when it takes it."""
    from beepwatch.records.reading import History  # noqa: PLC0415

    with History(folder) as history:
        return any(abs((one.planned - pause.until).total_seconds()) < 1.0 for one in history.pauses())


def listens(folder: Path) -> bool:
    """Whether a watch writes this history now, as far as it can be told."""
    from beepwatch.records.database import FILE  # noqa: PLC0415
    from beepwatch.records.listened import still_listening  # noqa: PLC0415
    from beepwatch.records.reading import History  # noqa: PLC0415

    if not (folder / FILE).exists():
        return False
    now = datetime.now().astimezone()
    with History(folder) as history:
        return any(still_listening(span, now) for span in history.spans(now))


def _say_watch(folder: Path) -> None:
    print("watch runs." if listens(folder) else "watch does NOT run: nothing is listened to. Start `beepwatch watch`.")
