"""PortAudio as `Microphone` needs it: find a device, open a stream. All its errors become ours here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import Protocol, TypeAlias

from beepwatch.errors import CannotHear, NoMicrophone
from beepwatch.sources.block import Samples
from beepwatch.sources.library import LIBRARY, Busy, fresh_name

BLOCK = 0.05
"""s of sound a callback: what is waited for before an alarm can be raised. With it the first wake sound comes 0.12 s
(median) and 0.25 s (worst of 50) after the sample that proves an alarm (measured by tests/bench/waking.py)."""
LATENCY = 0.2
"""s that the sound system may hold back: with it a sound server gave 300 s without a hole (measured)."""
HANGS = "the sound system does not answer: it hangs"
MOST = 8
"""Channels: a microphone array has up to 8. A device with more is a sound server or a mixing desk."""
FEW = 2
"""Channels to take where there are more than `MOST`: a server copies its microphone into each (judgement)."""

Receive: TypeAlias = Callable[[Samples, bool], None]
"""Called by the sound system's thread: (samples to copy, whether it says that some were lost before)."""


@dataclass(frozen=True, slots=True)
class Device:
    """An input device as it will be used."""

    index: int
    name: str
    rate: int
    """Hz: its own."""
    channels: int
    """How many will be taken."""
    offers: int
    """How many it has."""


class Stream(Protocol):
    """A running input stream."""

    @property
    def active(self) -> bool:
        """Whether it still runs, as far as the sound system says."""

    def abandon(self) -> None:
        """Give it up at once. May hang for as long as the sound server does."""


class SoundSystem(Protocol):
    """What `Microphone` asks of PortAudio. Both raise NoMicrophone with one sentence; both may hang."""

    def find(self, device: str | int | None) -> Device:
        """The input device of this name or number; None for the system's default."""

    def open(self, device: Device, receive: Receive) -> Stream:
        """Start to listen."""

    def refresh(self, device: str | int | None, name: str | None) -> bool:
        """List the devices anew, if a fresh process finds this one (under this name, where one is given).

        Closes every stream. False where nothing was done. May take 5 s, or hang.
        """


class PortAudio:
    """The real one, by sounddevice, imported when it is first used: that alone lists all devices."""

    def find(self, device: str | int | None) -> Device:
        """See `SoundSystem`."""
        sounddevice = _library()
        try:
            with LIBRARY.call():
                found = sounddevice.query_devices(device, "input")
        except Busy as error:
            raise CannotHear(HANGS) from error
        except (ValueError, sounddevice.PortAudioError) as error:
            raise NoMicrophone(_missing(sounddevice, device)) from error
        offers = int(found["max_input_channels"])
        if offers < 1:
            raise NoMicrophone(_missing(sounddevice, device))
        return Device(
            index=int(found["index"]), name=str(found["name"]), rate=round(found["default_samplerate"]),
            channels=offers if offers <= MOST else FEW, offers=offers,
        )  # fmt: skip

    def open(self, device: Device, receive: Receive) -> Stream:
        """See `SoundSystem`."""
        sounddevice = _library()

        def callback(samples: Samples, _frames: int, _times: object, status: object) -> None:
            receive(samples, bool(status))

        try:
            with LIBRARY.call():
                stream = sounddevice.InputStream(
                    device=device.index, samplerate=device.rate, channels=device.channels, dtype="float32",
                    blocksize=round(device.rate * BLOCK), latency=LATENCY, callback=callback,
                )  # fmt: skip
                stream.start()
        except Busy as error:
            raise CannotHear(HANGS) from error
        except (ValueError, sounddevice.PortAudioError) as error:
            raise NoMicrophone(f"cannot open the microphone {device.name!r}: {_plain(error)}") from error
        return LIBRARY.hold(stream)

    def refresh(self, device: str | int | None, name: str | None) -> bool:
        """See `SoundSystem`."""
        found = fresh_name(device, "input")
        if found is None or (name is not None and found != name):
            return False
        return LIBRARY.refresh(_library())


def _library() -> ModuleType:
    """The module sounddevice, or NoMicrophone if the library that it stands on is missing."""
    try:
        import sounddevice  # noqa: PLC0415 - at import it opens the sound system and lists all devices
    except OSError as error:
        raise NoMicrophone(
            "the PortAudio library is missing: install it (on Debian or Ubuntu: apt install libportaudio2)"
        ) from error
    module: ModuleType = sounddevice
    return module


def _missing(sounddevice: ModuleType, device: str | int | None) -> str:
    """One line: what was asked for, and what there is."""
    inputs: list[Mapping[str, object]] = [d for d in sounddevice.query_devices() if d["max_input_channels"] > 0]
    if not inputs:
        return "there is no microphone: plug one in, or start the sound server"
    names = ", ".join(f"{d['index']} {d['name']!r}" for d in inputs)
    if device is None:
        return f"there is no default microphone: choose one with --device; there is {names}"
    return f"there is no one microphone {device!r}: choose one with --device; there is {names}"


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())
