"""Long tones: one that lasts as long as a battery alarm, whole or broken into pieces."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from beepwatch.events import Beep, Character, Noise, Sounding
from beepwatch.patterns import evidence
from beepwatch.patterns.memory import WIDTH, fold
from beepwatch.patterns.profiles import LongTone

LEAST = 0.3
"""The shortest piece of a broken tone, s (judgement)."""
NICK = 0.4
"""Pieces as near as this are one tone: no two beeps of a breath are, s (hearing bridges up to 0.36 s)."""
LARGE = 2.6
"""Pieces longer than any breath's beep, s: they may be further apart."""
HOLE = (0.8, 3.0)
"""The widest hole beside a piece shorter than LARGE (a cough), and between two large ones (a fade), s (judgement)."""
PIECES = 4
"""Pieces with holes wider than NICK between that one tone may be broken into."""
MOST = 12
"""Pieces looked at."""
COVER = 0.75
"""Share of its length that a broken tone must sound (judgement)."""
SAME = 0.004
"""Tones of the pieces agree to this (prototype: true long tones drift 0.2 %)."""
SHARED = 0.5
"""Two long tones at once for more than this share are a drone (judgement)."""
BESIDE = 20.0
"""A long tone that many dB weaker is no second tone of a drone, nor its first, but a line of the room's noise
(judgement)."""
LONELY = 50.0
"""Two long tones of one battery alarm begin at least this long after one another, s (60 s less a tenth, and slack)."""
BACKUP = (8.5, 11.5)
"""A tone of this length may come shortly before one of over GREW: a backup battery that became critical, s (+-15 %)."""
GREW = 11.9
DRONE = 5.0
"""A tone of this length that has ended counts as one that came before, s."""
PURE = 0.7
"""Purity of a tone under way that is one (true long tones in rooms: 0.74-0.98, measured)."""
UNDER = 2.0
"""Nats that a tone of no known device costs where a louder one of music sounds: it must come twice (judgement)."""
LINE = 8.0
"""dB over the strongest line beside it of a second tone of a drone, as evidence.long_tone asks of the first (all of 315
true ones in rooms at 0 dB and better had 22 and more, measured, tests/bench/stages.py; one held in music 2 to 3)."""
GOES_ON = 0.6
"""Power after the end over the tone's, above which the end is none: the tone goes on (true ends: at most 0.34)."""
NOISES = 16
"""Readings of the room's noise that are kept: over 20 s of them, one each 2 s or so."""
READINGS = 4
"""Of these at least so many must be of a tone's own time (judgement)."""
SOONER = 1.0
"""A tone under way may prove that much shorter than asked for, s: something else on its line made it seem to begin too
soon. Of 827 true ones in rooms, +10 to -14 dB in noise, talk and music, told as they passed 13 s, 33 had lasted 12.5 to
13 s (measured, tests/bench/stages.py); no 10 s tone lasts 12 s."""
REPEATED = 3.0
"""Evidence of an alike long tone one period before: under one in twenty by chance (judgement), nats."""


@dataclass(frozen=True, slots=True)
class LongBeep:
    """A long tone, joined from its pieces, oldest first."""

    pieces: tuple[Beep, ...]
    drone: bool = False
    """Another long tone sounded at the same time."""

    @property
    def onset(self) -> float:
        """Onset of the first piece, s."""
        return self.pieces[0].onset

    @property
    def end(self) -> float:
        """End of the last piece, s."""
        return self.pieces[-1].end

    @property
    def duration(self) -> float:
        """From the first onset to the last end, s."""
        return self.end - self.onset

    @property
    def frequency(self) -> float:
        """Hz of its longest piece."""
        return max(self.pieces, key=lambda piece: piece.duration).frequency

    @property
    def level(self) -> float:
        """dBFS of its loudest piece."""
        return max(piece.level for piece in self.pieces)

    @property
    def onset_known(self) -> bool:
        """False when listening began inside the tone."""
        return self.pieces[0].onset_known

    @property
    def ratio(self) -> float:
        """Evidence of its character, nats: the mean over its pieces, by their length."""
        total = sum(piece.duration for piece in self.pieces)
        return (
            sum(evidence.long_tone(inner(self, piece), piece.snr, self.drone) * piece.duration for piece in self.pieces)
            / total
        )


