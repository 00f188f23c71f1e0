"""`beepwatch backup`: a copy of the history while it is being written, and the way back."""

import argparse
from datetime import datetime
from pathlib import Path

from beepwatch.cli import CAUTION

HELP = "copy the history with its clips, or put a copy back"
USES = """examples:
  beepwatch backup /media/stick                       a dated copy in that folder, while watch goes on
  beepwatch backup --restore /media/stick/beepwatch-2026-03-01-090000 --data NEW

A copy holds all that the history holds: names in notes and settings, and the clips. Notes and clips that are
deleted later stay in it: delete old copies, too.
"""


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Describe the verb to argparse."""
    verb = subparsers.add_parser(
        "backup", help=HELP, description="Copy the history with its clips, or put a copy back.",
        epilog=f"{USES}\n{CAUTION}", formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    verb.add_argument("folder", metavar="DIR", type=Path, help="where to put the copy; with --restore the copy itself")
    verb.add_argument("--restore", action="store_true", help="put the copy DIR into the data folder")
    verb.add_argument("--data", metavar="DIR", type=Path, help="folder of the history (default: this user's own)")
    verb.add_argument("--config", metavar="DIR", type=Path, help="folder of the settings")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Copy or restore; returns 0. Raises RecordsError, one line, where it was not done."""
    from beepwatch.cli.logs.log import data_of  # noqa: PLC0415 - brings sqlite in
    from beepwatch.records.backup import backup, restore  # noqa: PLC0415

    if arguments.restore:
        done = restore(arguments.folder, arguments.data or data_of(None, arguments.config))
        print(f"Restored into {done.folder}.")
    else:
        done = backup(data_of(arguments.data, arguments.config), arguments.folder, datetime.now().astimezone())
        print(f"Copied to {done.folder}.")
    clips = "1 clip" if done.clips == 1 else f"{done.clips} clips"
    print(f"Checked: {done.checked.rows} records, {clips}, last hash {done.checked.last}")
    return 0
