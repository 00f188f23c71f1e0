"""`beepwatch teach`: learn the household's own beep, and keep, carry or forget what was learned."""

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError, RecordsError

if TYPE_CHECKING:
    from beepwatch.bedroom.talk import Talk
    from beepwatch.bedroom.teach import Heard
    from beepwatch.settings.household import Household
    from beepwatch.settings.model import Settings

ABOUT = """Learn a beep: from a recording, from the last alarm that watch heard, or live.

Never unplug a cable to teach me. Use a recording, wait for the next real alarm, or use a time when the
cable comes off for care in any case. A trained person must be awake beside them while it is off."""
EXAMPLES = """examples:
  beepwatch teach night.flac                    find the beep in a recording
  beepwatch teach                               take it from the last alarm in the history
  beepwatch teach --next                        wait for the next alarm that watch hears
  beepwatch teach --live --device 'USB'         hear it now, while care is given
  beepwatch teach oven.wav --name oven --as ignore
  beepwatch teach --export device -o device.toml
  beepwatch teach --import device.toml          on another computer
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "teach",
        help="learn your device's own beep, or one to ignore",
        description=ABOUT,
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a recording that the beep is in")
    ways = verb.add_mutually_exclusive_group()
    ways.add_argument("--live", action="store_true", help="listen now, while the cable is off for care")
    ways.add_argument("--next", action="store_true", help="wait for the next alarm in the history")
    ways.add_argument("--list", action="store_true", help="what is taught")
    ways.add_argument("--forget", metavar="NAME", help="forget a taught beep")
    ways.add_argument("--change", metavar="NAME", help="give a taught beep another role: with --as")
    ways.add_argument("--export", metavar="NAME", help="write a taught beep to a file: with -o")
    ways.add_argument("--import", dest="take", type=Path, metavar="FILE", help="take a beep from such a file")
    verb.add_argument("-o", "--output", type=Path, metavar="FILE", help="where --export writes to")
    verb.add_argument("--name", metavar="NAME", help="name of the beep, such as device or oven")
    verb.add_argument("--as", dest="role", choices=("wake", "log", "ignore"), help="what its alarms do")
    verb.add_argument("--yes", action="store_true", help="take the likeliest beep without asking")
    verb.add_argument("--device", metavar="NAME", help="the microphone for --live")
    verb.add_argument("--minutes", type=float, default=10.0, metavar="N", help="how long --live listens (default 10)")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do one thing; return 0, or 1 where nothing was kept. Raises InputError, one line, for what cannot be."""
    from beepwatch.settings.file import config_folder  # noqa: PLC0415 - `beepwatch --help` stays quick

    _check(arguments)
    folder = config_folder(arguments.config)
    if arguments.list or arguments.forget or arguments.change or arguments.export or arguments.take:
        _manage(arguments, folder)
        return 0
    return 0 if _teach(arguments, folder) else 1


def _check(arguments: argparse.Namespace) -> None:
    from beepwatch.bedroom.teach import is_name  # noqa: PLC0415

    if arguments.file is not None and any(
        (arguments.live, arguments.next, arguments.list, arguments.forget, arguments.change, arguments.export,
         arguments.take)
    ):  # fmt: skip
        raise InputError("give a FILE or one of the ways that begin with --, not both")
    if arguments.name is not None and not is_name(arguments.name):
        raise InputError(f"--name {arguments.name!r} cannot be: use letters, digits, - and _, up to 40 of them")
    if arguments.change and not arguments.role:
        raise InputError("--change needs --as wake, log or ignore")
    if bool(arguments.export) != bool(arguments.output):
        raise InputError("--export NAME and -o FILE go together")
    if not 0 < arguments.minutes <= 120:
        raise InputError(f"--minutes {arguments.minutes:g} cannot be: give 1 to 120")


def _teach(arguments: argparse.Namespace, folder: Path) -> bool:
    """Hear, ask and keep; whether something was kept."""
    from beepwatch.bedroom.picture import pens  # noqa: PLC0415
    from beepwatch.bedroom.talk import Talk  # noqa: PLC0415
    from beepwatch.bedroom.teach import Wish, teach  # noqa: PLC0415

    talk = Talk()
    heard = _heard(arguments, folder, talk)
    if heard is None:
        return False
    wish = Wish(arguments.name, arguments.role, arguments.yes)
    if wish.sure:
        wish = Wish(wish.name or "device", wish.role or "wake", sure=True)
    today = date.today()  # noqa: DTZ011 - the day here, as a person counts it
    return teach(heard, talk, folder, wish, pen=pens(sys.stdout.encoding), today=today) is not None


