"""Bursts: one group of pulses that are counted, as the standards' own signals are made of."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, combinations, pairwise
from statistics import median

from beepwatch.patterns.memory import KIN, WIDTH, Note, fold
from beepwatch.patterns.profiles import Bursts

EXPLAINED = 16.0
"""A counted group explains the single beeps of its tone up to this long after it, s (medical bursts: up to 15 s)."""
ECHO = 0.1
"""What a room may lengthen a pulse by, at most, s (measured: 0.06-0.09 s at T60 0.3-0.55 s)."""
UNTOLD = (0.0, -6.0, 0.3)
"""dB SNR between which noise comes to hide whether a pulse of this length, s, and more is flat, so that a room may have
lengthened it (measured in rooms, tests/bench/stages.py: half-second pulses at -2 to -12 dB read flat and 0.05-0.08 s
too long, those of 0.1-0.2 s 0.01 s)."""
ALIKE = 1.6
"""Pulses of one group differ in length by less than this factor (judgement: echo lengthens the last one)."""
PLACE = 0.05
"""Pulses of two cycles, or of two harmonics, this near are one, s: less than half of the shortest time from onset to
onset, 0.125 s (IEC 60601-1-8 Table 3, quoted)."""
TAIL = 6.0
"""dB by which a sound that begins at a pulse's end is weaker when it is but its echo at another harmonic (measured: 10
and more)."""
CROWD = 3
"""More sounds in a cluster than this many times a group's pulses: music, not counted."""
CYCLES = 8
"""Clusters laid over one another at most."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """All sounds of one sounder by onset, and how long it was silent before each, s (inf before the first)."""

    notes: Sequence[Note]
    before: Sequence[float]


def line(notes: Sequence[Note]) -> Line:
    """Sounds of one sounder, by onset, with the silences between them: worked out once for all profiles."""
    ends = accumulate((note.beep.end for note in notes), max, initial=-math.inf)
    return Line(notes, [note.beep.onset - end for note, end in zip(notes, ends, strict=False)])


def clusters(profile: Bursts, line: Line, most: int = CYCLES) -> list[Sequence[Note]]:
    """The newest `most` runs of sounds of a line without a group's pause in them, oldest first."""
    least = profile.pauses[0][0] - profile.slack - ECHO
    found: list[Sequence[Note]] = []
    stop = len(line.notes)
    for place in range(stop - 1, -1, -1):
        if line.before[place] >= least:
            found.append(line.notes[place:stop])
            stop = place
            if len(found) == most:
                break
    return found[::-1]


def pulses(profile: Bursts, cluster: Sequence[Note]) -> list[Note]:
    """The pulses that were heard apart, by onset: of those at one place the strongest; echoes left out."""
    low, high = profile.pulse[0] - profile.slack, profile.pulse[1] + profile.slack + ECHO
    kept: list[Note] = []
    loudest = max((note.beep.level for note in cluster), default=0.0)
    for note in cluster:
        if not low <= note.beep.duration <= high:
            continue
        if note.beep.level + TAIL <= loudest and _is_tail(note, cluster):
            continue
        if kept and _together(kept[-1], note):
            kept[-1] = max(kept[-1], note, key=lambda one: one.beep.snr)
        else:
            kept.append(note)
    return kept


def _together(old: Note, young: Note) -> bool:
    """Whether two sounds are one pulse at two harmonics: they begin together, or share half of the shorter's time."""
    shared = min(old.beep.end, young.beep.end) - max(old.beep.onset, young.beep.onset)
    near = young.beep.onset - old.beep.onset <= PLACE
    return near or shared > 0.5 * min(old.beep.duration, young.beep.duration)


def _is_tail(note: Note, cluster: Sequence[Note]) -> bool:
    """Whether a sound begins where a stronger one ends, or well inside one: the room goes on with it."""
    onset, level = note.beep.onset, note.beep.level + TAIL
    return any(
        other.beep.level >= level and other.beep.onset + 2 * PLACE < onset < other.beep.end + PLACE
        for other in cluster
        if other is not note
    )


