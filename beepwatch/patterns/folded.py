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
from beepwatch.patterns.bursts import ALIKE, CROWD, ECHO, PLACE, Line, clusters, echo, explained, line, pulses
from beepwatch.patterns.memory import Note
from beepwatch.patterns.profiles import Bursts, Span

PULSE = 0.005
"""Tones of short pulses agree to this (0.1 s at 520 Hz: 2 Hz, Rife & Boorstyn 1974, and a bin's worth of bias)."""
SKIPPED = 3
"""Cycles from one heard group to the next at most, once two came one cycle apart (judgement)."""
LONGEST_SKIPPED = 30.0
"""s of a pause from which each group must be heard: music repeats a run of four notes after two minutes (judgement,
after one that did; where a group goes unheard a carbon monoxide alarm's slow cycle is told later for it)."""
MOST_STRAYS = 3
"""Sounds beside a group's pulses that count (judgement: more are the room's echoes, or music)."""
TINY = 1e-6
"""s by which a bound that is asked early is wider, so that rounding throws nothing away."""
DRAWN_OUT = 0.022
"""s by which all pulses are longer than the longest of the profile, for a nat: a room draws out 6 % of pulses by 0.06 s
and 1 to 2 % by 0.09 s (measured in 16 rooms of T60 0.25-0.55 s, 0.1 to 0.5 s at +10 to -6 dB): minus ln of that."""
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

    @property
    def unheard(self) -> int:
        """Cycles from the first group to the last in which none was heard; a cycle is the shortest time between two."""
        times = [young - old for old, young in pairwise(self.onsets)]
        return sum(round(time / min(times)) - 1 for time in times)


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


def lines(notes: Sequence[Note], newest: Note) -> tuple[Line, ...]:
    """All sounds of one sounder by onset, `newest` among them: first without its other harmonics (music has tones there
    too), then with them."""
    tone = newest.beep.frequency
    alone = [note for note in notes if abs(note.beep.frequency / tone - 1.0) <= PULSE]
    return (line(alone), line(notes)) if len(alone) < len(notes) else (line(notes),)


def groups(profile: Bursts, tried: Sequence[Line], newest: Note) -> Groups | None:
    """The repeated groups that `newest` completes on the first of the lines that has such; None when it does not."""
    longest = sum(gap[1] for gap in profile.gaps) + (len(profile.gaps) + 1) * profile.pulse[1] + ECHO
    if not profile.pulse[0] - profile.slack <= newest.beep.duration <= longest:
        return None
    able = (one for one in tried if len(one.notes) > len(profile.gaps))
    return next((found for one in able if (found := _groups(profile, one, newest))), None)


def _groups(profile: Bursts, tried: Line, newest: Note) -> Groups | None:
    """The same for one line.

    Every pulse of the group must have been heard apart at least once, and all together as many as `bursts` whole
    groups have: what is missing in one cycle another makes up for. The cheap questions come first.
    """
    heard = clusters(profile, tried)
    crowd = CROWD * (len(profile.gaps) + 1)
    apart = [pulses(profile, cluster) if len(cluster) <= crowd else [] for cluster in heard]
    if not _countable(profile, heard, apart):
        return None
    own = [number for number, cluster in enumerate(heard) if any(note is newest for note in cluster)]
    starts = {number: start for number, start in enumerate(_aligned(apart, profile, own)) if start is not None}
    if len(starts) < profile.bursts or not _regular(profile, _sizes(profile), starts.values(), ECHO):
        return None
    places = _places(dict(enumerate(apart)), starts)
    _hide(profile, places, dict(enumerate(heard)), starts)
    places, strays = _sift(places, len(profile.gaps) + 1, len(starts))
    if len(places) != len(profile.gaps) + 1 or not _adds(newest, places, own):
        return None
    onsets = {number: start + places[0].offset for number, start in starts.items()}
    if not (_enough(profile, places) and _fits(profile, places) and _on_beat_of(profile, places, onsets.values())):
        return None
    order = sorted(onsets, key=lambda number: onsets[number])
    told = [tuple(place.notes[number] for place in places if number in place.notes) for number in order]
    return Groups(tuple(told), tuple(onsets[number] for number in order), _weigh(profile, places, strays))


def _countable(profile: Bursts, heard: Sequence[Sequence[Note]], apart: Sequence[Sequence[Note]]) -> bool:
    """Whether there are clusters and pulses enough (see _enough), and none has more in a row than a group."""
    size, shortest = len(profile.gaps) + 1, _shortest_pair(profile)
    if len(apart) < profile.bursts or sum(map(len, apart)) < size:
        return False
    most = 0.0
    for cluster, resolved in zip(heard, apart, strict=True):
        covered = 0 if len(resolved) >= size else sum(note.beep.duration >= shortest for note in cluster)
        most += min(float(size), len(resolved) + RUN_TOGETHER * covered)
    return most >= profile.bursts * size and not any(_runs_on(profile, one) for one in apart)