def _heard(arguments: argparse.Namespace, folder: Path, talk: "Talk") -> "Heard | None":
    """What there is to learn from; None where it is not to be."""
    from beepwatch.bedroom import teach  # noqa: PLC0415
    from beepwatch.settings.file import load  # noqa: PLC0415

    if arguments.file is not None:
        return teach.from_recording(arguments.file)
    settings, _ = load(folder)
    if arguments.live:
        return _live(arguments, talk, arguments.device or settings.sound.microphone)
    history = _history(arguments.data, settings)
    if arguments.next:
        return teach.from_next_alarm(history, talk, seconds=float("inf"))
    heard = teach.from_history(history)
    if not heard.candidates:
        talk.say(
            "No alarm with three beeps is in the history yet.\n"
            "Leave watch on. After the next real alarm, start this again. Or give a recording: beepwatch teach FILE"
        )
        return None
    return heard


def _live(arguments: argparse.Namespace, talk: "Talk", device: str) -> "Heard | None":
    from beepwatch.bedroom import teach  # noqa: PLC0415
    from beepwatch.sources.microphone import Microphone  # noqa: PLC0415

    if not teach.consent(talk):
        talk.say("Then not now. Nothing was kept. A recording or the next real alarm will do as well.")
        return None
    source = Microphone(int(device) if device.isdecimal() else device or None)
    try:
        talk.say(f"I listen to {source.name!r}. I need three beeps.")
        return teach.live(source, talk, 60 * arguments.minutes)
    finally:
        source.close()


def _history(given: Path | None, settings: "Settings") -> Path:
    from beepwatch.records.store import default_folder  # noqa: PLC0415
    from beepwatch.settings.file import data_set  # noqa: PLC0415

    if given is not None and not given.is_dir():
        raise RecordsError(f"no history in {given}: name the folder that `beepwatch watch --data` was given")
    return data_set(settings, given) or default_folder()


def _manage(arguments: argparse.Namespace, folder: Path) -> None:
    """List, forget, change, export or import."""
    import msgspec  # noqa: PLC0415

    from beepwatch.bedroom.teach import check_role  # noqa: PLC0415
    from beepwatch.settings import file  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    home = household(folder)
    by_name = {one.name: one for one in home.sounders}
    wanted = arguments.change or arguments.export or arguments.forget
    if wanted and wanted not in by_name:
        raise InputError(f"there is no taught beep named {wanted!r}: `beepwatch teach --list` tells the names")
    if arguments.list:
        _list(home)
    elif arguments.forget:
        file.forget_sounder(folder, arguments.forget)
        print(f"{arguments.forget} is forgotten.")
    elif arguments.change:
        one = msgspec.structs.replace(by_name[wanted], role=arguments.role)
        others = household(folder).tone if home.device != by_name[wanted] else home.settings.device.tone
        check_role(one.role, one.now, others)
        file.keep_sounder(folder, one)
        print(f"{one.name}: {one.role}.")
    elif arguments.export:
        file.write(arguments.output, file.sounder_text(by_name[wanted]))
        print(f"{wanted} is in {arguments.output}. On the other computer: beepwatch teach --import FILE")
    else:
        _import(arguments, home)


def _import(arguments: argparse.Namespace, home: "Household") -> None:
    """Take a beep from a file of another machine."""
    import msgspec  # noqa: PLC0415

    from beepwatch.bedroom.teach import check_role  # noqa: PLC0415
    from beepwatch.settings.file import keep_sounder  # noqa: PLC0415
    from beepwatch.settings.sounder import read  # noqa: PLC0415

    one = read(_text(arguments.take), str(arguments.take))
    one = msgspec.structs.replace(one, name=arguments.name or one.name, role=arguments.role or one.role)
    if one.name in {other.name for other in home.sounders} and not arguments.yes:
        raise InputError(f"a beep named {one.name} is here already: give another --name, or --yes to replace it")
    check_role(one.role, one.now, home.tone)
    keep_sounder(home.folder, one)
    print(f"{one.name}: {one.now:.1f} Hz, {one.role}. Its level is that of the other computer's microphone.")


def _list(home: "Household") -> None:
    from beepwatch.bedroom.words import listed  # noqa: PLC0415

    for one in home.sounders:
        print(listed(one, device=one == home.device))
    if not home.sounders:
        print("Nothing is taught yet: see `beepwatch teach --help`.")
    for note in home.notes:
        print(f"Note: {note}.")


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot read {path}: give a file that `beepwatch teach --export` wrote") from error
