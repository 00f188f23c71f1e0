"""`beepwatch history`: the alarm log, the hours listened with each gap, notes, exports, and a check of it all."""

import argparse
from datetime import datetime
from pathlib import Path

from beepwatch.cli import CAUTION
from beepwatch.cli.logs import entering
from beepwatch.cli.logs.log import data_of, moment, read
from beepwatch.cli.logs.tables import OF, print_bundle, print_table
from beepwatch.cli.logs.text import length, text
from beepwatch.errors import InputError
from beepwatch.records.rows import Kind
from beepwatch.records.verify import verify

__all__ = ["add", "length", "moment", "run"]

HELP = "the alarms heard, who was woken and answered, and the hours listened"
FORMATS = """formats:
  text   the alarms, then the hours listened with each gap
  jsonl  one JSON line an alarm: pattern, priority, began, ended (RFC 3339, null if its end was not heard),
         woken_after, acknowledged_after (seconds from raised, null if nobody), and more
  csv    the same as a table (RFC 4180)
  fhir   a bundle of HL7 FHIR R4 observations, each marked as inferred from sound
  jsonl and csv give the alarms; with --of listening the listening spans and the gaps, with --of tried, technical,
  pauses or care those. No format gives names or notes unless --with-names or --with-notes asks for them.
"""
USES = """examples:
  beepwatch history                                 all alarms, and the hours listened
  beepwatch history --since 2026-03-01              from that day on
  beepwatch history --format csv > alarms.csv       as a table
  beepwatch history --verify                        is it as it was written?
  beepwatch history note 12 "the plug had slipped" --found cable
  beepwatch history note 12 --found false-alarm --teach ignore
  beepwatch history delete note 3                   the words of a note, for good
"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "history", help=HELP, description=f"Tell {HELP}.", epilog=f"{FORMATS}\n{USES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    when = "date or date-time (RFC 3339), local where it names no zone"
    verb.add_argument("--since", metavar="WHEN", help=f"from this {when}")
    verb.add_argument("--until", metavar="WHEN", help=f"to this {when}; a date counts to its end")
    verb.add_argument("--format", choices=("text", "csv", "jsonl", "fhir"), default="text", help="default: text")
    verb.add_argument("--of", choices=OF, default="alarms", help="what a table gives (default: alarms)")
    verb.add_argument("--listening", dest="of", action="store_const", const="listening", help="as --of listening")
    verb.add_argument("--with-names", action="store_true", help="who answered, and the microphone, in exports too")
    verb.add_argument("--with-notes", action="store_true", help="people's own words in exports too")
    verb.add_argument("--recordings", action="store_true", help="recordings instead of the household's history")
    verb.add_argument(
        "--verify", nargs="?", const="", metavar="HASH",
        help="check that all is as it was written; HASH: one that was printed earlier, to find again",
    )  # fmt: skip
    places(verb)
    entering.add(verb.add_subparsers(metavar="note, delete", dest="action"), places)
    verb.set_defaults(run=run)


def places(parser: argparse.ArgumentParser) -> None:
    """Where the history and the settings are."""
    parser.add_argument("--data", metavar="DIR", type=Path, help="folder of the history (default: this user's own)")
    parser.add_argument("--config", metavar="DIR", type=Path, help="folder of the settings")


def run(arguments: argparse.Namespace) -> int:
    """Print the log; returns 0. Raises InputError for a bad time, RecordsError for no such history."""
    if arguments.verify is not None:
        return _verify(data_of(arguments.data, arguments.config), arguments.verify)
    now = datetime.now().astimezone()
    since = None if arguments.since is None else moment("--since", arguments.since)
    until = None if arguments.until is None else moment("--until", arguments.until, to_the_end=True)
    if since is not None and since >= (min(until, now) if until else now):
        raise InputError(f"--since {arguments.since} is not before {'--until and ' if until else ''}now")
    kind: Kind = "recording" if arguments.recordings else "household"
    log = read(data_of(arguments.data, arguments.config), since, until, kind, now)
    if arguments.format == "text":
        print("\n".join(text(log, alarms=arguments.of == "alarms")))
    elif arguments.format == "fhir":
        print_bundle(log, names=arguments.with_names, notes=arguments.with_notes)
    else:
        print_table(log, arguments.format, arguments.of, names=arguments.with_names, notes=arguments.with_notes)
    return 0


def _verify(folder: Path, asked: str) -> int:
    """Say whether the history is as it was written; 1 where it is not."""
    asked = asked.strip().lower()
    if asked and (len(asked) < 8 or set(asked) - set("0123456789abcdef")):
        raise InputError(f"--verify {asked!r} is no hash: give 8 or more of its digits (0-9, a-f), or none")
    checked = verify(folder, asked or None)
    for fault in checked.faults:
        print(f"DAMAGED: {fault}.")
    if checked.faults:
        print("Keep this file as it is, and a copy of it. `beepwatch backup --restore` puts an earlier copy back.")
    else:
        print(f"The history is as it was written: {checked.rows} records.")
    print(f"Last hash: {checked.last}")
    if checked.known is not None:
        told = "is one of this history: what was written up to it is what it was then"
        print(f"The hash {asked} {told if checked.known else 'is not one of this history'}.")
    return 0 if not checked.faults and checked.known is not False else 1
