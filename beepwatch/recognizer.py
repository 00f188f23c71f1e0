"""The one object that the live loop, files, tests and benchmarks use: samples in, beeps and alarms out."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from beepwatch.errors import SamplesError
from beepwatch.events import AlarmEvent, Event, Heard, Noise, OwnSound
from beepwatch.hearing import RATE, Hearing
from beepwatch.hearing.ours import Ours
from beepwatch.patterns import Matcher
from beepwatch.patterns.profiles import packaged

__all__ = ["RATE", "Recognizer"]

SHORT_GAP = RATE // 8
"""Lost samples up to which sound is bridged as a silence; a longer gap ends what sounded before it."""

ASIDE = 0.003
"""A beep this near (relative) to a tone that is set aside is that sounder's (judgement: one sounder's beeps agree to
0.002 % where nothing moves, and drift by less over a night)."""


class Recognizer:
    """Hears one stream of sound at RATE Hz and names its alarms.

    Any split of the samples into pushes gives the same events. Memory does not grow with the stream.
    """

    def __init__(
        self,
        channels: int = 1,
        tone: float | None = None,
        bandwidth: float = RATE / 2,
        *,
        length: float | None = None,
        disarmed: Sequence[str] = (),
        aside: Sequence[float] = (),
    ) -> None:
        """Listen to `channels` channels.

        tone: Hz, the device's tone where it is known to within 3 %. bandwidth: Hz up to which the sound holds anything.
        length: s of its breath-long beep, where it was taught with the tone: faint ones are then timed better.
        disarmed: patterns not to be named. aside: as `set_aside`.
        Raises SamplesError for a channel count under 1 or a tone that cannot be heard (375 Hz to 5050 Hz).
        """
        if channels < 1:
            raise SamplesError(f"{channels} channels: at least one is needed")
        _check_tone(tone)
        self._make = (channels, tone, bandwidth, length)
        self._profiles = [profile for profile in packaged() if profile.name not in disarmed]
        self.set_aside(aside)
        self.reset()

    def set_aside(self, tones: Sequence[float]) -> None:
        """From now on beeps and tones within ASIDE of these (Hz) are told, but are no evidence of any alarm."""
        self._aside = tuple(tones)

    def know(self, tone: float | None, length: float | None = None) -> None:
        """From the next frame on listen for this tone and length (as at the start); nothing under way is lost.

        Raises SamplesError for a tone that cannot be heard.
        """
        _check_tone(tone)
        channels, _, bandwidth, _ = self._make
        self._make = (channels, tone, bandwidth, length)
        self._hearing.know(tone, length)
        self._matcher.know(tone)

    def own_sound(self, sound: OwnSound | None) -> None:
        """From the next sample on our own wake sound may be in the room; None: from then on it is not.

        Its pulses are told as beeps, but are no evidence of any alarm, and what a device does meanwhile is not doubted
        for it.
        """
        self._ours.tell(sound, self.seconds)

    def reset(self) -> None:
        """Forget everything; stream time starts at 0 again."""
        channels, tone, bandwidth, length = self._make
        self.channels = channels
        self._ours = Ours()
        self._hearing = Hearing(channels, tone, bandwidth, length=length, ours=self._ours)
        self._matcher = Matcher(tone, self._profiles, self._ours)
        self._lost, self._gap = 0, False

    @property
    def seconds(self) -> float:
        """Stream time of the last sample, lost ones included."""
        return (self._hearing.position + self._lost) / RATE

    def push(self, samples: NDArray[np.float32]) -> list[Event]:
        """Hear one block; return what became known, in order of time.

        samples: float32, shape (n,) or (n, channels), n >= 0, full scale +-1, RATE Hz, following the last block without
        a gap. Samples that are not finite count as lost. Raises SamplesError for another shape or type, and leaves the
        state as it was.
        """
        block = self._checked(samples)
        if block.shape[1] == 0:
            return []
        if np.isfinite(np.vdot(block, block)):  # NaN and infinity are passed on
            return [*self._bridge(), *self._heard(self._hearing.push(block))]
        events: list[Event] = []
        for part, whole in _runs(block):
            events += [*self._bridge(), *self._heard(self._hearing.push(part))] if whole else self.skip(part.shape[1])
        return events

    def skip(self, count: int) -> list[Event]:
        """Pass over `count` samples that were lost; stream time goes on.

        A short loss is bridged as a silence, once sound follows; a longer one ends what sounded before it.
        """
        if count < 0:
            raise SamplesError(f"cannot skip {count} samples")
        self._lost += count
        if self._lost <= SHORT_GAP and not self._gap:
            return []
        lost, self._lost, self._gap = self._lost, 0, True
        return self._heard(self._hearing.skip(lost))

    def _bridge(self) -> list[Event]:
        """Sound follows: hear a short loss before it as a silence."""
        lost, self._lost, self._gap = self._lost, 0, False
        return self._heard(self._hearing.push(np.zeros((self.channels, lost), np.float32))) if lost else []

    def flush(self) -> list[Event]:
        """End of the stream: what still sounds is told. An alarm that goes on stays open (no `Ended`)."""
        events = [*self._heard(self._hearing.flush()), *self._heard(self._hearing.skip(self._lost))]
        self._lost, self._gap = 0, False
        return [*events, *self._matcher.flush(self.seconds)]

    def _heard(self, heard: list[Heard]) -> list[Event]:
        events: list[Event] = []
        for event in heard:
            now = event.at if isinstance(event, Noise) else event.known
            alarms: list[AlarmEvent] = self._matcher.tick(now)
            if not (set_aside(event, self._aside) or self._ours.made(event)):
                alarms = [*alarms, *self._matcher.hear(event)]
            events.append(event)
            events += alarms
        return events

    def _checked(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        if samples.dtype != np.float32:
            raise SamplesError(f"samples are {samples.dtype}: float32 is needed")
        if samples.ndim == 1 and self.channels == 1:
            return np.ascontiguousarray(samples)[None]
        if samples.ndim == 2 and samples.shape[1] == self.channels:
            return np.ascontiguousarray(samples.T)
        raise SamplesError(f"samples have shape {samples.shape}: (n, {self.channels}) is needed")


def _check_tone(tone: float | None) -> None:
    if tone is not None and not 375 <= tone <= 5050:
        raise SamplesError(f"a tone of {tone:g} Hz cannot be heard: give one from 375 to 5050 Hz")


def set_aside(event: Heard, tones: Sequence[float]) -> bool:
    """Whether what was heard is of one of these tones (Hz), to within ASIDE."""
    return not isinstance(event, Noise) and any(abs(event.frequency / tone - 1) <= ASIDE for tone in tones)


def _runs(block: NDArray[np.float32]) -> Iterator[tuple[NDArray[np.float32], bool]]:
    """Stretches of `block` (channels, n) that are finite in every channel (True) or are not (False)."""
    finite = np.logical_and.reduce(np.isfinite(block), axis=0)
    cuts = [0, *(int(i) + 1 for i in np.flatnonzero(np.diff(finite))), block.shape[1]]
    for a, b in pairwise(cuts):
        yield block[:, a:b], bool(finite[a])
