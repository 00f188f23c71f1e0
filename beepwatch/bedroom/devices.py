"""Microphones and speakers as the first run needs them: named, opened, played and heard."""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue

import numpy as np

from beepwatch.channels.rounds import Round
from beepwatch.channels.speaker import Failed, Speaker, SpeakerReport
from beepwatch.channels.voice import Voice
from beepwatch.errors import CannotHear
from beepwatch.sources.hush import hushed
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.patience import Attempt

PATIENCE = 10.0
"""s to wait for the sound system to name its devices."""
QUIET = 1.5
"""s of the room before a sound is played."""
SOFT = 4.0
"""s of a soft tone."""
BEGINS = 6.0
"""s in which a sound must begin."""
SPEAKS = 10.0
"""s to wait for the voice."""


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a tone that was played."""

    fault: str | None
    rise: float | None
    """dB by which the microphone heard it over the room; None where it was not listened to."""


class Devices:
    """The real ones, by PortAudio. Every method raises CannotHear or CannotWake with one line, or tells a fault."""

    def microphones(self) -> list[str]:
        """Names of all inputs (a number where a name fits several), the system's own first."""
        return _names("max_input_channels")

    def speakers(self) -> list[str]:
        """The same of outputs."""
        return _names("max_output_channels")

    def levels(self, microphone: str, seconds: float, show: Callable[[float], None]) -> list[float]:
        """Listen; dBFS of each 0.1 s, given to `show` as they come."""
        source = Microphone(chosen(microphone))
        try:
            return _levels(source, seconds, show)
        finally:
            source.close()

    def play(self, speaker: str, microphone: str | None) -> Played:
        """A soft tone of a few seconds; heard by the microphone too, where one is given."""
        source = Microphone(chosen(microphone)) if microphone is not None else None
        before = _levels(source, QUIET, _ignore) if source else []
        reports: SimpleQueue[SpeakerReport] = SimpleQueue()
        sounding = Speaker(reports.put, device=chosen(speaker))
        try:
            sounding.play(Round((0,), "medium"))
            fault = _fault(reports)
            during = [] if fault else _levels(source, SOFT, _ignore) if source else _wait(SOFT)
        finally:
            sounding.close()
            if source:
                source.close()
        return Played(fault, _rise(before, during))

    def wake(self, speaker: str, lines: Sequence[str], until: Callable[[], object]) -> str | None:
        """Tone and voice as at night, until `until` returns; what went wrong, in one line."""
        faults: list[str] = []
        voice = Voice(faults.append)
        voice.prepare(lines)
        voice.wait(SPEAKS)
        reports: SimpleQueue[SpeakerReport] = SimpleQueue()
        sounding = Speaker(reports.put, device=chosen(speaker), voice=voice)
        try:
            sounding.play(Round((0,), "high", tuple(lines)))
            fault = _fault(reports)
            if fault is None:
                with hushed():  # sound libraries print their hiccups over the question
                    until()
        finally:
            sounding.close()
        return fault or next(iter(faults), None)


def chosen(name: str | None) -> str | int | None:
    """A device as PortAudio takes it: a number, a name, or None for the system's own."""
    return int(name) if name and name.isdecimal() else name or None


def _names(channels: str) -> list[str]:
    def ask() -> list[Mapping[str, object]]:
        import sounddevice  # noqa: PLC0415 - at import it opens the sound system and lists all devices

        return list(sounddevice.query_devices())

    try:
        with hushed():
            found = Attempt(ask).result(PATIENCE)
    except OSError as error:
        raise CannotHear(
            "the PortAudio library is missing: install it (on Debian or Ubuntu: apt install libportaudio2)"
        ) from error
    names = [(str(one["name"]), str(one["index"])) for one in found if int(str(one[channels])) > 0]
    plain = [name for name, _ in names]
    return [name if plain.count(name) == 1 else number for name, number in names]


def _levels(source: Microphone, seconds: float, show: Callable[[float], None]) -> list[float]:
    """dBFS of each block in `seconds` of sound; raises CannotHear if none comes."""
    found: list[float] = []
    until = time.monotonic() + seconds + 2
    while time.monotonic() < until and len(found) * 0.1 < seconds:
        block = source.take(0.5)
        if block is None or not len(block.samples):
            continue
        power = float(np.mean(np.square(block.samples)))
        found.append(10 * math.log10(2 * power) if power > 0 else -math.inf)
        show(found[-1])
    if not found:
        raise CannotHear(f"no sound comes from {source.name!r}: check its plug, or choose another")
    return found


def _wait(seconds: float) -> list[float]:
    time.sleep(seconds)
    return []


def _ignore(_level: float) -> None:
    """Nothing is shown."""


def _fault(reports: "SimpleQueue[SpeakerReport]") -> str | None:
    """Wait for the first word of the speaker: None once it sounds."""
    try:
        word = reports.get(timeout=BEGINS)
    except Empty:
        return "no sound began: check the speaker, or choose another"
    return word.text if isinstance(word, Failed) else None


def _rise(before: Sequence[float], during: Sequence[float]) -> float | None:
    """dB from the room's middle level to the loudest tenth while it sounded."""
    quiet, loud = [x for x in before if math.isfinite(x)], [x for x in during if math.isfinite(x)]
    if not quiet or not loud:
        return None
    return float(np.quantile(loud, 0.9) - np.median(quiet))
