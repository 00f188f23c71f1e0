"""When our own wake sound is in the room: a known signal, which is no beep of a device and no company of one.

Its tone is known by frequency and length, its speech holds no steady tone; so nothing of the sound itself is taken out,
and no delay, level or clock of the way through the room need be known.
"""

from dataclasses import replace

from beepwatch.events import Beep, Heard, OwnSound

from .finish import Found
from .surroundings import NONE_DB

LINGERS = 2.0
"""s after the order to be silent in which it may still be heard: the sound system's buffers (some tenths of a second)
and a room's decay (judgement)."""
LASTING = 1.0
"""s: our pulses are shorter, and speech holds no tone so long. What is longer, or on the known tone, needs no company
to be judged by."""
SAME = 0.003
"""Relative: a beep this near to our tone or a harmonic may be ours (measured in simulated rooms: pulses of 0.28 s are
heard within 0.1 % of it, `python -m tests.bench.loud`)."""
SHORTER, LONGER = 0.07, 0.1
"""s by which a pulse of ours may look shorter (its edges weak in noise) or longer (echo, measured: 0.06-0.09 s).
What is shorter is no pulse of ours: a carbon monoxide alarm at 520 Hz has pulses of 0.1 s."""
KEPT = 8
"""Times of sounding that are remembered: bursts are told within a minute of their onset."""


class Ours:
    """Times in s of stream time."""

    def __init__(self) -> None:
        self._spans: list[tuple[float, float, OwnSound]] = []
        self._now: tuple[float, OwnSound] | None = None

    def tell(self, sound: OwnSound | None, at: float) -> None:
        """From `at` on this sounds; None: from then on we are silent."""
        if self._now is not None:
            self._spans = [*self._spans[1 - KEPT :], (self._now[0], at + LINGERS, self._now[1])]
        self._now = None if sound is None else (at, sound)

    def during(self, begin: float, end: float) -> OwnSound | None:
        """What of ours may have sounded between; None for nothing."""
        if self._now is not None and end > self._now[0]:
            return self._now[1]
        return next((sound for a, b, sound in self._spans if a < end and begin < b), None)

    def apart(self, found: Found, origin: float, known: bool) -> Found:
        """The burst without the company that may be ours; origin: s from which its times count; known: its tone is."""
        if not (known or found.duration >= LASTING) or self.during(origin + found.onset, origin + found.end) is None:
            return found
        return replace(found, character=replace(found.character, company=NONE_DB))

    def made(self, event: Heard) -> bool:
        """Whether this is a pulse of our own tone, or of a harmonic."""
        if not isinstance(event, Beep):
            return False
        sound = self.during(event.onset, event.end)
        if sound is None or not sound.pulse - SHORTER <= event.duration <= sound.pulse + LONGER:
            return False
        order = max(1, round(event.frequency / sound.tone))
        return abs(event.frequency / (order * sound.tone) - 1) <= SAME
