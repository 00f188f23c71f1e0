"""Plays a sound and records at the same time, or only records, by the same doors as `watch`."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from threading import Event
from types import TracebackType
from typing import Protocol

import numpy as np

from beepwatch.channels.output import OutputStream, OutputSystem, PortAudioOutput
from beepwatch.errors import CannotHear
from beepwatch.sources.block import Block, Samples
from beepwatch.sources.clock import ticking

PATIENCE = 5.0
"""s without a block after which a microphone counts as silent for good."""
SLACK = 1.0
"""s to record beyond a sound that this computer plays: what output and input hold back (measured: 0.4 s)."""

Sound = Callable[[int], "np.typing.NDArray[np.float32]"]
"""A sound, made for a rate: shape (n,)."""


class Source(Protocol):
    """What is recorded from: `Microphone` or `Replay`."""

    @property
    def rate(self) -> int:
        """Hz."""

    @property
    def channels(self) -> int:
        """How many."""

    @property
    def ended(self) -> bool:
        """Whether nothing more will come."""

    def take(self, timeout: float) -> Block | None:
        """The next block."""


@dataclass(frozen=True, slots=True)
class Captured:
    """What was recorded; NaN where sound was lost."""

    samples: Samples
    """float32, shape (n, channels)."""
    rate: int


class Player:
    """Plays one sound once, from `with` on."""

    def __init__(self, sound: Sound, device: str | int | None = None, system: OutputSystem | None = None) -> None:
        self._sound, self._device = sound, device
        self._system: OutputSystem = system or PortAudioOutput()
        self._stream: OutputStream | None = None
        self._at = 0
        self.done = Event()

    def __enter__(self) -> "Player":
        """Find the speaker and begin. Raises CannotWake, one line."""
        output = self._system.find(self._device)
        self._samples = self._sound(output.rate)
        self._stream = self._system.open(output, self._fill)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._stream is not None:
            self._stream.abandon()

    def _fill(self, out: Samples) -> None:
        """The callback: copies and leaves."""
        part = self._samples[self._at : self._at + len(out)]
        self._at += len(out)
        out.fill(0.0)
        out[: len(part)] = part[:, None]
        if len(part) < len(out):
            self.done.set()


def record(
    source: Source, seconds: float, playing: AbstractContextManager[object] | None = None,
    show: Callable[[float], None] = lambda done: None, clock: Callable[[], float] = ticking,
) -> Captured:  # fmt: skip
    """Record for `seconds` (or to the end of a recording), playing meanwhile; `show` is told the seconds so far.

    Raises CannotHear where no sound comes, and what `playing` raises.
    """
    _drain(source)
    wanted, got = round(seconds * source.rate), 0
    parts: list[Samples] = []
    heard = clock()
    with playing or nullcontext():
        while got < wanted and not source.ended:
            block = source.take(0.5)
            if block is None:
                if clock() - heard > PATIENCE:
                    raise CannotHear(f"no sound came for {PATIENCE:g} s: check the microphone's plug, then try again")
                continue
            heard = clock()
            gap = min(block.lost, wanted) if parts else 0  # what was lost before the first belongs to the wait before
            lost = np.full((gap, source.channels), np.nan, np.float32)
            parts += [lost, block.samples]
            got += len(lost) + len(block.samples)
            show(got / source.rate)
    if not parts:
        raise CannotHear("no sound came: check the microphone's plug, then try again")
    return Captured(np.concatenate(parts)[:wanted], source.rate)


def _drain(source: Source) -> None:
    """Forget what waited in the queue while a question was asked; a recording has nothing waiting."""
    if getattr(source, "live", False):
        while source.take(0.0) is not None:
            pass
