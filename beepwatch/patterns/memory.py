"""What was heard lately, by tone: bounded, so that hours of music cost no more than a quiet night."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

from beepwatch.events import Beep

RATIOS = (1.0, 2.0, 3.0, 4.0, 0.5, 1.0 / 3.0, 0.25)
"""In a room null a sounder may be heard at twice or three times its tone (measured by a prototype: 4 rooms of 37)."""
MULTIPLES = (1.0, 2.0, 3.0)
"""Those at which a sounder of a known tone may be heard where a room takes its fundamental."""
KIN = (*RATIOS, 1.5, 2.0 / 3.0, 4.0 / 3.0, 0.75, 5.0, 0.2, 5.0 / 3.0, 0.6)
"""Ratios between any two of a sounder's first four harmonics, and of a square wave's first three: for signals rich in
them (IEC 60601-1-8 asks for four; 520 Hz square, NFPA 72 18.4; both quoted). Not for single beeps: music has them."""
WIDTH = 0.01
"""Width of a bin of tone, relative."""
DEPTH = 48
"""Beeps kept a bin."""
KEEP = 150.0
"""Seconds that a short beep is kept: more than two periods of the slowest regular pattern."""
EDGE = 0.15
"""A part's edges may stick out by this: weak sounds have uncertain edges, s (judgement)."""
TOUCH = 0.36
"""Pieces closer than hearing's own bridge are one beep, s."""
LONGEST = 2.6
"""Longer than any breath's beep, s: not joined here."""
BROKEN = 0.004
"""Pieces of one beep agree in tone to this."""
COVER = 0.75
"""Share of a broken beep that sounds; counted pulses have as much pause as tone (judgement)."""
STRONGER = 6.0
"""dB by which pulses stand above their echo, at least (measured: 10-15)."""
LATEST = 64
"""Beeps of any tone kept for what sounds together."""
DUAL = (1.25, 2.0)
"""Ratios between the two tones of one telephone signal (480 and 620 Hz: 1.29, common practice, no source); linked
alarms of one kind, each within 10 % (NFPA 72 18.4, quoted) or 12 % (datasheets) of it, lie nearer together."""
WITH_IT = 0.6
"""Share of pulses that begin with another tone's, from which they are its harmonics (judgement: of three groups the
last may not be told yet)."""
TOGETHER = 0.1
"""Two tones begin and end together to this, s (judgement: rooms move edges by 0.03 s)."""
MUCH_WEAKER = 9.0
"""dB by which a tone that sounds with a beep is too weak to be its second one: an overload folds a clipped tone's third
and higher harmonics back, 9.5 dB and more under it (a square wave's, theory); a warble's and a chord's two are about as
loud (judgement)."""
CHOPPED = (2, 0.4, -8.0, 1.5)
"""Pulses of another harmonic within a beep: at least so many, no longer than this share of it, dB SNR from which pulses
are told apart (as in lead-disconnect's clashes), and the factor that their lengths may differ by (judgement)."""
METER = (60.0, 0.3, 64)
"""The meter of foreign beeps: over how many seconds, from which length (s), how many are kept at most."""


@dataclass(slots=True, eq=False)
class Note:
    """A beep and what it is worth as evidence of a sounder, nats."""

    beep: Beep
    score: float
    part: bool = False
    """It lies within a longer sound of the same tone: a piece or a harmonic of that, no beep of its own."""
    pulses: int = 0
    """How many much stronger beeps lie within it."""
    joined: bool = False
    """It was made of the pieces of a broken beep, which are kept too."""


def fold(frequency: float, tone: float, tolerance: float, ratios: Sequence[float] = RATIOS) -> float | None:
    """The ratio in `ratios` by which `frequency` is the tone, to a relative tolerance; None when it is another tone."""
    share = frequency / tone
    for ratio in ratios:
        if -tolerance * ratio <= share - ratio <= tolerance * ratio:
            return ratio
    return None


