"""`beepwatch report`: a period of nights on two pages, or as one accessible file, for a visit at the clinic."""

import argparse
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError, RecordsError

if TYPE_CHECKING:
    from beepwatch.report.figures import Review
    from beepwatch.report.nights import Period

USES = """examples:
  beepwatch report --from 2026-01-30 --to 2026-03-31 -o report.pdf
  beepwatch report --from 2026-01-30 --to 2026-03-31 -o report.html --with-notes
  beepwatch report -o report.pdf --paper letter        the last 61 nights

A .pdf is always two pages: what they have no room for is in the .html, which is also the one for a screen reader.
A night is from noon to noon and has the date of its evening. Dates, the names of those who answered, the person's name
and what alarms were found to be are in it; notes are only with --with-notes. Look through it before you hand it over.
"""
NIGHTS = 61
"""Nights where no first one is given: two months."""
MOST = 3660
"""Nights at most: ten years."""
EARLIEST = date(2000, 1, 1)


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "report", help="two pages for the clinic: nights, alarms, what changed, battery and care",
        description="Write what was heard in a period of nights: two pages (.pdf) or one accessible file (.html).",
        epilog=f"{USES}\n{CAUTION}", formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    verb.add_argument("--from", dest="first", metavar="DATE", help="first night (default: 60 before the last)")
    verb.add_argument("--to", dest="last", metavar="DATE", help="last night (default: the newest that has begun)")
    verb.add_argument("-o", "--output", metavar="FILE", type=Path, required=True, help="ends in .pdf or .html")
    verb.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of a .pdf; default: a4")
    verb.add_argument("--with-notes", action="store_true", help="the family's own words, too")
    verb.add_argument("--without-names", action="store_true", help="neither the person's nor the caregivers'")
    verb.add_argument("--without-answers", action="store_true", help="nothing of how soon a button was pressed")
    verb.add_argument("--without-drills", action="store_true", help="nothing of how drills went")
    verb.add_argument("--data", metavar="DIR", type=Path, help="folder of the history (default: this user's own)")
    verb.add_argument("--config", metavar="DIR", type=Path, help="folder of the settings")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write it; returns 0. Raises InputError or RecordsError, one line, where it was not done."""
    output: Path = arguments.output
    if output.suffix.lower() not in (".pdf", ".html"):
        raise InputError(f"-o {output}: end the name in .pdf or .html, so that I know what to write")
    now = datetime.now().astimezone()
    review = _review(arguments, _period(arguments, (now - timedelta(hours=12)).date()), now)
    made = _made(review, arguments)
    try:
        output.write_bytes(made)
    except OSError as error:
        raise InputError(f"cannot write {output} ({error.strerror}): choose another place with -o") from error
    print(f"Wrote {output}: {len(review.listened_nights)} of {len(review.nights)} nights were listened to.")
    print("Look through it before you hand it over: what alarms were, and when, is in it.")
    return 0


def _made(review: "Review", arguments: argparse.Namespace) -> bytes:
    if arguments.output.suffix.lower() == ".html":
        from beepwatch.report.page import html  # noqa: PLC0415 - `beepwatch --help` stays quick

        return html(review).encode()
    from beepwatch.report.paper import drawn  # noqa: PLC0415

    return drawn(review, arguments.paper)


def _review(arguments: argparse.Namespace, period: "Period", now: datetime) -> "Review":
    from beepwatch.care.household import routines_of  # noqa: PLC0415
    from beepwatch.cli.logs.log import data_of  # noqa: PLC0415
    from beepwatch.records.database import FILE  # noqa: PLC0415
    from beepwatch.records.reading import History  # noqa: PLC0415
    from beepwatch.report.gather import gather  # noqa: PLC0415
    from beepwatch.report.review import Wanted, review  # noqa: PLC0415
    from beepwatch.settings.file import config_folder, load  # noqa: PLC0415

    settings, _ = load(config_folder(arguments.config))
    folder = data_of(arguments.data, arguments.config)
    if not (folder / FILE).exists():
        raise RecordsError(f"there is no history in {folder} yet: `beepwatch watch` begins one; or give --data DIR")
    with History(folder) as history:
        told = gather(history, period, now)
    wanted = Wanted(
        names=not arguments.without_names, answers=not arguments.without_answers,
        drills=not arguments.without_drills, notes=arguments.with_notes,
    )  # fmt: skip
    return review(told, routines_of(settings), settings.names.person, wanted)


def _period(arguments: argparse.Namespace, tonight: date) -> "Period":
    """The nights asked for; tonight: the newest one that has begun, by the day of its noon."""
    from beepwatch.report.nights import Period  # noqa: PLC0415

    last = tonight if arguments.last is None else _date("--to", arguments.last)
    first = last - timedelta(days=NIGHTS - 1) if arguments.first is None else _date("--from", arguments.first)
    if first > last:
        raise InputError(f"--from {first} is after --to {last}: give the earlier night first")
    if first > tonight:
        raise InputError(f"--from {first} is yet to come: nothing was listened to then")
    if (last - first).days >= MOST:
        raise InputError(f"--from {first} --to {last} is too long: at most ten years")
    return Period(first, last)


def _date(option: str, given: str) -> date:
    try:
        found = datetime.strptime(given.strip(), "%Y-%m-%d").date()  # noqa: DTZ007 - a day, as a person counts it
    except ValueError as error:
        raise InputError(f"{option} {given!r} is no date: write it like 2026-03-01") from error
    if not EARLIEST <= found <= date(9990, 1, 1):
        raise InputError(f"{option} {given!r} cannot be: give a day from {EARLIEST} on")
    return found
