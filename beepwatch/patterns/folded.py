"""Groups folded over several cycles: in a room no cycle shows the whole of a signal.

Some pulses of a group run together, some fade, and one pulse is heard at one harmonic, the next at another. So
clusters of sounds (bursts.py) are laid over one another where most of their pulses agree; the pulses of the group are
the places at which pulses were heard, and what is missing in one cycle another makes up for.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from statistics import median

from beepwatch.patterns import evidence
from beepwatch.patterns.bursts import ALIKE, CROWD, ECHO, PLACE, clusters, echo, explained, pulses
from beepwatch.patterns.memory import Note
from beepwatch.patterns.profiles import Bursts

PULSE = 0.005
"""Tones of short pulses agree to this (0.1 s at 520 Hz: 2 Hz, Rife & Boorstyn 1974, and a bin's worth of bias)."""
SKIPPED = 3
"""Cycles from one heard group to the next at most, once two came one cycle apart (judgement)."""
MOST_STRAYS = 3
"""Sounds beside a group's pulses that count (judgement: more are the room's echoes, or music)."""
RUN_TOGETHER = 0.5
"""What pulses that ran together are worth, each, in resolved ones: they show that something sounded, not how many
(judgement)."""


@dataclass(frozen=True, slots=True)
class Groups:
    """Groups that repeat, oldest first, each with its resolved pulses, and their evidence S in nats."""

    bursts: tuple[tuple[Note, ...], ...]
    onsets: tuple[float, ...]
    """Where each group begins, s, whether or not its first pulse was heard."""
    ratio: float


@dataclass(slots=True)
class _Place:
    """One pulse of the folded group: where it is, s from the group's onset, and what was heard there."""

    offset: float
    notes: dict[int, Note] = field(default_factory=dict)
    """By the number of the cluster."""
    covered: set[int] = field(default_factory=set)
    """Clusters in which it ran together with its neighbour."""
    length: float = 0.1
    """Median length, s."""

    @property
    def weight(self) -> float:
        """In resolved pulses."""
        return len(self.notes) + RUN_TOGETHER * len(self.covered)


def groups(profile: Bursts, notes: Sequence[Note], newest: Note) -> Groups | None:
    """The repeated groups that `newest`, one of `notes` by onset, completes; None when it does not.

    notes: all sounds of one sounder. They are tried first without its other harmonics: music has tones there too.
    """
    longest = sum(gap[1] for gap in profile.gaps) + (len(profile.gaps) + 1) * profile.pulse[1] + ECHO
    if len(notes) <= len(profile.gaps) or not profile.pulse[0] - profile.slack <= newest.beep.duration <= longest:
        return None
    tone = newest.beep.frequency
    alone = [note for note in notes if abs(note.beep.frequency / tone - 1.0) <= PULSE]
    found = _groups(profile, alone, newest)
    return found or (_groups(profile, notes, newest) if len(alone) < len(notes) else None)


def _groups(profile: Bursts, notes: Sequence[Note], newest: Note) -> Groups | None:
    """The same for these notes alone.

    Every pulse of the group must have been heard apart at least once, and all together as many as `bursts` whole
    groups have: what is missing in one cycle another makes up for.
    """
    heard = clusters(profile, notes)
    crowd = CROWD * (len(profile.gaps) + 1)
    apart = [pulses(profile, cluster) if len(cluster) <= crowd else [] for cluster in heard]
    if not _countable(profile, apart):
        return None
    starts = {number: start for number, start in enumerate(_aligned(apart, profile)) if start is not None}
    if len(starts) < profile.bursts:
        return None
    places = _places(dict(enumerate(apart)), starts)
    _hide(profile, places, dict(enumerate(heard)), starts)
    places, strays = _sift(places, len(profile.gaps) + 1, len(starts))
    if len(places) != len(profile.gaps) + 1 or not _adds(newest, places, heard):
        return None
    onsets = {number: start + places[0].offset for number, start in starts.items()}
    if not (_enough(profile, places) and _fits(profile, places) and _regular(profile, places, onsets.values())):
        return None
    order = sorted(onsets, key=lambda number: onsets[number])
    told = [tuple(place.notes[number] for place in places if number in place.notes) for number in order]
    return Groups(tuple(told), tuple(onsets[number] for number in order), _weigh(places, strays))


def _countable(profile: Bursts, apart: Sequence[Sequence[Note]]) -> bool:
    """Whether there are clusters and pulses enough, and none has more in a row than a group."""
    size = len(profile.gaps) + 1
    enough = len(apart) >= profile.bursts and sum(map(len, apart)) >= size and any(apart)
    return enough and not any(_runs_on(profile, one) for one in apart)


def _adds(newest: Note, places: Sequence[_Place], heard: Sequence[Sequence[Note]]) -> bool:
    """Whether a sound is one of the group's pulses, or several that ran together."""
    own = [number for number, cluster in enumerate(heard) if any(note is newest for note in cluster)]
    return any(
        any(note is newest for note in place.notes.values()) or any(number in place.covered for number in own)
        for place in places
    )


def _runs_on(profile: Bursts, heard: Sequence[Note]) -> bool:
    """Whether more pulses follow one another than a group has; only told where all its gaps are alike."""
    if any(gap != profile.gaps[0] for gap in profile.gaps):
        return False
    low, high = profile.gaps[0][0] - profile.slack - ECHO, profile.gaps[0][1] + profile.slack
    run = longest = 1
    for old, young in pairwise(note.beep for note in heard):
        run = run + 1 if low <= young.onset - old.end <= high else 1
        longest = max(longest, run)
    return longest > len(profile.gaps) + 1


def _aligned(apart: Sequence[Sequence[Note]], profile: Bursts) -> list[float | None]:
    """Where each cluster begins, s of stream time, all by the one with most pulses; None for one that does not agree.

    Where a cluster fits in two ways, as one does that lost its first or its last pulse, that is taken which keeps the
    beat of the others; if there is none, the one that begins with the first pulse.
    """
    main = max(range(len(apart)), key=lambda number: (len(apart[number]), number))
    size = len(profile.gaps) + 1
    origin = apart[main][0].beep.onset
    reference = [note.beep.onset - origin for note in apart[main]]
    found: list[list[float]] = []
    for number, heard in enumerate(apart):
        onsets = [note.beep.onset for note in heard]
        found.append([origin] if number == main else _shifts(reference, onsets, min(2, size)))
    starts: list[float | None] = [options[0] if len(options) == 1 else None for options in found]
    for number, options in enumerate(found):
        if len(options) > 1:
            starts[number] = _on_beat(options, starts, apart[number][0].beep.onset)
    return starts


def _shifts(reference: Sequence[float], onsets: Sequence[float], least: int) -> list[float]:
    """Starts at which most of `onsets` fall on `reference`, `least` or more of them; alike ones once."""
    apart = sorted(onset - place for onset in onsets for place in reference)
    best: list[float] = []
    most, low = least, 0
    for high, start in enumerate(apart):
        while start - apart[low] > 1.5 * PLACE:
            low += 1
        hits, middle = high - low + 1, 0.5 * (start + apart[low])
        if hits > most:
            best, most = [middle], hits
        elif hits == most and all(abs(middle - known) > 2 * PLACE for known in best):
            best.append(middle)
    return best


def _on_beat(options: Sequence[float], starts: Sequence[float | None], onset: float) -> float:
    """Of several starts the one nearest to the beat of those that are sure; without a beat, the nearest to `onset`."""
    sure = [start for start in starts if start is not None]
    apart = [young - old for old, young in pairwise(sure)]
    if not apart:
        return min(options, key=lambda start: abs(start - onset))
    unit = min(apart)

    def off(start: float) -> float:
        cycles = (start - sure[0]) / unit
        return abs(cycles - round(cycles))

    return min(options, key=off)


def _places(apart: Mapping[int, Sequence[Note]], starts: Mapping[int, float]) -> list[_Place]:
    """The places at which pulses were heard, by offset."""
    line = [(note.beep.onset - start, number, note) for number, start in starts.items() for note in apart[number]]
    places: list[_Place] = []
    for offset, number, note in sorted(line, key=lambda one: one[:2]):
        if places and offset - places[-1].offset <= max(PLACE, 0.5 * places[-1].length):
            places[-1].notes.setdefault(number, note)
        else:
            places.append(_Place(offset, {number: note}))
    for place in places:
        place.offset = median(note.beep.onset - starts[number] for number, note in place.notes.items())
        place.length = median(note.beep.duration for note in place.notes.values())
    return places


def _hide(
    profile: Bursts, places: list[_Place], heard: Mapping[int, Sequence[Note]], starts: Mapping[int, float]
) -> None:
    """Add places that are only known by longer sounds: such a sound begins with a pulse and ends with a further one.

    Two pulses that run together, of the usual length, leave a gap that the profile has; three would leave none.
    """
    usual = median(place.length for place in places)
    for number, start in starts.items():
        for note in heard[number]:
            begin = note.beep.onset - start
            gap = _gap(profile, note.beep.duration - 2 * usual)
            if gap is None or not any(abs(begin - place.offset) <= PLACE for place in places):
                continue
            offset = begin + usual + gap
            at = next((place for place in places if abs(place.offset - offset) <= usual), None)
            if at is None:
                places.append(_Place(offset, {}, {number}, usual))
            elif number not in at.notes:
                at.covered.add(number)
    places.sort(key=lambda place: place.offset)


def _gap(profile: Bursts, rest: float) -> float | None:
    """The gap between two pulses that ran together, s, of which the room may have added some; None if there is none."""
    kept = [min(rest, high) for low, high in profile.gaps if low - profile.slack <= rest <= high + profile.slack + ECHO]
    return min(kept, default=None)


def _sift(places: Sequence[_Place], size: int, cycles: int) -> tuple[list[_Place], int]:
    """The places of the group alone, and how many others there were: echoes, and what came only once in many cycles."""
    if len(places) <= size or cycles < 3:
        return list(places), 0
    usual = (
        median(place.length for place in places if len(place.notes) > 1)
        if any(len(place.notes) > 1 for place in places)
        else 0.0
    )
    kept = [place for place in places if (place.weight > 1.0 - 1e-9 and len(place.notes) != 1) or place.covered]
    kept = [place for place in kept if place.length * ALIKE >= usual]
    return kept, len(places) - len(kept)


def _enough(profile: Bursts, places: Sequence[_Place]) -> bool:
    """Whether each pulse was heard in all but one of `bursts` groups, and all as often as `bursts` groups have them."""
    least = max(1, profile.bursts - 1)
    return all(place.weight >= least for place in places) and sum(
        place.weight for place in places
    ) >= profile.bursts * len(places)


def _fits(profile: Bursts, places: Sequence[_Place]) -> bool:
    """Whether the folded group is the profile's: its lengths alike, each time in bounds, their medians closely."""
    notes = [note for place in places for note in place.notes.values()]
    lengths = [place.length for place in places]
    if max(lengths) > ALIKE * min(lengths):
        return False
    spaces = [young.offset - old.offset - old.length for old, young in pairwise(places)]
    drawn_out = echo(notes)
    usual = median(note.beep.duration for note in notes)
    return explained(profile, lengths, spaces, drawn_out, profile.slack + 0.5 * drawn_out) and explained(
        profile, [usual], spaces, drawn_out, profile.slack
    )


def _regular(profile: Bursts, places: Sequence[_Place], starts: Iterable[float]) -> bool:
    """Whether the groups come one cycle apart, or some whole cycles where groups went unheard."""
    size = places[-1].offset + places[-1].length - places[0].offset
    drawn_out = echo([note for place in places for note in place.notes.values()])
    line = sorted(starts)
    times = [young - old for old, young in pairwise(line)]
    for time, steps in product(times, range(1, profile.skipped + 2)):
        rest, most = time / steps - size, max(profile.skipped + 1, SKIPPED if steps == 1 else 1)
        if any(
            pause[0] - profile.slack - drawn_out <= rest <= pause[1] + profile.slack for pause in profile.pauses
        ) and all(_whole_cycles(other, time / steps, most) for other in times):
            return True
    return False


def _whole_cycles(time: float, unit: float, most: int) -> bool:
    """Whether a time is 1 to `most` cycles, to a tenth of one."""
    steps = max(1, round(time / unit))
    return steps <= most and abs(time - steps * unit) <= 0.1 * unit


def _weigh(places: Sequence[_Place], strays: int) -> float:
    """S of folded groups: character, repeats and likeness, less what does not belong, nats."""
    notes = [note for place in places for note in place.notes.values()]
    regular = evidence.REPEAT * (sum(place.weight for place in places) - 1)
    regular += evidence.alike([note.beep.duration for note in notes])
    return (
        evidence.SHARE * sum(note.score for note in notes) / len(notes)
        + min(evidence.REGULAR, regular)
        + evidence.EXTRA * min(MOST_STRAYS, strays)
    )
