"""The judge: which tones are known, which a pattern may have, and how much evidence is enough."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from beepwatch.events import Beep, Priority
from beepwatch.patterns import evidence
from beepwatch.patterns.episodes import Book
from beepwatch.patterns.memory import MULTIPLES, Memory
from beepwatch.patterns.profiles import LongTone, Profile

TAUGHT = 0.03
"""The household's tone is known to within 3 %."""
OWN = 0.01
"""Just the device's own tone, within 1 %: so must be what fits no pattern. One sounder strays less (judgement; 0.1 % as
it is taught, 0.2 % as it warms up). A wider bound takes in more of music, in proportion to its width."""
QUIET = 4
"""Fewer foreign beeps than this in the last minute: no music (prototype: talk 2, 90 % <= 4; music 6, 11, 20)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What raises an alarm: its beeps so far, each group's together, with the evidence. Times in s of stream time."""

    profile: Profile
    priority: Priority
    groups: Sequence[Sequence[Beep]]
    weighed: evidence.Weighed
    now: float
    onsets: Sequence[float] = ()
    """Where each group begins, for bursts."""


class Judge:
    """Sets the bounds from the false-wake budget (evidence.py) and from what is known of the household's tone."""

    def __init__(self, tone: float | None, book: Book, memory: Memory) -> None:
        self._tone = tone
        self._book = book
        self._memory = memory

    def know(self, tone: float | None) -> None:
        """From now on this is the household's tone; None: it is not known."""
        self._tone = tone

    def taught(self, frequency: float, multiples: Sequence[float] = MULTIPLES) -> bool:
        """Whether this is the tone of the household's device, or a multiple of it."""
        tone = self._tone
        return tone is not None and any(abs(frequency / (tone * n) - 1.0) <= TAUGHT for n in multiples)

    def own(self, frequency: float, multiples: Sequence[float] = MULTIPLES) -> bool:
        """Whether this is just the tone of the household's device, or a multiple of it."""
        tone = self._tone
        return tone is not None and any(abs(frequency / (tone * n) - 1.0) <= OWN for n in multiples)

    def known(self, profile: Profile, frequency: float, now: float) -> bool:
        """Whether a device's pattern on this tone is expected: it is taught, or a device's alarm had it lately."""
        if profile.calls != "device":
            return False
        if isinstance(profile, LongTone):  # most show their fundamental; in its null just a multiple is left
            return self.exact(frequency, now) or self.own(frequency)
        return self.taught(frequency) or self._book.device_tone(frequency, now)

    def exact(self, frequency: float, now: float) -> bool:
        """Whether a device's sound is expected on just this tone, and not only on one it is a multiple of."""
        return self.taught(frequency, (1.0,)) or self._book.device_tone(frequency, now)

    def allowed(self, profile: Profile, frequency: float, known: bool) -> bool:
        """Whether the pattern may have this tone: a known one always, another within the profile's limits."""
        return known or profile.tone.lowest <= frequency <= profile.tone.highest

    def limit(self, profile: Profile, frequency: float, now: float, known: bool) -> float:
        """Wald's upper bound for one test more, nats.

        With a taught tone the budget is one false wake in 1000 nights; that leaves other tones a higher bound."""
        tests, quiet = profile.tests, self.quiet(frequency, now)
        if known:
            share = tests.quiet / tests.busy if quiet else 1.0
            return max(0.0, evidence.bound(tests.known * share, evidence.NIGHTS_KNOWN))
        nights = evidence.NIGHTS if self._tone is None else evidence.NIGHTS_KNOWN
        return max(0.0, evidence.bound(tests.quiet if quiet else tests.busy, nights))

    def quiet(self, frequency: float, now: float) -> bool:
        """Whether few other tones were heard in the last minute: there is no music."""
        return self._memory.foreign(frequency, now) < QUIET


def urgency(profile: Profile) -> int:
    """0 for the most urgent priority."""
    return ("high", "medium", "low").index(profile.priority)


NEVER = math.inf
"""A due time that does not come."""
