"""`beepwatch setup`: the guided first run."""

import argparse
import sys
from collections.abc import Callable
from datetime import date
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

from beepwatch.cli import CAUTION

STEPS = ("room", "microphone", "speaker", "names", "device", "teach", "check", "wake")
EXAMPLES = """examples:
  beepwatch setup                       begin, or go on where it was stopped
  beepwatch setup --step speaker        do one step again
  beepwatch setup --again               do all of them again
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "setup",
        help="the guided first run: room, devices, names, beep, test",
        description="Set up beepwatch step by step. Stop at any time with Ctrl-C; it goes on from there.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("--step", choices=STEPS, help="do this step alone")
    verb.add_argument("--again", action="store_true", help="do steps that are done again")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history and the checks")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Go through the steps; return 0. Raises one of our errors, one line."""
    from beepwatch.bedroom.devices import Devices  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.bedroom.picture import pens  # noqa: PLC0415
    from beepwatch.bedroom.setup import Setup  # noqa: PLC0415
    from beepwatch.bedroom.talk import Talk  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415

    folder = config_folder(arguments.config)
    today = date.today()  # noqa: DTZ011 - the day here, as a person counts it
    setup = Setup(Talk(), folder, Devices(), pens(sys.stdout.encoding), today, _check(arguments))
    try:
        setup.run(arguments.step, arguments.again)
    except KeyboardInterrupt:
        print("\nStopped. To go on from here: beepwatch setup")
        return 130
    return 0


def _check(arguments: argparse.Namespace) -> Callable[[], int] | None:
    """The verb `check` with our folders; None while there is none."""
    if find_spec("beepwatch.cli.check") is None:
        return None
    module = import_module("beepwatch.cli.check")

    def check() -> int:
        top = argparse.ArgumentParser()
        module.add(top.add_subparsers())
        folders = [*(["--config", str(arguments.config)] if arguments.config else []),
                   *(["--data", str(arguments.data)] if arguments.data else [])]  # fmt: skip
        code: int = module.run(top.parse_args(["check", *folders]))
        return code

    return check
