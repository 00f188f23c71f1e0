"""From blocks to events: resampler and recogniser behind one `take` that no fault of theirs gets through."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from beepwatch.events import Changed, Ended, Event, OwnSound, Raised
from beepwatch.sources.block import Block, Samples
from beepwatch.sources.resample import Resampler
from beepwatch.watch.recall import Recall

FULL = 0.999
"""Of full scale: the last step of 16 bits and what resampling leaves of it (judgement)."""


class Listens(Protocol):
    """What is needed of `Recognizer`."""

    def push(self, samples: Samples) -> Sequence[Event]:
        """Take samples of 16 kHz, shape (n, channels)."""

    def skip(self, count: int) -> Sequence[Event]:
        """Take it that `count` samples are missing."""

    def own_sound(self, sound: OwnSound | None) -> None:
        """From the next sample on our own wake sound may be in the room; None: it is not."""

    def flush(self) -> Sequence[Event]:
        """The stream is over."""


class Ears:
    """Takes blocks of one rate and channel count, gives events in stream time.

    `fault`: what the recogniser last failed on, in one line; None while it works. After a fault a new recogniser
    takes over at the same stream time; alarm numbers go on from the highest so far.
    """

    def __init__(self, rate: int, channels: int, make: Callable[[], Listens], recall: Recall | None = None) -> None:
        """recall: keeps the last minutes of what the recogniser is given."""
        self._recall = recall
        self._make = make
        self._resampler = Resampler(rate, channels)
        self._recogniser = make()
        self._position = 0  # samples of 16 kHz that the recogniser has had
        self._base = 0
        self._highest = 0
        self._own: OwnSound | None = None
        self.fault: str | None = None
        self.error: Exception | None = None

    def take(self, block: Block, unheard: bool = False) -> list[Event]:
        """Hear one block; what was lost before it is a gap, and so is itself where it is `unheard`."""
        events: list[Event] = []
        if block.lost:
            events += self._gap(block.lost)
        if unheard:
            return events + self._gap(len(block.samples))
        return events + self._push(self._resampler.push(block.samples))

    def own_sound(self, sound: OwnSound | None) -> None:
        """Our own wake sound is in the room from now on; None: no longer."""
        if sound != self._own:
            self._own = sound
            self._recogniser.own_sound(sound)

    def flush(self) -> list[Event]:
        """The stream is over: what is still on its way."""
        events = self._push(self._resampler.flush())
        return events + self._safely(self._recogniser.flush)

    def _gap(self, lost: int) -> list[Event]:
        rest, missing = self._resampler.skip(lost)
        events = self._push(rest)
        self._position += missing
        if self._recall is not None:
            self._recall.skip(missing)
        return events + self._safely(lambda: self._recogniser.skip(missing))

    def _push(self, samples: Samples) -> list[Event]:
        if not len(samples):
            return []
        self._position += len(samples)
        if self._recall is not None:
            self._recall.push(samples)
        return self._safely(lambda: self._recogniser.push(samples))

    def _safely(self, step: Callable[[], Sequence[Event]]) -> list[Event]:
        """One call to the recogniser; whatever it raises becomes `fault`, and a new one takes its place."""
        try:
            events = [self._numbered(event) for event in step()]
        except Exception as error:  # no fault of the recogniser may end the listening: it is told and logged
            self.fault, self.error = f"the recogniser failed ({type(error).__name__}: {error})", error
            self._begin_anew()
            return []
        self.fault = None
        return events

    def _begin_anew(self) -> None:
        fresh = self._make()
        fresh.skip(self._position)
        fresh.own_sound(self._own)
        self._recogniser, self._base = fresh, self._highest

    def _numbered(self, event: Event) -> Event:
        if not isinstance(event, Raised | Changed | Ended):
            return event
        number = event.alarm.number + self._base
        self._highest = max(self._highest, number)
        return replace(event, alarm=replace(event.alarm, number=number)) if self._base else event


def level(block: Block) -> float:
    """Of all its channels together, dBFS (a full-scale sine = 0); -inf where it is empty, silent or not all finite."""
    power = float(np.mean(np.square(block.samples))) if block.samples.size else 0.0
    return 10 * math.log10(2 * power) if 0 < power < math.inf else -math.inf


def silent(block: Block) -> bool:
    """Whether every sample is exactly zero."""
    return not np.any(block.samples)


def clipped(block: Block) -> bool:
    """Whether more than one sample in a thousand lies at full scale: peaks are cut off."""
    return block.samples.size > 0 and float(np.mean(np.abs(block.samples) >= FULL)) > 1e-3
