"""`beepwatch bedside`: a second computer beside the caregiver, which wakes by its own speaker."""

import argparse
import logging
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION

if TYPE_CHECKING:
    from queue import SimpleQueue

    from beepwatch.bedside.loop import Ears, Report

NOBODY = "the bedside"
"""How it is called where no caregiver has a name."""
EXAMPLES = """examples:
  beepwatch bedside 'https://listener.local:8443/pair#CODE~FINGERPRINT'
                          pair, with the link that `beepwatch paired --new` shows on the computer that listens
  beepwatch bedside       wake here from now on; any key says "I am going"
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "bedside",
        help="wake the caregiver here, for another computer that listens",
        description=(
            "Be the caregiver's bedside: sound tone and voice here for a computer that listens in the other room\n"
            "(`beepwatch watch --page` there), and alarm where it, or the link to it, falls silent."
        ),
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("link", nargs="?", metavar="LINK", help="pair with the listener that made this link")
    verb.add_argument("--name", default="", help="whose bedside this is (default: as the settings have the caregiver)")
    verb.add_argument("--device", metavar="NAME", help="microphone that is to confirm the sound; 'none' for none")
    verb.add_argument("--data", type=Path, metavar="DIR", help="where the pairing is kept")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Pair, or wake here until Ctrl-C; returns 0. Raises InputError with one line."""
    from beepwatch.bedside.paired import keep, pair, parsed  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.settings.file import config_folder, data_set  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    home = household(config_folder(arguments.config))
    folder = data_folder(data_set(home.settings, arguments.data))
    if arguments.link is None:
        return _wake(arguments, folder)
    listener = pair(parsed(arguments.link), arguments.name or home.settings.names.caregiver or NOBODY)
    keep(folder, listener)
    print(f"Paired as {listener.name}. Now start it here each evening: beepwatch bedside")
    return 0


def _wake(arguments: argparse.Namespace, folder: Path) -> int:
    from queue import SimpleQueue  # noqa: PLC0415

    from beepwatch.bedside.loop import Bedside, Parts  # noqa: PLC0415
    from beepwatch.bedside.paired import kept  # noqa: PLC0415
    from beepwatch.bedside.wire import Wire  # noqa: PLC0415
    from beepwatch.channels.speaker import Speaker  # noqa: PLC0415
    from beepwatch.channels.voice import Voice  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415
    from beepwatch.watch.callers import messages_of  # noqa: PLC0415
    from beepwatch.watch.keys import Keys  # noqa: PLC0415
    from beepwatch.watch.process import errors_to, take_signals  # noqa: PLC0415
    from beepwatch.watch.sounding import chosen  # noqa: PLC0415

    listener = kept(folder)
    home = household(config_folder(arguments.config))
    messages = messages_of(home)
    reports: SimpleQueue[Report] = SimpleQueue()
    ears = _ears(arguments.device or home.settings.sound.microphone, reports)
    voice = Voice(reports.put)
    voice.prepare(messages.all_lines())
    speaker = Speaker(reports.put, device=chosen(home.settings.sound.speaker), voice=voice)
    wire = Wire(listener)
    bedside = Bedside(Parts(speaker, ears, wire, reports, _say, messages))
    take_signals(bedside.stop, live=True)
    keys = Keys(bedside.put)
    _say(f"{CAUTION}\n\nThis computer is {_whose(listener.name)}, for {listener.host}:{listener.port}.")
    _say('Any key says "I am going". Ctrl-C ends this.' if keys.usable else "No key can answer here: no terminal.")
    logging.getLogger("beepwatch").propagate = False
    wire.start(bedside.put)
    try:
        with errors_to(folder / "bedside-sound-system.log"):
            bedside.run()
    finally:
        wire.close()
        keys.close()
    return 0


def _whose(name: str) -> str:
    return NOBODY if name == NOBODY else f"the bedside of {name}"


def _ears(device: str, reports: "SimpleQueue[Report]") -> "Ears | None":
    """The microphone that confirms the sound; where there is none, that is told and nothing is confirmed."""
    from beepwatch.errors import CannotHear, NoMicrophone  # noqa: PLC0415
    from beepwatch.sources.microphone import Microphone  # noqa: PLC0415
    from beepwatch.watch.sounding import chosen  # noqa: PLC0415

    if device == "none":
        return None
    try:
        found: Microphone = Microphone(chosen(device))
    except (CannotHear, NoMicrophone) as error:
        reports.put(f"no microphone here, so the wake sound is not confirmed ({error})")
        return None
    return found


def _say(text: str) -> None:
    try:
        print(text, flush=True)
    except (OSError, ValueError):  # the terminal has gone; the waking goes on
        sys.stdout = None
