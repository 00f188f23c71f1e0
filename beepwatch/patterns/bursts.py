"""Bursts: groups of pulses that are counted, as the standards' own signals are made of."""

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from beepwatch.patterns import evidence
from beepwatch.patterns.memory import KIN, WIDTH, Note, fold
from beepwatch.patterns.profiles import Bursts

RUNS = 40.0
"""How far back a run of more pulses than a group has is looked for, s (judgement)."""
EXPLAINED = 16.0
"""A counted group explains the single beeps of its tone up to this long after it, s (medical bursts: up to
15 s)."""
ECHO = 0.1
"""What a room may lengthen a pulse by, at most, s (measured: 0.06-0.09 s at T60 0.3-0.55 s)."""
ALIKE = 1.6
"""Pulses of one group differ in length by less than this factor (judgement: echo lengthens the last one)."""


@dataclass(frozen=True, slots=True)
class Burst:
    """One group whose pulses were all heard."""

    notes: tuple[Note, ...]

    @property
    def onset(self) -> float:
        """Onset of the first pulse, s."""
        return self.notes[0].beep.onset

    @property
    def end(self) -> float:
        """End of the last pulse, s."""
        return self.notes[-1].beep.end


@dataclass(frozen=True, slots=True)
class Groups:
    """Groups that repeat, oldest first, with their evidence S in nats."""

    bursts: tuple[Burst, ...]
    cycles: tuple[float, ...]
    ratio: float


def last_burst(profile: Bursts, notes: Sequence[Note]) -> Burst | None:
    """The group that the last of `notes` completes, with a pause before it; None when it completes none.

    notes: all sounds of one tone by onset.
    """
    size = len(profile.gaps) + 1
    if len(notes) < size:
        return None
    group = tuple(notes[-size:])
    lengths = [note.beep.duration for note in group]
    spaces = [young.beep.onset - old.beep.end for old, young in pairwise(group)]
    echo = _echo(group)
    rough = profile.slack + 0.5 * echo
    if max(lengths) > ALIKE * min(lengths) or not _explained(profile, lengths, spaces, echo, rough):
        return None
    quiet = group[0].beep.onset - notes[-size - 1].beep.end if len(notes) > size else math.inf
    return Burst(group) if quiet >= profile.pauses[0][0] - rough - echo else None


def _longest_run(profile: Bursts, notes: Sequence[Note]) -> int:
    """Pulses in the longest run of the last RUNS s: more than a group has, and a group was only what was
    heard of it.

    Only told where all gaps of a group are alike.
    """
    if any(gap != profile.gaps[0] for gap in profile.gaps):
        return 0
    low, high = profile.gaps[0][0] - profile.slack - ECHO, profile.gaps[0][1] + profile.slack
    longest = run = 1
    for old, young in pairwise(note.beep for note in notes if note.beep.onset > notes[-1].beep.onset - RUNS):
        like = max(old.duration, young.duration) <= ALIKE * min(old.duration, young.duration)
        run = run + 1 if like and low <= young.onset - old.end <= high else 1
        longest = max(longest, run)
    return longest


def _echo(notes: Sequence[Note]) -> float:
    """How much a room may have lengthened these pulses at the cost of the pauses, s.

    Only where their level shows it: a pulse that a room draws out is not flat. Measured: 2.5-10 dB in rooms
    of T60
    0.3-0.55 s; dry pulses read under 1 dB.
    """
    flatness = median(note.beep.character.flatness for note in notes)
    return ECHO * min(1.0, max(0.0, (flatness - 1.0) / 1.5))


def _explained(profile: Bursts, lengths: Sequence[float], spaces: Sequence[float], echo: float, slack: float) -> bool:
    """Whether one lengthening of 0 to `echo` s puts all pulses and gaps inside the profile's bounds, to
    `slack` s.
    """
    low, high = 0.0, echo
    for length in lengths:
        low, high = max(low, length - profile.pulse[1] - slack), min(high, length - profile.pulse[0] + slack)
    for space, gap in zip(spaces, profile.gaps, strict=True):
        low, high = max(low, gap[0] - space - slack), min(high, gap[1] - space + slack)
    return low <= high


def line(notes: Sequence[Note], newest: Note) -> list[Note]:
    """One line of pulses from all sounds of a tone, by onset: of two at one time the stronger, a joined one
    first.
    """
    kept: list[Note] = []
    for note in notes:
        if kept and _together(kept[-1], note):
            if (note.joined, note.beep.snr) > (kept[-1].joined, kept[-1].beep.snr):
                kept[-1] = note
        else:
            kept.append(note)
    return kept if kept[-1] is newest or newest not in kept else kept[: kept.index(newest) + 1]