class Memory:
    """Recent beeps in bins of tone, each bin a bounded queue in order of arrival."""

    def __init__(self) -> None:
        self._bins: dict[int, deque[Note]] = {}
        self._foreign: deque[tuple[float, float]] = deque(maxlen=METER[2])
        self._latest: deque[Beep] = deque(maxlen=LATEST)

    def add(self, note: Note) -> None:
        """Keep a beep; of two on one tone of which one lies within the other the shorter is but a part.

        Unless it is much the stronger: two such make the longer one the echo of pulses.
        """
        beep = note.beep
        inside: list[Beep] = []
        for other in () if note.joined else self._near(beep.frequency):
            if other.joined or other.beep.end <= beep.onset:
                continue
            inside.append(other.beep)
            if fold(other.beep.frequency, beep.frequency, WIDTH) is not None:
                _relate(note, other)
                _relate(other, note)
        if _chopped(beep, inside):
            note.part, note.pulses = True, 2
        if beep.duration >= METER[1]:
            self._latest.append(beep)
        self._bins.setdefault(_bin(note.beep.frequency), deque(maxlen=DEPTH)).append(note)

    def pulsed(self, tone: float, since: float, level: float) -> bool:
        """Whether a tone of `level` dBFS, sounding since then, is but the mean of two or more much stronger pulses."""
        found = [note.beep for note in self._near(tone, (1.0,)) if note.beep.onset >= since]
        own = [b for b in found if b.level > level + STRONGER and abs(b.frequency / tone - 1.0) <= WIDTH]
        return len(own) >= 2

    def accompanied(self, beep: Beep) -> bool:
        """Whether a tone that is no simple ratio of a beep's began and ended with it."""
        return any(self._is_partner(other, beep) for other in self._latest)

    @staticmethod
    def _is_partner(other: Beep, beep: Beep) -> bool:
        return (
            other.level >= beep.level - MUCH_WEAKER
            and abs(other.onset - beep.onset) <= TOGETHER
            and abs(other.end - beep.end) <= TOGETHER
            and not simple(other.frequency, beep.frequency)
        )

    def goes_on_beside(self, pulses: Sequence[Beep]) -> bool:
        """Whether a tone that sounds with some of a group's pulses sounds like them in the pauses, too.

        Then the pauses are none but beeps missed of one of two tones, as a telephone's busy tone has them.
        """
        partners = [o for o in self._latest if any(self._is_partner(o, one) for one in pulses)]
        return any(
            any(abs(other.frequency / one.frequency - 1.0) <= WIDTH for one in partners)
            and pulses[0].onset < other.onset < pulses[-1].onset
            and all(other.end <= one.onset or one.end <= other.onset for one in pulses)
            and abs(other.duration - pulses[0].duration) <= TOGETHER
            for other in self._latest
        )

    def two_tone(self, pulses: Sequence[Beep]) -> bool:
        """Whether two of these pulses or more sound with a tone of DUAL ratio to theirs."""
        low, high = DUAL
        tone = pulses[-1].frequency
        others = [o for o in self._latest if low < max(o.frequency / tone, tone / o.frequency) < high]
        return sum(any(self._is_partner(other, one) for other in others) for one in pulses) > 1

    def meter(self, beep: Beep) -> None:
        """Count a beep that no open alarm explains towards how busy the room is."""
        if beep.duration >= METER[1]:
            self._foreign.append((beep.known, beep.frequency))

    def foreign(self, tone: float, now: float) -> int:
        """How many beeps of another tone were heard in the last minute: in talk about 2, in music 6 to 20."""
        lately = [frequency for known, frequency in self._foreign if known > now - METER[0]]
        return sum(1 for frequency in lately if fold(frequency, tone, WIDTH) is None)

    def on_tone(self, tone: float, tolerance: float, since: float, ratios: tuple[float, ...] = RATIOS) -> list[Note]:
        """Beeps on a tone (modulo `ratios`) that began at `since` or later, by onset."""
        found = [
            note
            for note in self._near(tone, ratios)
            if note.beep.onset >= since and fold(note.beep.frequency, tone, tolerance, ratios) is not None
        ]
        found.sort(key=lambda note: note.beep.onset)
        return found

    def begin_with(self, pulses: Sequence[Beep], tone: float) -> bool:
        """Whether most pulses began with a sound of just this tone, as far back as these are kept.

        The newest of them may not be told yet.
        """
        own = [n.beep.onset for n in self.on_tone(tone, WIDTH, pulses[0].onset - TOGETHER, (1.0,))]
        late = [pulse.onset for pulse in pulses if own and pulse.onset >= own[0] - TOGETHER / 2]
        shared = sum(any(abs(onset - one) <= TOGETHER / 2 for onset in own) for one in late)
        return shared >= max(2.0, WITH_IT * len(late))

    def joined(self, beep: Beep) -> Beep | None:
        """One beep made of this one and the pieces just before it on its own tone, if it was broken; else None."""
        line = [beep]
        notes = [
            note.beep
            for note in self._near(beep.frequency)
            if not note.joined and note.beep is not beep and note.beep.end <= beep.onset + EDGE
        ]
        for piece in sorted(notes, key=lambda other: other.onset, reverse=True):
            hole = line[0].onset - piece.end
            if hole > TOUCH or beep.end - piece.onset > LONGEST:
                break
            if hole > -TOUCH and abs(piece.frequency / beep.frequency - 1.0) <= BROKEN:
                line.insert(0, piece)
        whole = line[-1].end - line[0].onset
        if len(line) == 1 or sum(piece.duration for piece in line) < COVER * whole:
            return None
        return replace(
            max(line, key=lambda piece: piece.duration),
            onset=line[0].onset,
            duration=whole,
            known=beep.known,
            onset_known=line[0].onset_known,
        )

    def _near(self, tone: float, ratios: tuple[float, ...] = RATIOS) -> list[Note]:
        found: list[Note] = []
        for shift in _shifts(ratios):
            middle = math.floor(math.log(tone) / WIDTH + shift)
            for place in (middle - 1, middle, middle + 1):
                notes = self._bins.get(place)
                if notes:
                    found += notes
        return found


