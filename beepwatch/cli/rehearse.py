"""`beepwatch rehearse`: an alarm that is none, to see who wakes and how soon."""

import argparse
import time
from datetime import datetime
from pathlib import Path

from beepwatch.cli import CAUTION
from beepwatch.cli.pause import listens
from beepwatch.errors import InputError
from beepwatch.records.drill import Drill

EXAMPLES = """examples:
  beepwatch rehearse                         by day: wake as for the taught beep, and time the answer
  beepwatch rehearse --at-night --by Anna    at night, chosen by Anna, an adult

watch has to run, for it is its waking that is tried: the same speaker, commands and people as in an alarm. Screen,
speech and history say that it is a drill. A real alarm ends it at once. Once in four weeks at most: whoever is often
woken for nothing answers later.
"""
TAKEN = 5.0
"""s in which a running watch begins (it looks each second)."""
LONGEST = 660.0
"""s until it is over at the latest."""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "rehearse",
        help="a drill: wake as for a real alarm, and time the answer",
        description="Have a running watch wake as for the taught beep, marked as a drill, and time the answer.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("--at-night", action="store_true", help="also outside 9 to 20 h: an adult's own choice")
    verb.add_argument("--by", metavar="NAME", default="", help="who chose it; needed at night")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Ask for the drill and wait for its end; return 0 where somebody answered, else 1. Raises InputError."""
    from beepwatch.bedroom.rehearsal import alarm_of  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.records.drill import clear_drill, write_drill  # noqa: PLC0415
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.settings.file import config_folder, data_set  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    now = datetime.now().astimezone()
    _check_hour(arguments, now)
    home = household(config_folder(arguments.config))
    if home.device is None:
        raise InputError("no beep of your device is taught yet: `beepwatch teach` first")
    folder = data_folder(data_set(home.settings, arguments.data))
    _check_history(folder, now)
    alarm = alarm_of(home.device)
    print(f"The taught beep {home.device.name} is heard as {alarm.pattern}. The drill begins.")
    write_drill(folder, Drill(
        "asked", datetime.now().astimezone(), arguments.by, alarm.pattern, alarm.priority,
        alarm.frequency, alarm.duration, alarm.confidence,
    ))  # fmt: skip
    try:
        ended = _followed(folder)
    finally:
        clear_drill(folder)
    print(_told(ended))
    return 0 if ended.stage == "answered" else 1


def _check_hour(arguments: argparse.Namespace, now: datetime) -> None:
    from beepwatch.bedroom.rehearsal import WAKING_HOURS, at_night  # noqa: PLC0415

    if arguments.at_night and not arguments.by.strip():
        raise InputError("a drill at night is an adult's own choice: say whose, with --by NAME")
    if at_night(now) and not arguments.at_night:
        begin, end = WAKING_HOURS
        raise InputError(f"it is not between {begin} and {end} h: rehearse by day, or choose --at-night --by NAME")


def _check_history(folder: Path, now: datetime) -> None:
    """Raise InputError where no watch runs, or the last drill was less than a month ago."""
    from beepwatch.bedroom.rehearsal import due  # noqa: PLC0415
    from beepwatch.records.reading import History  # noqa: PLC0415

    if not listens(folder):
        raise InputError("watch does not run, and it is its waking that is tried: start `beepwatch watch` first")
    with History(folder) as history:
        last = max((alarm.raised for alarm in history.alarms() if alarm.drill), default=None)
    again = due(last, now)
    if again is not None:
        raise InputError(
            f"the last drill was on {last:%d %B}, and one in four weeks is enough: again from {again:%d %B} on"
        )


def _followed(folder: Path) -> Drill:
    """The drill as it ended. Raises InputError where watch did not take it."""
    from beepwatch.records.drill import read_drill  # noqa: PLC0415

    began, shown = time.monotonic(), False
    while True:
        now = read_drill(folder)
        if now is None:
            raise InputError("the drill was taken back by somebody")
        if now.stage not in ("asked", "begun"):
            return now
        if now.stage == "begun" and not shown:
            shown = True
            print("It has begun. Who is woken, answers as in an alarm.", flush=True)
        waited = time.monotonic() - began
        if waited > (LONGEST if shown else TAKEN):
            raise InputError("watch did not take the drill: look at its screen")
        time.sleep(0.2)


def _told(drill: Drill) -> str:
    if drill.stage == "answered":
        return f"Answered after {drill.seconds:.0f} s."
    if drill.stage == "refused":
        return f"No drill now: {drill.why}."
    return (
        "A real alarm came, so the drill ended." if drill.stage == "interrupted" else "NOBODY ANSWERED in ten minutes."
    )