def inner(whole: LongBeep, piece: Beep) -> Character:
    """A piece's character without the edges that break the tone: they are the cough's, not the sounder's."""
    character = piece.character
    if len(whole.pieces) == 1:
        return character
    first, last = piece is whole.pieces[0], piece is whole.pieces[-1]
    return Character(
        purity=character.purity,
        flatness=character.flatness,
        wander=character.wander,
        neighbours=character.neighbours,
        company=character.company,
        before=character.before if first else 0.0,
        after=character.after if last else 0.0,
        valley=character.valley,
        spread=character.spread,
        moved=character.moved,
    )


class LongTones:
    """Pieces heard lately and long beeps of the last hour, both bounded."""

    def __init__(self) -> None:
        self._pieces: deque[Beep] = deque(maxlen=64)
        self._heard: deque[LongBeep] = deque(maxlen=64)
        self._under_way: deque[Sounding] = deque(maxlen=32)
        self._noises: deque[Noise] = deque(maxlen=NOISES)

    def noise(self, noise: Noise) -> None:
        """Take note of how loud the room is."""
        self._noises.append(noise)

    def snr(self, heard: Beep | Sounding) -> float:
        """dB of a long tone over the room's noise while it sounds (median of READINGS or more).

        Hearing tells the SNR from just before the onset: a room that grew loud with the tone is not in it, and a
        breathing machine may have been at its loudest just then.
        """
        lasted = heard.duration if isinstance(heard, Beep) else heard.lasted
        during = [n.near(heard.frequency) for n in self._noises if heard.onset <= n.at <= heard.onset + lasted]
        return heard.level - median(during) if len(during) >= READINGS else heard.snr

    def repeated(self, profile: LongTone, event: Sounding) -> float:
        """Evidence of a like long tone one period before one that still sounds, nats."""
        before = any(
            fold(old.frequency, event.frequency, SAME) is not None
            and fits(old.duration, profile.length)
            and fits(event.onset - old.onset, profile.period)
            for old in self._heard
        )
        return REPEATED if before or self.lasted(profile, event.frequency, event.onset) else 0.0

    def lasted(self, profile: LongTone, frequency: float, onset: float) -> bool:
        """Whether a like tone passed the profile's `early`, and never its `over`, one period before `onset`.

        Hearing may have lost its end, in a null of the room or under music; then no LongBeep tells of it. One that was
        told late does not count: of music's most are (LATE in evidence.py).
        """
        before = [
            old.lasted
            for old in self._under_way
            if fold(old.frequency, frequency, SAME) == 1.0 and fits(onset - old.onset, profile.period)
        ]
        if profile.early is None or profile.over is None or not before:
            return False
        return profile.early - SOONER <= min(before) <= profile.early + evidence.LATE[0] and max(before) < profile.over

    def drone(self, frequency: float, onset: float, end: float, level: float) -> bool:
        """Whether a long tone of another sounder, not BESIDE dB weaker than `level`, shared most of the time from
        `onset` to `end`, or one of this tone came shortly before, where no battery alarm would be. The backup
        battery's own tone may: it became critical.
        """
        lone = (onset - LONELY, onset - 2.0)
        for other in self._under_way:
            if not _beside(other, level):
                continue
            if fold(other.frequency, frequency, WIDTH) is not None:
                if lone[0] < other.onset < lone[1]:
                    return True
            elif _shared(other, onset, end) > SHARED * (end - onset):
                return True
        return any(
            piece.onset_known
            and piece.duration >= DRONE
            and piece.level >= level - BESIDE
            and lone[0] < piece.onset < lone[1]
            and piece.end < onset - HOLE[1]
            and not (fits(piece.duration, BACKUP) and end - onset > GREW)
            for piece in self._pieces
            if fold(piece.frequency, frequency, WIDTH) is not None
        )

    def under_way(self, event: Sounding) -> None:
        """A tone that still sounds: one that is pure counts as a drone beside another."""
        if event.character.purity >= PURE:
            self._under_way.append(event)

    def hear(self, beep: Beep) -> list[LongBeep]:
        """All the long tones that this beep may complete, the longest first."""
        if beep.duration < LEAST:
            return []
        beep = replace(beep, snr=self.snr(beep))
        wholes = [
            replace(whole, drone=self.drone(whole.frequency, whole.onset, whole.end, whole.level))
            for whole in _joined(beep, self._pieces)
        ]
        self._pieces.append(beep)
        return wholes

    def keep(self, whole: LongBeep) -> None:
        """Remember a long tone that was not raised: a second one may confirm it."""
        self._heard.append(whole)

    def repeats(self, profile: LongTone, whole: LongBeep) -> tuple[LongBeep, ...]:
        """Long tones like this one, one period apart, oldest first and `whole` last."""
        line = [whole]
        for old in reversed(self._heard):
            apart = line[0].onset - old.onset
            alike = fold(old.frequency, whole.frequency, SAME) is not None
            if alike and fits(old.duration, profile.length) and fits(apart, profile.period):
                line.insert(0, old)
        return tuple(line)