def _shortest_pair(profile: Bursts) -> float:
    """The shortest sound that may be two pulses run together, s: see _hide."""
    return 2 * (profile.pulse[0] - profile.slack) + min(low for low, _ in profile.gaps) - profile.slack - TINY


def _sizes(profile: Bursts) -> Span:
    """The shortest and the longest group that can fit, s: see _fits."""
    slack, (shortest, longest) = profile.slack + 0.5 * ECHO, profile.pulse
    low = (len(profile.gaps) + 1) * (shortest - slack) + sum(gap[0] - slack for gap in profile.gaps)
    high = (len(profile.gaps) + 1) * (longest + slack) + sum(gap[1] + slack for gap in profile.gaps) + ECHO
    return low - TINY, high + TINY


def _adds(newest: Note, places: Sequence[_Place], own: Sequence[int]) -> bool:
    """Whether a sound, of the clusters `own`, is one of the group's pulses, or several that ran together."""
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


def _aligned(apart: Sequence[Sequence[Note]], profile: Bursts, own: Sequence[int]) -> list[float | None]:
    """Where each cluster begins, s of stream time, all by the one with most pulses; None for one that does not agree.

    own: clusters of the newest sound; where none of them agrees nothing is new, and the others are not asked.

    Where a cluster fits in two ways, as one does that lost its first or its last pulse, that is taken which keeps the
    beat of the others; if there is none, the one that begins with the first pulse.
    """
    main = max(range(len(apart)), key=lambda number: (len(apart[number]), number))
    size = len(profile.gaps) + 1
    origin = apart[main][0].beep.onset
    reference = [note.beep.onset - origin for note in apart[main]]

    def options(number: int) -> list[float]:
        onsets = [note.beep.onset for note in apart[number]]
        return [origin] if number == main else _shifts(reference, onsets, min(2, size))

    if not any(options(number) for number in own):
        return []
    found = [options(number) for number in range(len(apart))]
    starts: list[float | None] = [one[0] if len(one) == 1 else None for one in found]
    for number, several in enumerate(found):
        if len(several) > 1:
            starts[number] = _on_beat(several, starts, apart[number][0].beep.onset)
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
    apart = [young - old for old, young in pairwise(sure) if young - old > PLACE]
    if not apart:
        return min(options, key=lambda start: abs(start - onset))
    unit = min(apart)

    def off(start: float) -> float:
        cycles = (start - sure[0]) / unit
        return abs(cycles - round(cycles))

    return min(options, key=off)


def _places(apart: Mapping[int, Sequence[Note]], starts: Mapping[int, float]) -> list[_Place]:
    """The places at which pulses were heard, by offset."""
    every = [(note.beep.onset - start, number, note) for number, start in starts.items() for note in apart[number]]
    places: list[_Place] = []
    for offset, number, note in sorted(every, key=lambda one: one[:2]):
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
    usual, shortest = median(place.length for place in places), _shortest_pair(profile)
    for number, start in starts.items():
        for note in heard[number]:
            if note.beep.duration < shortest:
                continue
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


def _on_beat_of(profile: Bursts, places: Sequence[_Place], starts: Iterable[float]) -> bool:
    """Whether groups with these pulses come one cycle apart."""
    size = places[-1].offset + places[-1].length - places[0].offset
    drawn_out = echo([note for place in places for note in place.notes.values()])
    return _regular(profile, (size, size), starts, drawn_out)


def _regular(profile: Bursts, size: Span, starts: Iterable[float], drawn_out: float) -> bool:
    """Whether groups of a size within bounds come one cycle apart, or some whole cycles where groups went unheard."""
    onsets = sorted(starts)
    times = [young - old for old, young in pairwise(onsets)]
    for time, steps in product(times, range(1, profile.skipped + 2)):
        unit, most = time / steps, max(profile.skipped + 1, SKIPPED if steps == 1 else 1)
        if any(
            pause[0] - profile.slack - drawn_out <= unit - size[0] and unit - size[1] <= pause[1] + profile.slack
            for pause in profile.pauses
            if steps == 1 or pause[1] <= LONGEST_SKIPPED
        ) and all(_whole_cycles(other, unit, most) for other in times):
            return True
    return False


def _whole_cycles(time: float, unit: float, most: int) -> bool:
    """Whether a time is 1 to `most` cycles, to a tenth of one."""
    steps = max(1, round(time / unit))
    return steps <= most and abs(time - steps * unit) <= 0.1 * unit


def _weigh(profile: Bursts, places: Sequence[_Place], strays: int) -> float:
    """S of folded groups: character, repeats and likeness, less what does not belong, or is too long, nats."""
    notes = [note for place in places for note in place.notes.values()]
    longer = median(note.beep.duration for note in notes) - profile.pulse[1] - profile.slack
    regular = evidence.REPEAT * (sum(place.weight for place in places) - 1)
    regular += evidence.alike([note.beep.duration for note in notes])
    return (
        evidence.SHARE * sum(note.score for note in notes) / len(notes)
        + min(evidence.COUNTED, regular)
        + evidence.EXTRA * min(MOST_STRAYS, strays)
        - max(0.0, longer) / DRAWN_OUT
    )