def _together(old: Note, young: Note) -> bool:
    """Whether two sounds share half of the shorter one's time."""
    shared = min(old.beep.end, young.beep.end) - max(old.beep.onset, young.beep.onset)
    return shared > 0.5 * min(old.beep.duration, young.beep.duration)


class Counted:
    """Groups heard lately: they explain the single beeps of their tone, so that no breaths are made of
    these.
    """

    def __init__(self, profiles: Sequence[Bursts]) -> None:
        self._profiles = tuple(profiles)
        self._heard: deque[tuple[Bursts, Burst]] = deque(maxlen=32)

    def hear(self, pulses: Sequence[Note]) -> None:
        """The last of `pulses` (one line of tone) is new: it may complete a group, or undo one that it
        follows.
        """
        newest = pulses[-1].beep
        for profile, burst in list(self._heard):
            close = 0.0 < newest.onset - burst.end < profile.pauses[0][0] - profile.slack - _echo(burst.notes)
            if close and abs(newest.frequency / burst.notes[0].beep.frequency - 1.0) <= WIDTH:
                self._heard.remove((profile, burst))
        for profile in self._profiles:
            found = last_burst(profile, pulses)
            if found is not None:
                self._heard.append((profile, found))

    def explains(self, note: Note) -> bool:
        """Whether a group of this note's tone, or of one it is a harmonic of, was heard within EXPLAINED."""
        beep = note.beep
        return any(
            burst.end > beep.onset - EXPLAINED
            and fold(beep.frequency, burst.notes[0].beep.frequency, 2 * WIDTH, KIN) is not None
            for _, burst in self._heard
        )


def latest(profile: Bursts, notes: Sequence[Note], since: float) -> Burst | None:
    """The newest group among `notes` that ended at `since` or later and has a pause after it, as far as is
    known.
    """
    follower = math.inf
    for stop in range(len(notes), 0, -1):
        beep = notes[stop - 1].beep
        if beep.end < since:
            return None
        if follower - beep.end >= profile.pauses[0][0] - profile.slack - ECHO:
            burst = last_burst(profile, notes[:stop])
            if burst is not None:
                return burst
        follower = beep.onset
    return None


def groups(profile: Bursts, notes: Sequence[Note]) -> Groups | None:
    """The repeated groups that end at the last of `notes`; None when it completes no second one."""
    newest = last_burst(profile, notes)
    if newest is None:
        return None
    if _longest_run(profile, notes) > len(profile.gaps) + 1:
        return None
    bursts: list[Burst] = [newest]
    cycles: list[float] = []
    for burst in _earlier(profile, notes, newest):
        cycle = _cycle(profile, burst, bursts[-1], cycles)
        if cycle is None:
            break
        bursts.append(burst)
        cycles.append(cycle)
    if len(bursts) < profile.bursts or not _medians(profile, bursts, cycles):
        return None
    pulses = [note for burst in bursts for note in burst.notes]
    ratio = (
        evidence.SHARE * sum(note.score for note in pulses) / len(pulses)
        + evidence.REPEAT * (len(pulses) - 1)
        + evidence.alike([note.beep.duration for note in pulses])
    )
    return Groups(tuple(reversed(bursts)), tuple(reversed(cycles)), ratio)


def _earlier(profile: Bursts, notes: Sequence[Note], newest: Burst) -> Iterator[Burst]:
    """Whole groups before the newest, youngest first."""
    stop = len(notes) - len(newest.notes)
    while (burst := latest(profile, notes[:stop], -math.inf)) is not None:
        yield burst
        stop = notes.index(burst.notes[0])


def _cycle(profile: Bursts, old: Burst, young: Burst, cycles: Sequence[float]) -> float | None:
    """The time of one cycle when `young` follows `old`, perhaps with whole groups missed between; else
    None.
    """
    apart, size = young.onset - old.onset, old.end - old.onset
    for steps in range(1, profile.skipped + 2):
        cycle = apart / steps
        if any(abs(cycle - known) > 0.1 * known for known in cycles[:1]):
            continue
        rest, echo = cycle - size, _echo((*old.notes, *young.notes))
        if any(pause[0] - profile.slack - echo <= rest <= pause[1] + profile.slack for pause in profile.pauses):
            return cycle
    return None


def _medians(profile: Bursts, bursts: Sequence[Burst], cycles: Sequence[float]) -> bool:
    """Over all groups the median of each time is within the standard's own tolerance, the room's echo
    allowed for.
    """
    if not cycles:
        return False
    pulses = [note for burst in bursts for note in burst.notes]
    lengths = [median(note.beep.duration for note in pulses)]
    spaces = [
        median(burst.notes[k + 1].beep.onset - burst.notes[k].beep.end for burst in bursts)
        for k in range(len(profile.gaps))
    ]
    return _explained(profile, lengths, spaces, _echo(pulses), profile.slack)
