"""`beepwatch settings`: what is set, where it came from, what it may be; and one way to change it."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.settings.household import Household

EXAMPLES = """examples:
  beepwatch settings                              show them all
  beepwatch settings show names.person            show one
  beepwatch settings set names.person Sam         Sam's name is said at night
  beepwatch settings set sound.microphone USB     the one whose name holds USB
  beepwatch settings clear names.person           back to "the person"

A change while `watch` runs is taken over within a second, or waits for its next start where it says so.
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "settings",
        help="show or change what is set: names, devices, tone",
        description="Show each setting, where it came from and what it may be, or change one.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("action", nargs="?", choices=("show", "set", "clear"), default="show", help="default: show")
    verb.add_argument("key", nargs="?", metavar="KEY", help="such as names.person")
    verb.add_argument("value", nargs="?", metavar="VALUE")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.add_argument("--device", metavar="NAME", help="show what holds when watch is given this")
    verb.add_argument("--data", metavar="DIR", help="the same")
    verb.add_argument("--tone", metavar="HZ", help="the same")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Show or change; return 0. Raises InputError: key, value and remedy in one line."""
    from beepwatch.settings.file import change, config_folder  # noqa: PLC0415 - `beepwatch --help` stays quick

    folder = config_folder(arguments.config)
    if arguments.action == "show":
        _show(folder, arguments)
        return 0
    if arguments.key is None:
        raise InputError(f"settings {arguments.action} needs a KEY: `beepwatch settings` lists them all")
    if arguments.action == "set" and arguments.value is None:
        raise InputError(f"settings set {arguments.key} needs a VALUE; `settings clear {arguments.key}` takes it away")
    if arguments.action == "clear" and arguments.value is not None:
        raise InputError(f"settings clear {arguments.key} takes no value: did you mean `settings set`?")
    change(folder, arguments.key, arguments.value)
    _say_changed(folder, arguments.key)
    return 0


def _show(folder: Path, arguments: argparse.Namespace) -> None:
    from beepwatch.settings.file import FILE  # noqa: PLC0415
    from beepwatch.settings.household import household, rows  # noqa: PLC0415
    from beepwatch.settings.model import BY_NAME, parse, unknown  # noqa: PLC0415

    options = {"sound.microphone": arguments.device, "history.folder": arguments.data, "device.tone": arguments.tone}
    given = {name: value for name, value in options.items() if value is not None}
    for name, value in given.items():
        parse(name, value)
    if arguments.key is not None and arguments.key not in BY_NAME:
        raise InputError(unknown(arguments.key))
    home = household(folder)
    for row in rows(home, given):
        if arguments.key in (None, row.name):
            print(f"{row.name} = {row.value}  ({row.origin})")
            print(f"    {row.may_be}{' (from the next start of watch on)' if row.waits else ''}")
    if arguments.key is None:
        _show_rest(home, folder / FILE)


def _show_rest(home: "Household", file: Path) -> None:
    """What stands in lists of tables, the taught beeps, and where it all is."""
    from beepwatch.settings.ladder import described  # noqa: PLC0415

    print("\nWho is woken by what (lists of tables in the file: see README):")
    for line in described(home.settings.ladder, home.settings.rota, home.settings.command):
        print(f"  {line}")
    print("\nTaught beeps:")
    for one in home.sounders:
        print(f"  {one.name}: {one.now:.1f} Hz, {one.role}, taught {one.taught}")
    if not home.sounders:
        print("  none: see beepwatch teach --help")
    for note in home.notes:
        print(f"Note: {note}.")
    print(f"\nThe file: {file}")


def _say_changed(folder: Path, name: str) -> None:
    from beepwatch.settings.household import household, rows  # noqa: PLC0415

    for row in rows(household(folder), {}):
        if row.name == name:
            waits = "It waits for the next start of watch." if row.waits else "A running watch takes it over at once."
            print(f"{row.name} = {row.value}  ({row.origin}). {waits}")
