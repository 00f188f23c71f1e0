"""PortAudio as `Speaker` needs it: find an output, open a stream that asks for samples."""

from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType
from typing import Protocol, TypeAlias

from beepwatch.channels.tone import Samples
from beepwatch.errors import CannotWake
from beepwatch.sources.library import LIBRARY, Busy

LATENCY = 0.1
"""s that the sound system may hold: enough for a busy program, and short beside 0.3 s to the first sound."""
HANGS = "no sound comes out: the sound system does not answer; restart it"
CHANNELS = 2
"""At most: each gets the same sound, so it does not matter which one a speaker hangs on."""

Fill: TypeAlias = Callable[[Samples], None]
"""Called by the sound system's thread with an array of shape (frames, channels) to be filled."""


@dataclass(frozen=True, slots=True)
class Output:
    """An output device as it will be used."""

    index: int
    name: str
    rate: int
    """Hz: its own."""
    channels: int


class OutputStream(Protocol):
    """A running output stream."""

    @property
    def active(self) -> bool:
        """Whether it still runs, as far as the sound system says."""

    @property
    def latency(self) -> float:
        """s from filling to hearing, as far as the sound system knows."""

    def abandon(self) -> None:
        """Drop what is not sounded yet, and close. May hang for as long as the sound server does."""


class OutputSystem(Protocol):
    """What `Speaker` asks of PortAudio. Both raise CannotWake with one sentence; both may hang."""

    def find(self, device: str | int | None) -> Output:
        """The output of this name or number; None for the system's default."""

    def open(self, output: Output, fill: Fill) -> OutputStream:
        """Start to sound."""


class PortAudioOutput:
    """The real one, by sounddevice, imported when it is first used: that alone lists all devices."""

    def find(self, device: str | int | None) -> Output:
        """See `OutputSystem`."""
        sounddevice = _library()
        try:
            with LIBRARY.call():
                found = sounddevice.query_devices(device, "output")
        except Busy as error:
            raise CannotWake(HANGS) from error
        except (ValueError, sounddevice.PortAudioError) as error:
            asked = "" if device is None else f" {device!r}"
            raise CannotWake(
                f"no speaker{asked} can be found: plug one in, or start the sound server, and start again"
            ) from error
        channels = min(CHANNELS, int(found["max_output_channels"]))
        return Output(int(found["index"]), str(found["name"]), round(found["default_samplerate"]), channels)

    def open(self, output: Output, fill: Fill) -> OutputStream:
        """See `OutputSystem`."""
        sounddevice = _library()

        def callback(samples: Samples, _frames: int, _times: object, _status: object) -> None:
            fill(samples)

        try:
            with LIBRARY.call():
                stream = sounddevice.OutputStream(
                    device=output.index,
                    samplerate=output.rate,
                    channels=output.channels,
                    dtype="float32",
                    latency=LATENCY,
                    callback=callback,
                )
                stream.start()
        except Busy as error:
            raise CannotWake(HANGS) from error
        except (ValueError, sounddevice.PortAudioError) as error:
            plain = " ".join(str(error).split())
            raise CannotWake(
                f"cannot open the speaker {output.name!r} ({plain}): is the sound server running?"
            ) from error
        return LIBRARY.hold(stream)


def _library() -> ModuleType:
    """The module sounddevice, or CannotWake if the library that it stands on is missing."""
    try:
        import sounddevice  # noqa: PLC0415 - at import it opens the sound system and lists all devices
    except OSError as error:
        raise CannotWake(
            "the PortAudio library is missing: install it (on Debian or Ubuntu: apt install libportaudio2)"
        ) from error
    module: ModuleType = sounddevice
    return module
