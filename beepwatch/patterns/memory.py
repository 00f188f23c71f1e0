"""What was heard lately, by tone: bounded, so that hours of music cost no more than a quiet night."""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from beepwatch.events import Beep

RATIOS = (1.0, 2.0, 3.0, 0.5, 1.0 / 3.0)
"""In a room null a sounder may be heard at twice or three times its tone (measured by a prototype: 4 rooms
of 37)."""
WIDTH = 0.01
"""Width of a bin of tone, relative."""
DEPTH = 48
"""Beeps kept a bin."""
KEEP = 150.0
"""Seconds that a short beep is kept: more than two periods of the slowest regular pattern."""
METER = (60.0, 0.3, 64)
"""The meter of foreign beeps: over how many seconds, from which length (s), how many are kept at most."""


@dataclass(frozen=True, slots=True)
class Note:
    """A beep and what it is worth as evidence of a sounder, nats."""

    beep: Beep
    score: float


def fold(frequency: float, tone: float, tolerance: float) -> float | None:
    """The ratio in RATIOS by which `frequency` is the tone, to a relative tolerance; None when it is
    another tone.
    """
    for ratio in RATIOS:
        if abs(frequency - tone * ratio) <= tolerance * tone * ratio:
            return ratio
    return None


class Memory:
    """Recent beeps in bins of tone, each bin a bounded queue in order of arrival."""

    def __init__(self) -> None:
        self._bins: dict[int, deque[Note]] = {}
        self._foreign: deque[tuple[float, float]] = deque(maxlen=METER[2])

    def add(self, note: Note) -> None:
        """Keep a beep."""
        self._bins.setdefault(_bin(note.beep.frequency), deque(maxlen=DEPTH)).append(note)

    def meter(self, beep: Beep) -> None:
        """Count a beep that no open alarm explains towards how busy the room is."""
        if beep.duration >= METER[1]:
            self._foreign.append((beep.known, beep.frequency))

    def foreign(self, tone: float, now: float) -> int:
        """How many beeps of another tone were heard in the last minute: in talk about 2, in music 6 to 20."""
        return sum(
            1 for known, frequency in self._foreign if known > now - METER[0] and fold(frequency, tone, WIDTH) is None
        )

    def on_tone(self, tone: float, tolerance: float, since: float) -> list[Note]:
        """Beeps on a tone (modulo RATIOS) that began at `since` or later, by onset."""
        found = [
            note
            for note in self._near(tone)
            if note.beep.onset >= since and fold(note.beep.frequency, tone, tolerance) is not None
        ]
        found.sort(key=lambda note: note.beep.onset)
        return found

    def _near(self, tone: float) -> Iterator[Note]:
        for ratio in RATIOS:
            middle = _bin(tone * ratio)
            for place in (middle - 1, middle, middle + 1):
                yield from self._bins.get(place, ())


def _bin(frequency: float) -> int:
    return math.floor(math.log(frequency) / WIDTH)
