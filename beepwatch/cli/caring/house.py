"""The household that `beepwatch care` is about: its routines, and where what was done is kept."""

import argparse
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from beepwatch.care.household import routines_of
from beepwatch.care.routine import Routine
from beepwatch.cli.logs.log import data_of, moment
from beepwatch.errors import InputError
from beepwatch.records.database import FILE
from beepwatch.records.entries import LoggedCare
from beepwatch.records.reading import History
from beepwatch.records.store import Store, data_folder
from beepwatch.settings.file import config_folder, data_set, load
from beepwatch.settings.model import Settings

WAIT = 5.0
"""s to wait while `watch` writes: judgement."""


@dataclass(frozen=True, slots=True)
class House:
    """Settings, routines and folders."""

    config: Path
    settings: Settings
    routines: tuple[Routine, ...]
    folder: Path
    """Of the history, which may not be there yet."""

    def routine(self, name: str) -> Routine:
        """One of them. Raises InputError for a name that there is not."""
        for one in self.routines:
            if one.name == name:
                return one
        known = ", ".join(one.name for one in self.routines)
        raise InputError(f"there is no routine {name!r}: there are {known}; `beepwatch care add` makes another")

    def care(self) -> list[LoggedCare]:
        """All that was written down."""
        if not (self.folder / FILE).exists():
            return []
        with History(self.folder) as history:
            return history.care()

    def store(self) -> Store:
        """To write into; the folder is made if need be."""
        return Store(data_folder(self.folder), WAIT)


def house_of(arguments: argparse.Namespace) -> House:
    """Read it all. Raises InputError or RecordsError, one line."""
    config = config_folder(getattr(arguments, "config", None))
    settings, _ = load(config)
    data: Path | None = getattr(arguments, "data", None)
    folder = data if data is not None else data_set(settings) or data_of(None, config)
    return House(config, settings, routines_of(settings), folder)


def when(arguments: argparse.Namespace) -> datetime:
    """The moment that was given, or now. Raises InputError for one to come."""
    now = datetime.now().astimezone()
    if arguments.at is None:
        return now
    given = moment("--at", arguments.at)
    if given > now:
        raise InputError(f"--at {arguments.at} is yet to come: write it down when it is done")
    return given