def _beside(other: Sounding, level: float) -> bool:
    """Whether another tone is clear and loud enough to be the second of a drone whose first has `level` dBFS."""
    return other.character.neighbours >= LINE and other.level >= level - BESIDE


def _shared(other: Sounding, onset: float, end: float) -> float:
    """Seconds from `onset` to `end` in which another tone sounded too."""
    return min(end, other.onset + other.lasted) - max(onset, other.onset)


def fits(value: float, span: tuple[float, float]) -> bool:
    """Whether a figure is inside its bounds."""
    return span[0] <= value <= span[1]


def weigh(line: Sequence[LongBeep]) -> float:
    """S of long tones one period apart, nats."""
    return sum(whole.ratio for whole in line) / len(line) + REPEATED * (len(line) - 1)


def doubt(profile: LongTone, whole: LongBeep, *, quiet: bool) -> float:
    """What speaks against a tone of this frequency and length where none is known, nats. quiet: there is no music."""
    under = not quiet and min(piece.character.company for piece in whole.pieces) < 0
    tone = sum(one.price(whole.frequency) for one in profile.doubt if one.of == "tone")
    return UNDER * under + tone + off_length(profile, whole)


def off_length(profile: LongTone, whole: LongBeep) -> float:
    """What speaks against a tone of this length, nats; nothing where listening joined it on its way."""
    return whole.onset_known * sum(one.price(whole.duration) for one in profile.doubt if one.of == "length")


def _joined(beep: Beep, pieces: Sequence[Beep]) -> list[LongBeep]:
    """The beep with the pieces before it that may be one tone with it, longest first, the beep alone last."""
    line, found, holes = [beep], [LongBeep((beep,))], 0
    for piece in reversed(pieces):
        hole = line[0].onset - piece.end
        if len(line) == MOST or hole > HOLE[1]:
            break
        if hole < -NICK or fold(piece.frequency, beep.frequency, SAME) != 1.0:
            continue
        holes += hole > NICK
        if holes >= PIECES or hole > _widest(piece, line[0]):
            break
        line.insert(0, piece)
        if _whole(line):
            found.insert(0, LongBeep(tuple(line)))
    return found


def _widest(piece: Beep, other: Beep) -> float:
    """The widest hole that two neighbouring pieces of one tone may have between them, s."""
    return HOLE[1] if min(piece.duration, other.duration) >= LARGE else HOLE[0]


def _whole(line: Sequence[Beep]) -> bool:
    """Whether pieces make one tone: one is longer than any breath's beep, and there is more tone than hole."""
    sounding = sum(piece.duration for piece in line)
    return max(piece.duration for piece in line) >= LARGE and sounding >= COVER * (line[-1].end - line[0].onset)
