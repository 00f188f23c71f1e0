"""The speaker with its voice and the second way behind it, made from the settings."""

import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from beepwatch.channels.backed import Backed
from beepwatch.channels.second import SecondWay, argument_list
from beepwatch.channels.speaker import Speaker, SpeakerReport
from beepwatch.channels.voice import Voice
from beepwatch.settings.model import Sound
from beepwatch.sources.clock import ticking
from beepwatch.watch.waker import Report


def chosen(device: str | None) -> str | int | None:
    """A device as a person names it: by number, by name, or None for the system's own."""
    return int(device) if device is not None and device.isdecimal() else device or None


class Sounding:
    """What sounds, and the queue of what it reports. Raises InputError for a second way that cannot be understood.

    hangs: whether the sound server hangs, as far as the microphone knows. preview: the speaker alone.
    """

    def __init__(
        self, folder: Path, sound: Sound, hangs: Callable[[], bool] = lambda: False, *, preview: bool = False
    ) -> None:
        self.reports: SimpleQueue[Report] = SimpleQueue()
        self.voice = Voice(self.reports.put)
        make = partial(Speaker, device=chosen(sound.speaker), voice=self.voice)
        second = SecondWay(argument_list(sound.second_way), folder, self.reports.put, self.voice)
        self.speaker: Speaker | Backed = make(self._report) if preview else Backed(make, second, self._report, hangs)

    def trial(self) -> None:
        """Try the second way softly, where there is one."""
        if isinstance(self.speaker, Backed):
            self.speaker.trial()

    def _report(self, word: SpeakerReport) -> None:
        """Keep it, its time told by the clock of the loop."""
        self.reports.put(replace(word, at=ticking() - (time.monotonic() - word.at)))
