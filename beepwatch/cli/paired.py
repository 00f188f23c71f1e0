"""`beepwatch paired`: which phones and bedside computers may see the page; pair another, or shut one out."""

import argparse
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.page.pairing import Device, Pairing

EXAMPLES = """examples:
  beepwatch paired                            list them
  beepwatch paired --new                      a code for one more, good once, for five minutes
  beepwatch paired --revoke 2                 number 2 is shut out within seconds
  beepwatch paired --certificate home.crt     the household's certificate as a file, for a phone to take over
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "paired",
        help="list, add or shut out the phones that see the page",
        description="Which devices may see the page of `watch --page` and answer alarms; add one or shut one out.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    what = verb.add_mutually_exclusive_group()
    what.add_argument("--new", action="store_true", help="show a one-time code for one more device")
    what.add_argument("--revoke", metavar="NUMBER", help="shut this device out")
    what.add_argument("--certificate", type=Path, metavar="FILE", help="write the household's certificate there")
    verb.add_argument("--page", default="", metavar="HOST:PORT", help="where the page is, as given to watch")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do one of these; return 0. Raises InputError or RecordsError."""
    from beepwatch.page.pairing import Pairing  # noqa: PLC0415 - `beepwatch --help` stays quick

    folder = _folder(arguments)
    pairing = Pairing(folder)
    if arguments.new:
        _new(arguments, folder, pairing)
    elif arguments.revoke is not None:
        _revoke(pairing, arguments.revoke)
    elif arguments.certificate is not None:
        _certificate(folder, arguments.certificate)
    else:
        _list(pairing)
    return 0


def _folder(arguments: argparse.Namespace) -> Path:
    """Where `watch` with the same options has it."""
    from beepwatch.page import FOLDER  # noqa: PLC0415
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    kept = household(config_folder(arguments.config)).settings.history.folder
    return data_folder(arguments.data or (Path(kept).expanduser() if kept else None)) / FOLDER


def _new(arguments: argparse.Namespace, folder: Path, pairing: "Pairing") -> None:
    from beepwatch.page.authority import authority, fingerprint  # noqa: PLC0415
    from beepwatch.page.names import host_name, place  # noqa: PLC0415
    from beepwatch.page.showing import pairing_words  # noqa: PLC0415

    where = place(arguments.page)
    mark = fingerprint(authority(folder))
    print(
        pairing_words(where.host or host_name(), where.port, pairing.new_code(time.time()), mark, sys.stdout.isatty())
    )
    print("`beepwatch watch --page` must be running meanwhile.")


def _revoke(pairing: "Pairing", number: str) -> None:
    if not number.isdecimal() or not pairing.revoke(int(number), time.time()):
        raise InputError(f"--revoke {number}: no paired device has this number; `beepwatch paired` lists them")
    print(f"Number {number} is shut out. A page that is open there says so within seconds.")


def _certificate(folder: Path, path: Path) -> None:
    from beepwatch.page.authority import authority, fingerprint, grouped  # noqa: PLC0415

    own = authority(folder)
    try:
        path.write_bytes(own)
    except OSError as error:
        raise InputError(f"cannot write {path} ({error.strerror}): choose another file") from error
    print(f"Written to {path}. Fingerprint (SHA-256): {grouped(fingerprint(own))}")


def _list(pairing: "Pairing") -> None:
    devices = pairing.devices()
    for one in devices:
        print(f"{one.number:3}  {one.name}  ({one.kind}), paired {_day(one.paired)}, {_standing(one)}")
    if not devices:
        print("No device is paired. `beepwatch paired --new` shows a code for one.")


def _standing(one: "Device") -> str:
    if one.revoked is not None:
        return f"SHUT OUT {_day(one.revoked)}"
    if not one.valid(time.time()):
        return "not seen for a season: pair it anew"
    return f"seen {_day(one.seen)}"


def _day(epoch: float) -> str:
    return f"{datetime.fromtimestamp(epoch).astimezone():%Y-%m-%d %H:%M}"
