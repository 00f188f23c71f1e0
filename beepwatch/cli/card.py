"""`beepwatch card`: one page to hang by the bed."""

import argparse
from pathlib import Path

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

USES = """examples:
  beepwatch card -o card.pdf
  beepwatch card -o card.pdf --number 'Clinic, day and night: 0123 456' --page-at https://listener.local:8443
"""
MOST = 4
"""Numbers that fit below each other."""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "card", help="print a page to hang by the bed: the sounds, who goes, whom to call",
        description="Draw one page to hang by the bed: the sounds in time to scale, who goes, whom to call.",
        epilog=f"{USES}\n{CAUTION}", formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    verb.add_argument("-o", "--output", metavar="FILE.pdf", type=Path, required=True)
    verb.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default: a4")
    verb.add_argument(
        "--number", metavar="TEXT", action="append", default=[], help=f"a line for 'Our numbers', up to {MOST}"
    )
    verb.add_argument("--page-at", metavar="ADDRESS", default="", help="the page's address (never put a code here)")
    verb.add_argument("--config", metavar="DIR", type=Path, help="folder of the settings")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Draw and write; returns 0. Raises InputError, one line, where it was not done."""
    from beepwatch.bedroom.bedside import card_of  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.paper.card import drawn  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    if len(arguments.number) > MOST:
        raise InputError(f"--number: {MOST} lines fit on the card, {len(arguments.number)} were given")
    if "#" in arguments.page_at:
        raise InputError("--page-at: give the address only, without what stands behind #: a code is nobody else's")
    card = card_of(household(config_folder(arguments.config)), tuple(arguments.number), arguments.page_at)
    try:
        arguments.output.write_bytes(drawn(card, arguments.paper))
    except OSError as error:
        raise InputError(f"cannot write {arguments.output} ({error.strerror}): choose another place with -o") from error
    print(f"Wrote {arguments.output}: print it and hang it by the bed. Look that its numbers are right.")
    return 0