@cache
def _shifts(ratios: tuple[float, ...]) -> tuple[float, ...]:
    """How many bins each ratio lies away."""
    return tuple(math.log(ratio) / WIDTH for ratio in ratios)


def _relate(short: Note, long: Note) -> None:
    """Mark what `short` and `long` are to each other, if the one lies within the other."""
    if not _within(short.beep, long.beep):
        return
    if short.beep.snr > long.beep.snr + STRONGER:
        long.pulses += 1
        long.part = long.part or long.pulses >= 2
    else:
        short.part = True


def _chopped(beep: Beep, inside: Sequence[Beep]) -> bool:
    """Whether another harmonic shows that a breath-long beep is pulses run together: two or more clear, alike ones of
    which the first begins with it. Where the room goes on with one harmonic it need not with the next.
    """
    least, share, clear, likeness = CHOPPED
    pulses = sorted(
        (one.onset, one.duration)
        for one in inside
        if one.snr >= clear
        and one.duration <= share * beep.duration
        and one.end <= beep.end + EDGE
        and abs(one.frequency / beep.frequency - 1.0) > WIDTH
        and fold(one.frequency, beep.frequency, WIDTH) is not None
    )
    if beep.duration > LONGEST or len(pulses) < least or abs(pulses[0][0] - beep.onset) > TOGETHER:
        return False
    apart = all(young[0] >= sum(old) for old, young in pairwise(pulses))
    lengths = [length for _, length in pulses]
    return apart and max(lengths) <= likeness * min(lengths)


def simple(one: float, other: float) -> bool:
    """Whether two tones may be harmonics, up to the fifth, of one sounder."""
    low, high = min(one, other), max(one, other)
    return any(abs(high * n / (low * m) - 1.0) <= WIDTH for n in range(1, 6) for m in range(n, 6 * n + 1))


def _within(beep: Beep, other: Beep) -> bool:
    """Whether a beep lies within a longer one, of which it may be the harmonic as heard."""
    if beep.duration >= other.duration:
        return False
    return beep.onset >= other.onset - EDGE and beep.end <= other.end + EDGE


def _bin(frequency: float) -> int:
    return math.floor(math.log(frequency) / WIDTH)
