"""The second process of `watch --guarded`, put together from the settings."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from beepwatch.channels.second import argument_list
from beepwatch.records.store import data_folder
from beepwatch.settings.file import data_set
from beepwatch.settings.household import Household
from beepwatch.watch.callers import messages_of
from beepwatch.watch.console import Console
from beepwatch.watch.guard import MESSAGE, Guard, Means, first_process
from beepwatch.watch.pulse import notify_of
from beepwatch.watch.sounding import Sounding, voiced_of


def guard_of(words: Sequence[str], data: Path | None, home: Household, *, silent: bool) -> Guard:
    """The guard of a `watch` with these words on its command line. Raises InputError or RecordsError."""
    folder = data_folder(data_set(home.settings, data))
    argument_list(home.settings.sound.second_way)
    messages = messages_of(home)

    def sounds() -> "Sounding":
        made = Sounding(folder, home.settings.sound, voiced=voiced_of(home))
        made.voice.prepare(messages.lines(MESSAGE))
        return made

    means = Means(None if silent else lambda: sounds().speaker, messages, Console(sys.stdout).plain)
    return Guard(first_process(words), means, notify_of(os.environ))
