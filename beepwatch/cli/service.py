"""`beepwatch service`: keep `watch` running by systemd, and look each evening whether it does."""

import argparse
import os
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.settings.household import Household

EXAMPLES = """examples:
  beepwatch service install        write a unit for systemd's user manager; start it only if you say yes
  beepwatch service status         is it there, is it started, does it listen
  beepwatch service evening        sound if tonight's listening has not started (for a timer or a cron job)
  beepwatch service remove         stop it and take it away
"""
LINGER = """\
It starts when you log in. To have it run while nobody is logged in, as after a power cut at night, let your user
linger (systemd's word for it):
  loginctl enable-linger {user}
Without that it stops when you log out."""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "service",
        help="keep watch running by systemd, restart it, look each evening whether it runs",
        description="Install, show or remove a service that keeps `beepwatch watch --guarded` running.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("action", choices=("install", "status", "remove", "evening"))
    verb.add_argument("--start", action="store_true", help="with install: start it without asking")
    verb.add_argument("--device", metavar="NAME", help="with install: the microphone")
    verb.add_argument("--page", nargs="?", const="", metavar="HOST:PORT", help="with install: serve the page, too")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do it; return 0, or 1 where the listening has not started. Raises InputError or RecordsError."""
    from beepwatch.settings.file import config_folder  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.settings.household import household  # noqa: PLC0415

    home = household(config_folder(arguments.config))
    if arguments.action == "install":
        return _install(arguments, home)
    if arguments.action == "remove":
        return _remove()
    return _status(arguments, home) if arguments.action == "status" else _evening(arguments, home)


def _install(arguments: argparse.Namespace, home: "Household") -> int:
    from beepwatch.watch import service, units  # noqa: PLC0415

    if sys.platform != "linux":
        raise InputError(
            "there is no systemd here: start `beepwatch watch --guarded` at login by your system's own means"
        )
    evening = home.settings.watching.evening
    files = units.units(service.program(), _options(arguments), evening)
    for path in service.write(files, service.unit_folder()):
        print(f"Written: {path}")
    print(_evening_line(evening))
    if arguments.start or _yes():
        faults = service.start(list(files))
        print("\n".join(faults) or "Started, now and at each login.")
    else:
        print("Not started. To start it, now and at each login:")
        print(f"  systemctl --user daemon-reload && systemctl --user enable --now {units.NAME}", end="")
        print(f" {units.TIMER}" if evening else "")
    print(LINGER.format(user=os.environ.get("USER", "$USER")))
    print(f"\n{CAUTION}")
    return 0


def _evening_line(evening: str) -> str:
    if evening:
        return f"Each day at {evening} it sounds if tonight's listening has not started."
    return (
        "No evening hour is set (`beepwatch settings set watching.evening 22:00`): nobody is told if it is not running."
    )


def _yes() -> bool:
    """Whether a person says yes; nobody there is a no."""
    if not sys.stdin.isatty():
        return False
    return input("Start it now, and at each login? (y/n) [n] ").strip().lower() in ("y", "yes")


def _options(arguments: argparse.Namespace) -> list[str]:
    given = {"--device": arguments.device, "--data": arguments.data, "--config": arguments.config}
    absolute = {name: value.absolute() if isinstance(value, Path) else value for name, value in given.items()}
    words = [word for name, value in absolute.items() if value is not None for word in (name, str(value))]
    if arguments.page is not None:
        words += ["--page", *([arguments.page] if arguments.page else [])]
    return words


def _remove() -> int:
    from beepwatch.watch import service  # noqa: PLC0415

    there = service.remove(service.unit_folder())
    print(f"Stopped and taken away: {', '.join(there)}." if there else "There was no service of beepwatch.")
    return 0


def _folder(arguments: argparse.Namespace, home: "Household") -> Path:
    from beepwatch.records.store import default_folder  # noqa: PLC0415
    from beepwatch.settings.file import data_set  # noqa: PLC0415

    return data_set(home.settings, arguments.data) or default_folder()


def _status(arguments: argparse.Namespace, home: "Household") -> int:
    from beepwatch.watch import service, units  # noqa: PLC0415

    for name in (units.NAME, units.TIMER):
        there = (service.unit_folder() / name).exists()
        says = [service.ask(word, name)[1] or "unknown" for word in ("is-enabled", "is-active")] if there else []
        print(f"{name}: {', '.join(says) if there else 'not installed'}")
    listens = _listens(_folder(arguments, home))
    print("It listens now, by its history." if listens else "IT DOES NOT LISTEN NOW, by its history.")
    return 0 if listens else 1


def _listens(folder: Path) -> bool:
    from beepwatch.errors import RecordsError  # noqa: PLC0415
    from beepwatch.watch.service import listens  # noqa: PLC0415

    try:
        return listens(folder, datetime.now().astimezone())
    except RecordsError:
        return False  # no history: it has never listened


def _evening(arguments: argparse.Namespace, home: "Household") -> int:
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.watch import service  # noqa: PLC0415
    from beepwatch.watch.callers import messages_of  # noqa: PLC0415
    from beepwatch.watch.sounding import Sounding  # noqa: PLC0415

    folder = data_folder(_folder(arguments, home))
    if _listens(folder):
        print("Tonight's listening has started.")
        return 0
    messages = messages_of(home)
    print(messages.screen(messages.title(service.MESSAGE), *messages.lines(service.MESSAGE)), flush=True)
    made = Sounding(folder, home.settings.sound)
    print(f"Told by: {service.sound(made, messages) or 'no way that works'}.", flush=True)
    if not made.speaker.close():
        os._exit(1)  # a sound server that hangs would hold the ordinary end of the process too
    return 1
