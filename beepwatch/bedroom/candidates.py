"""Which sounders a stretch of sound may hold: beeps of one tone together, the likeliest device first."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from beepwatch.bedroom.learning import Floats, Snippet
from beepwatch.events import Beep, Changed, Event, Raised
from beepwatch.patterns.evidence import sounder as likeness
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.sources.block import Block, Samples
from beepwatch.sources.resample import Resampler

ALIKE = 0.01
"""Beeps of one sounder agree in tone to this."""
MOST = 5
"""Candidates that a person is asked about at most."""
USED = 24
"""Beeps of one sounder that are measured at most: more say nothing new."""
AROUND = 0.35
"""s of sound kept on both sides of a beep: what its edges are read against."""
DEVICE = ("lead-disconnect", "battery-critical", "backup-battery")


@dataclass(frozen=True, slots=True)
class Candidate:
    """Beeps of one tone, by onset; `alarm`: the alarm of the device that they were taken for."""

    beeps: tuple[Beep, ...]
    alarm: str | None = None

    @property
    def tone(self) -> float:
        """Hz, of the middle beep."""
        return sorted(beep.frequency for beep in self.beeps)[len(self.beeps) // 2]


class Listener:
    """Hears blocks of one source; keeps its beeps and the device's alarms named in it.

    tell: is given each beep as it becomes known.
    """

    def __init__(self, rate: int, channels: int, tell: Callable[[Beep], None] = lambda beep: None) -> None:
        self.beeps: list[Beep] = []
        self.alarms: dict[int, tuple[str, float]] = {}
        self._tell = tell
        self._resampler = Resampler(rate, channels)
        self._recognizer = Recognizer(channels, bandwidth=min(RATE / 2, rate / 2))

    def take(self, block: Block) -> None:
        """Hear one block, and the hole before it."""
        if block.lost:
            rest, missing = self._resampler.skip(block.lost)
            self._keep([*self._recognizer.push(rest), *self._recognizer.skip(missing)])
        self._keep(self._recognizer.push(self._resampler.push(block.samples)))

    def end(self) -> None:
        """No more comes."""
        self._keep([*self._recognizer.push(self._resampler.flush()), *self._recognizer.flush()])

    def _keep(self, events: Iterable[Event]) -> None:
        for event in events:
            if isinstance(event, Beep):
                self.beeps.append(event)
                self._tell(event)
            elif isinstance(event, Raised | Changed) and event.alarm.pattern in DEVICE:
                self.alarms[event.alarm.number] = (event.alarm.pattern, event.alarm.frequency)

    @property
    def candidates(self) -> list[Candidate]:
        """See `candidates`."""
        return candidates(self.beeps, list(self.alarms.values()))


def candidates(beeps: Sequence[Beep], alarms: Sequence[tuple[str, float]] = ()) -> list[Candidate]:
    """Up to MOST groups of beeps of one tone, those named as the device's alarm first, then by likeness to a buzzer.

    alarms: (pattern, Hz) of each alarm of the device. Groups may have fewer beeps than are needed to learn from.
    """
    groups: list[list[Beep]] = []
    for beep in sorted(beeps, key=lambda beep: -beep.snr):
        home = next((group for group in groups if abs(group[0].frequency / beep.frequency - 1) <= ALIKE), None)
        if home is None:
            groups.append([beep])
        else:
            home.append(beep)
    found = [_candidate(group, alarms) for group in groups]
    return sorted(found, key=_worth, reverse=True)[:MOST]


def _candidate(group: Sequence[Beep], alarms: Sequence[tuple[str, float]]) -> Candidate:
    tone = group[0].frequency
    named = next((pattern for pattern, hertz in alarms if abs(hertz / tone - 1) <= ALIKE), None)
    alike = _alike(group) if named == DEVICE[0] else group
    return Candidate(tuple(sorted(alike, key=lambda beep: beep.onset)), named)


def _alike(group: Sequence[Beep]) -> list[Beep]:
    """Of a cable alarm's beeps those near the usual length: no pieces of one, and none that ran together."""
    usual = sorted(beep.duration for beep in group)[len(group) // 2]
    return [beep for beep in group if 0.7 <= beep.duration / usual <= 1.4]


def _worth(one: Candidate) -> tuple[bool, bool, float]:
    """An alarm of the device first, then three beeps or more, then the sum of what speaks for a buzzer."""
    total = sum(max(likeness(beep.character), 0.1) for beep in one.beeps)
    return (one.alarm is not None, len(one.beeps) >= 3, total)


def used(one: Candidate) -> tuple[Beep, ...]:
    """The beeps that are measured: the clearest, by onset."""
    return tuple(sorted(sorted(one.beeps, key=lambda beep: -beep.snr)[:USED], key=lambda beep: beep.onset))


def snippets(blocks: Iterable[Block], rate: int, beeps: Sequence[Beep]) -> list[Snippet]:
    """Each beep's sound, cut out of a source's blocks: the loudest channel. A beep near a hole is left out."""
    found: list[Snippet] = []
    waiting = sorted(beeps, key=lambda beep: beep.onset)
    held: list[Block] = []
    for block in blocks:
        held.append(block)
        while waiting and block.end >= (waiting[0].end + AROUND) * rate:
            found += _cut(held, rate, waiting.pop(0))
        first = (waiting[0].onset - AROUND) * rate if waiting else np.inf
        held = [other for other in held if other.end > first - rate]
        if not waiting:
            break
    return found + [one for beep in waiting for one in _cut(held, rate, beep)]


def _cut(held: Sequence[Block], rate: int, beep: Beep) -> list[Snippet]:
    first, last = max(round((beep.onset - AROUND) * rate), 0), round((beep.end + AROUND) * rate)
    parts: list[Samples] = []
    begin = None
    for block in held:
        if block.end <= first or block.start >= last:
            continue
        if parts and block.lost:
            return []
        begin = max(block.start, first) if begin is None else begin
        parts.append(block.samples[max(first - block.start, 0) : last - block.start])
    if begin is None:
        return []
    sound = np.concatenate(parts).astype(np.float64)
    if not np.isfinite(sound).all() or begin > beep.onset * rate:
        return []
    loudest: Floats = sound[:, int(np.argmax((sound**2).sum(axis=0)))]
    return [Snippet(loudest, rate, beep.onset - begin / rate, beep)]
