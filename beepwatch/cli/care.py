"""`beepwatch care`: the routines that a family's own clinic told it, when each is due, and what was done."""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

from beepwatch.cli import CAUTION

Actions: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

HELP = "routines that your own clinic told you: battery, exit site, supplies; when each is due"
USES = """examples:
  beepwatch care                                      how each stands
  beepwatch care arm battery --hours-a-day 12         asks whether your clinic says this
  beepwatch care changed battery --who Anna           the main battery is new
  beepwatch care done exit-site --at 2026-03-01T19:30
  beepwatch care early exit-site --reason damp        due at once
  beepwatch care postpone exit-site --to 2026-03-04
  beepwatch care add dressings --days 90 --lead 14    a supply: lasts 90 days, ordered 14 days before
  beepwatch care disarm dressings                     no more reminders
  beepwatch care wrong 12                             entry 12 does not hold
  beepwatch care calendar -o care.ics                 for a calendar (iCalendar, RFC 5545)

Reminders are lines of `watch` and of its page by day; nothing sounds. How it is done is nowhere told: as your clinic
showed you. A battery alarm answered with "battery", or with the key c, writes down a changed battery by itself.
"""
FORM = argparse.RawDescriptionHelpFormatter


def add(subparsers: Actions) -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "care", help=HELP, description=f"Keep {HELP}.", epilog=f"{USES}\n{CAUTION}", formatter_class=FORM
    )
    _places(verb)
    verb.set_defaults(run=run)
    actions = verb.add_subparsers(metavar="ACTION", dest="action")
    arm = _action(actions, "arm", "remind of it, after one question about your clinic")
    arm.add_argument("--clinic-says", choices=("yes", "no"), help="the answer, where nobody can be asked")
    arm.add_argument("--hours-a-day", metavar="HOURS", help="of a battery: hours of use a day")
    arm.add_argument("--hours", metavar="HOURS", help="of a battery: hours of use that it lasts")
    arm.add_argument("--days", metavar="DAYS", help="of another: days from one time to the next")
    _action(actions, "disarm", "no more reminders")
    own = _action(actions, "add", "a routine or a supply of your own, after one question about your clinic")
    own.add_argument("--days", metavar="DAYS", required=True, help="days from one time to the next; or that it lasts")
    own.add_argument("--lead", metavar="DAYS", default="0", help="of a supply: days before by which it is ordered")
    own.add_argument("--title", metavar="WORDS", help="how it is called on the screen")
    own.add_argument("--clinic-says", choices=("yes", "no"), help="the answer, where nobody can be asked")
    for name, told in (("done", "it was done (or a supply came)"), ("changed", "the battery was changed")):
        _entered(_action(actions, name, told)).add_argument("--reason", metavar="WORDS", help="why now")
    _entered(_action(actions, "early", "due at once")).add_argument("--reason", required=True, metavar="WORDS",
        help="damp, dirty or words of yours")  # fmt: skip
    _entered(_action(actions, "postpone", "due on another day")).add_argument("--to", required=True, metavar="DATE")
    wrong = _parser(actions, "wrong", "an entry does not hold; it stays, marked as corrected")
    wrong.add_argument("number", metavar="NUMBER", help="its number in `beepwatch care`")
    _places(wrong)
    book = _parser(actions, "calendar", "a calendar file of what is due")
    book.add_argument("-o", "--output", metavar="FILE.ics", type=Path, required=True)
    _places(book)


def run(arguments: argparse.Namespace) -> int:
    """Do it; returns 0. Raises InputError or RecordsError, one line, where it was not done."""
    from beepwatch.cli.caring import doing, showing  # noqa: PLC0415 - `beepwatch --help` stays quick

    actions: dict[str | None, Callable[[argparse.Namespace], None]] = {
        None: showing.show, "calendar": showing.write_calendar, "arm": doing.arm, "disarm": doing.disarm,
        "add": doing.add_own, "done": doing.done, "changed": doing.done, "early": doing.early,
        "postpone": doing.postpone, "wrong": doing.wrong,
    }  # fmt: skip
    actions[arguments.action](arguments)
    return 0


def _parser(actions: Actions, name: str, told: str) -> argparse.ArgumentParser:
    """An action with its example of USES and the caution."""
    (example,) = (line for line in USES.splitlines() if line.startswith(f"  beepwatch care {name} "))
    return actions.add_parser(
        name, help=told, description=f"{told[0].upper()}{told[1:]}.", epilog=f"example:\n{example}\n\n{CAUTION}",
        formatter_class=FORM,
    )  # fmt: skip


def _action(actions: Actions, name: str, told: str) -> argparse.ArgumentParser:
    made = _parser(actions, name, told)
    made.add_argument("routine", metavar="ROUTINE", help="battery, exit-site, or a name of your own")
    _places(made)
    return made


def _entered(parser: argparse.ArgumentParser) -> argparse.ArgumentParser:
    parser.add_argument("--at", metavar="WHEN", help="when (a date or date-time; default: now)")
    parser.add_argument("--who", metavar="NAME", help="who says so")
    return parser


def _places(parser: argparse.ArgumentParser) -> None:
    default = argparse.SUPPRESS  # so that what stands before the action holds, too
    parser.add_argument("--data", metavar="DIR", type=Path, default=default, help="folder of the history")
    parser.add_argument("--config", metavar="DIR", type=Path, default=default, help="folder of the settings")
