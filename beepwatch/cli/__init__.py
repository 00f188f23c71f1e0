"""The command line: one small module a verb, each with `add(subparsers)` and a handler `run(arguments) -> int`."""

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

from beepwatch import __version__
from beepwatch.errors import BeepwatchError

VERBS = (
    "watch",
    "pause",
    "rehearse",
    "review",
    "synth",
    "history",
    "backup",
    "settings",
    "teach",
    "check",
    "setup",
    "card",
    "care",
    "report",
    "paired",
    "bedside",
    "service",
)

CAUTION = (
    "Not tested or approved as a medical device. An extra pair of ears, never in\n"
    "place of the device's own alarms, a monitor or an awake caregiver. A device\n"
    "that is off or empty makes no sound: silence does not mean all is well. Ask\n"
    "your clinic before you use it."
)


class OneLine(argparse.ArgumentParser):
    """A parser that says what is wrong in one line, without the whole usage before it."""

    def error(self, message: str) -> NoReturn:
        """End with exit code 2."""
        self.exit(2, f"beepwatch: {message}; `{self.prog} --help` tells what may be given\n")


def parser() -> argparse.ArgumentParser:
    """The whole command line, as argparse knows it."""
    top = OneLine(
        prog="beepwatch",
        description="Listens for the beeps of a breathing stimulator, names the alarm and wakes the caregiver.",
        epilog=CAUTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"beepwatch {__version__}\n{CAUTION}")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    for verb in VERBS:
        import_module(f"beepwatch.cli.{verb}").add(verbs)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; return the exit code: 0 done, 2 bad input (told in one line on stderr), 130 interrupted."""
    try:
        chosen = parser().parse_args(arguments)
        code: int = chosen.run(chosen)
    except BeepwatchError as error:
        print(f"beepwatch: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output went away (`| head`)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code
