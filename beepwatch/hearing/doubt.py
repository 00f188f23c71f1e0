"""Which bursts are a sounder's: those of its character, with more evidence where much else sounds like a tone.

The evidence of a burst is against noise. Talk and music are no noise: they throw up burst after burst, most of them
refused for their character. How many were refused lately tells how much more evidence a burst needs to be believed.
"""

from dataclasses import replace

from .finish import Found
from .verdict import BENT, BENT_LONG, NULLED, SOFT, STRICT, within

REMEMBERED = 30.0
"""Seconds for which a burst is remembered, so that the same tone again is told."""
MOST = 64
"""Bursts remembered at once."""
SAME_TONE = 0.001
"""Relative: rooms move a sounder's heard tone by far less, its drift from beep to beep by less (measured: 0.002 %)."""
SAME_LENGTH = 0.85
"""Least ratio of two lengths of one sounder (a room's edges move by up to 0.1 s in 0.7 s: judgement)."""
LATELY = 10.0
"""Seconds in which refused bursts are counted (judgement: a piece of music, a sentence or two)."""
EACH = 200.0
"""Nats more that are asked for each burst refused lately. Measured on 0.7 h of music: 186 tones of 0.6-2.5 s an hour
with 0, 97 with 100, 71 with 200, 57 with 400. A beep 3 dB over music has over 8000 nats; one of -14 dB alone in noise
has 236 to 2500, and there nothing is refused."""
AGAIN = 0.25
"""Share of that which is asked of the known tone, and when the same tone is heard again. Measured likewise, at 60 nats
each: 111 tones an hour of music with 0, 90 with a quarter, 75 with a half; with a quarter most beeps 8 dB under music
pass the second time."""
BENT_TIMES = 4.0
"""Times that evidence which is asked of a tone that looks bent (judgement)."""
PAIRED_TIMES = 4.0
"""The same of one of two tones: an instrument has them, too (judgement)."""
PAIRED_LEAST = 100.0
"""Nats asked of one at least: the line beside it is itself a reason to doubt (judgement: half of EACH; a beep of -16 dB
has as much). Measured in 20 min of ambience: it takes 2 of 22 tones that are like a beep's."""
PAIR = replace(STRICT, purity=0.9, flatness=7.0)
"""What it must look like then: as 95 % of beeps do."""
LONG = 8.0
"""Seconds: a battery's tone, which comes once a minute or an hour, so that the next one helps little."""
LINE, GAP = 0.01, 0.4
"""A burst of the same line (relative, as tracks hold) that ended so shortly before one (s, gaps as long are joined) is
a piece of it: a null of the room ended the first track."""
UNDER = replace(STRICT, purity=0.9, flatness=7.0, neighbours=19.0, company=-8.0)
"""What such a tone must look like under louder tones, the figures of 95 % of beeps; -8 dB as patterns ask of it at most
(judgement). Whether one alone is an alarm is decided there."""
UNLIKE = replace(STRICT, company=-100.0)
"""What counts as refused: a burst that is itself no steady tone. A sounder's own harmonics have company and are."""


class Doubt:
    """Judges bursts in the order in which they became known."""

    def __init__(self) -> None:
        self._heard: list[Found] = []
        self._refused: list[float] = []

    def sounder(self, found: Found, taught: bool) -> bool:
        """Is it a sounder's? taught: its tone is the known one's, as if it had been heard before."""
        found = self._continued(found)
        asked = self._asked(found, taught)
        strict = PAIR if found.paired and asked else STRICT
        asked *= PAIRED_TIMES if found.paired else 1.0
        likely = within(found.character, strict) and found.evidence >= asked
        if found.duration >= LONG and not found.paired:
            likely |= within(found.character, UNDER) and found.evidence >= asked
        nulled = found.duration >= BENT_LONG and within(found.character, NULLED)
        if found.duration >= BENT_LONG and found.evidence >= BENT_TIMES * asked:
            likely |= nulled or within(found.character, BENT)
        soft = nulled or within(found.character, SOFT)
        self._heard = [old for old in self._heard[-MOST:] if old.onset > found.onset - REMEMBERED]
        if soft and not likely:
            likely = found.evidence >= AGAIN * asked and any(_alike(found, old) for old in self._heard)
        if soft or likely:
            self._heard.append(found)
        if not likely and (found.paired or not within(found.character, UNLIKE)):
            self._refused.append(found.end)
        return likely and (not found.paired or found.evidence >= PAIRED_LEAST)

    def _continued(self, found: Found) -> Found:
        """The same; what sounds just before a long one speaks not against it where it was heard as a piece of it."""
        near = (old for old in self._heard if abs(found.hertz / old.hertz - 1) < LINE)
        if found.duration >= LONG and any(abs(found.onset - old.end) < GAP for old in near):
            return replace(found, character=replace(found.character, before=0.0))
        return found

    def _asked(self, found: Found, taught: bool) -> float:
        """Nats."""
        self._refused = [end for end in self._refused if end > found.onset - LATELY]
        return (AGAIN if taught else 1.0) * EACH * len(self._refused)


def _alike(one: Found, other: Found) -> bool:
    """The same tone and about the same length."""
    lengths = sorted((one.duration, other.duration))
    return abs(one.hertz / other.hertz - 1) < SAME_TONE and lengths[0] > SAME_LENGTH * lengths[1]
