"""A sound system on the bench: it does what a test says, and its streams are pumped by hand."""

from queue import SimpleQueue
from threading import Event

import numpy as np

from beepwatch.channels.output import Fill, Output
from beepwatch.channels.tone import Samples
from beepwatch.errors import CannotWake

RATE = 16_000


class BenchStream:
    """An open stream: `pump` plays the part of the sound system's thread."""

    def __init__(self, fill: Fill, channels: int, stuck: bool):
        self.active = True
        self.latency = 0.25
        self.abandoned = Event()
        self.release = Event()
        self.primed: Samples = np.zeros(0, np.float32)
        self._fill = fill
        self._channels = channels
        if not stuck:
            self.release.set()

    def pump(self, seconds: float) -> Samples:
        """Take so much sound from the program: shape (n,); all channels must be alike."""
        out = np.full((round(seconds * RATE), self._channels), np.nan, np.float32)
        self._fill(out)
        assert (out == out[:, :1]).all()
        return out[:, 0]

    def abandon(self) -> None:
        """Close; hangs where the bench says so."""
        self.abandoned.set()
        self.release.wait(20)


class BenchSystem:
    """`OutputSystem` with faults: none at first."""

    def __init__(self) -> None:
        self.there = True
        """Is there an output device?"""
        self.broken: Exception | None = None
        """What opening raises."""
        self.go_on = Event()
        """Cleared: opening hangs until it is set."""
        self.go_on.set()
        self.abandon_hangs = False
        self.primes = 0.0
        """s of sound that opening asks for, before anything sounds."""
        self.opening: SimpleQueue[str] = SimpleQueue()
        self.opened: SimpleQueue[BenchStream] = SimpleQueue()

    def find(self, device: str | int | None) -> Output:
        """The one device, if it is there."""
        if not self.there:
            raise CannotWake("no speaker can be found: plug one in")
        return Output(0, "bench", RATE, 2)

    def open(self, output: Output, fill: Fill) -> BenchStream:
        """A stream, or the fault that was asked for."""
        self.opening.put(output.name)
        self.go_on.wait(20)
        if self.broken is not None:
            raise self.broken
        stream = BenchStream(fill, output.channels, self.abandon_hangs)
        stream.primed = stream.pump(self.primes) if self.primes else stream.primed
        self.opened.put(stream)
        return stream