def whole(profile: Bursts, heard: Sequence[Note]) -> bool:
    """Whether these pulses are just one group."""
    if len(heard) != len(profile.gaps) + 1:
        return False
    lengths = [note.beep.duration for note in heard]
    spaces = [young.beep.onset - old.beep.end for old, young in pairwise(heard)]
    drawn_out = echo(heard)
    return max(lengths) <= ALIKE * min(lengths) and explained(
        profile, lengths, spaces, drawn_out, profile.slack + 0.5 * drawn_out
    )


def echo(notes: Sequence[Note]) -> float:
    """How much a room may have lengthened these pulses at the cost of the pauses, s.

    Only where their level shows it, or noise hides it: a pulse that a room draws out is not flat. Measured
    (tests/bench/stages.py): of dry pulses down to -8 dB the median reads 0.0 dB, of pulses in rooms of T60 0.25-0.55 s
    0.6-2.7 dB.
    """
    flatness = median(note.beep.character.flatness for note in notes)
    share = (flatness - 0.2) / 1.3
    if median(note.beep.duration for note in notes) >= UNTOLD[2]:
        clear, hidden, _ = UNTOLD
        snr = median(note.beep.snr for note in notes)
        share = max(share, flatness - 0.05, (clear - snr) / (clear - hidden))
    return ECHO * min(1.0, max(0.0, share))


def explained(profile: Bursts, lengths: Sequence[float], spaces: Sequence[float], most: float, slack: float) -> bool:
    """Whether one lengthening of 0 to `most` s puts all pulses and gaps inside the profile's bounds, to `slack` s."""
    low, high = 0.0, most
    for length in lengths:
        low, high = max(low, length - profile.pulse[1] - slack), min(high, length - profile.pulse[0] + slack)
    for space, gap in zip(spaces, profile.gaps, strict=True):
        low, high = max(low, gap[0] - space - slack), min(high, gap[1] - space + slack)
    return low <= high


def run_together(profile: Bursts, pulse: float, length: float) -> bool:
    """Whether a sound of a length may be several pulses of a group that ran together.

    pulse: s, as long as the group's pulses were heard.
    """
    slack = profile.slack + ECHO
    for first in range(len(profile.gaps)):
        low = high = pulse
        for gap in profile.gaps[first:]:
            low, high = low + gap[0] + pulse, high + gap[1] + pulse
            if low - slack <= length <= high + slack:
                return True
    return False


class Counted:
    """Groups heard lately: they explain the single beeps of their tone, so that no breaths are made of these."""

    def __init__(self, profiles: Sequence[Bursts]) -> None:
        self._profiles = tuple(profiles)
        self._heard: deque[tuple[Bursts, tuple[Note, ...]]] = deque(maxlen=32)

    def hear(self, line: Line) -> None:
        """A sound of this line is new: the newest cluster may be a group now, or no more."""
        tone = line.notes[-1].beep.frequency
        for profile in self._profiles:
            cluster = clusters(profile, line, 1)[-1]
            since = cluster[0].beep.onset
            kept = [one for one in self._heard if one[0] is not profile or not _of(one[1], tone, since)]
            heard = tuple(pulses(profile, cluster)) if len(cluster) <= CROWD * (len(profile.gaps) + 1) else ()
            if whole(profile, heard):
                kept.append((profile, heard))
            self._heard = deque(kept, maxlen=32)

    def explains(self, note: Note) -> bool:
        """Whether a group of this note's tone, or of one it is a harmonic of, was heard within EXPLAINED.

        And the note is as long as a pulse of it, or as several that ran together: no other sounder of such a tone is
        hidden.
        """
        beep = note.beep
        return any(
            burst[-1].beep.end > beep.onset - EXPLAINED
            and fold(beep.frequency, burst[0].beep.frequency, 2 * WIDTH, KIN) is not None
            and _is_run(burst, beep.duration)
            for _, burst in self._heard
        )


def _is_run(burst: Sequence[Note], length: float) -> bool:
    """Whether a sound is as long as a pulse of this group (or a part of one), or as several that ran together."""
    if length <= ALIKE * median(note.beep.duration for note in burst):
        return True
    runs = (end.beep.end - start.beep.onset for start, end in combinations(burst, 2))
    return any(run - ECHO <= length <= run + ECHO for run in runs)


def _of(burst: Sequence[Note], tone: float, since: float) -> bool:
    """Whether a group has this tone and began at `since` or later."""
    return burst[0].beep.onset >= since and fold(tone, burst[0].beep.frequency, 2 * WIDTH, KIN) is not None
