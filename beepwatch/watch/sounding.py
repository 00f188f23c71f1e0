"""The speaker with its voice and the second way behind it, made from the settings."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from beepwatch.channels.backed import Backed
from beepwatch.channels.own import NOTHING, Own, load
from beepwatch.channels.second import SecondWay, argument_list
from beepwatch.channels.speaker import Speaker, SpeakerReport
from beepwatch.channels.voice import Voice
from beepwatch.settings.household import Household
from beepwatch.settings.model import Sound
from beepwatch.sources.clock import ticking
from beepwatch.waking.catalogue import ENGLISH
from beepwatch.watch.callers import messages_of
from beepwatch.watch.waker import Report


def chosen(device: str | None) -> str | int | None:
    """A device as a person names it: by number, by name, or None for the system's own."""
    return int(device) if device is not None and device.isdecimal() else device or None


@dataclass(frozen=True, slots=True)
class Voiced:
    """How it is spoken: by which voice of espeak-ng, and what the family recorded itself."""

    language: str = ENGLISH
    own: Own = NOTHING


def voiced_of(home: Household) -> Voiced:
    """As the household has it. Raises InputError for a language or a sound file of no use."""
    words, sound = messages_of(home), home.settings.sound
    return Voiced(words.voice, load(sound.tone, sound.voice, words.patterns))


class Sounding:
    """What sounds, and the queue of what it reports. Raises InputError for a second way that cannot be understood.

    hangs: whether the sound server hangs, as far as the microphone knows. voiced: default English, nothing of the
    family's own. preview: the speaker alone.
    """

    def __init__(
        self,
        folder: Path,
        sound: Sound,
        hangs: Callable[[], bool] = lambda: False,
        *,
        voiced: Voiced | None = None,
        preview: bool = False,
    ) -> None:
        self.reports: SimpleQueue[Report] = SimpleQueue()
        voiced = voiced or Voiced()
        self.voice = Voice(self.reports.put, language=voiced.language, own=voiced.own)
        for note in voiced.own.notes:
            self.reports.put(f"{note}.")
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
