"""The figures in plain words: the same lines on paper and in the file. Pure."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeAlias

from beepwatch.care.words import early_line
from beepwatch.records.words import FINDINGS, day, length, name
from beepwatch.report.clusters import FEWEST, Cluster
from beepwatch.report.figures import Answers, Change, Changed, Kind, Review, Rhythm, Told, Trouble
from beepwatch.report.nights import Night

Lines: TypeAlias = tuple[str, ...]
"""The lines of one entry: what it is first."""

ORIGIN = "Heard by a listener, not the device's own record."
SHOWN = 300
"""Letters of a note or of an evidence sentence that paper shows; it is whole in the history (judgement)."""
ALL = "`beepwatch history --since {first} --until {until}`"
UNHEARD = "Nothing was listened to, so nothing can be said."
NUMBERS = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, what stands below it, and where to find what is left out."""

    title: str
    entries: tuple[Lines, ...]
    where: str = ""
    """Of what does not fit."""
    empty: str = ""
    """What is said where there is no entry."""
    weight: int = 1
    """Entries that it is given in turn, where room is short."""


def title(review: Review) -> str:
    """Of the whole report."""
    return f"What a listener heard of {review.person}'s device" if review.person else "What a listener heard"


def period_line(review: Review) -> str:
    """The period, and what a night is."""
    first, last = day(review.period.first), day(review.period.last)
    so_far = ", so far" if review.going_on else ""
    count = review.period.nights
    told = "1 night" if count == 1 else f"{count} nights"
    return f"{first} to {last}: {told}{so_far}, each from noon to the next noon."


def listening(review: Review) -> tuple[tuple[str, str], ...]:
    """(what, how much) of the hours listened."""
    found = [
        ("Nights listened to", f"{len(review.listened_nights)} of {len(review.nights)}"),
        ("Hours listened", _hours(review)),
        ("Gaps in nights", _gaps(review)),
        ("Worst gap", _worst(review)),
        ("Without margin", _margin(review)),
        ("Planned pauses", "none" if not review.paused else f"{review.pauses}, together {length(review.paused)}"),
    ]
    if review.lost >= 1:
        found.append(("Lost in short pieces", length(review.lost)))
    return tuple(found)


def _hours(review: Review) -> str:
    nights = sorted(night.seconds for night in review.listened_nights)
    if not nights:
        return "none: nothing can be said about alarms"
    return f"{length(review.seconds)}; on a typical night {length(nights[len(nights) // 2])}"


def _gaps(review: Review) -> str:
    holes = review.holes
    return f"{len(holes)}, together {length(sum(hole.seconds for hole in holes))}" if holes else "none"


def _worst(review: Review) -> str:
    worst = max(review.holes, key=lambda hole: hole.seconds, default=None)
    if worst is None:
        return "none"
    return f"{length(worst.seconds)}, {clock(worst.began, review)}: {worst.reason}"


def _margin(review: Review) -> str:
    margin = review.margin
    if not margin.minutes or margin.unknown == margin.minutes:
        return "not known: the device's beep was not taught at this microphone"
    return f"{_or_none(60 * margin.low, 'none')} under 6 dB; {_or_none(60 * margin.unknown, 'none')} not known"


def _or_none(seconds: float, none: str) -> str:
    return length(seconds) if seconds > 0 else none


def clock(moment: datetime, review: Review) -> str:
    """A time of the house: "Tue 3 Feb 2026, 02:10"."""
    here = moment.astimezone(review.period.zone)
    return f"{day(here)}, {here:%H:%M}"


KIND_COLUMNS = ("Alarm", "Priority", "How often", "Together", "Longest", "Occasions in 100 h (95 %)")


def kind_row(kind: Kind) -> tuple[str, ...]:
    """One row under `KIND_COLUMNS`."""
    rate = "too little listening" if kind.rate is None else "{:.1f} ({:.1f} to {:.1f})".format(*kind.rate)
    return name(kind.pattern), kind.priority, str(kind.count), length(kind.total), length(kind.longest), rate


NOTES_ON_RATES = (
    "An occasion is one alarm, or several of a kind within ten minutes of each other. Several kinds are compared, so "
    "about one in twenty would look changed by chance alone."
)


def change_line(change: Change, review: Review) -> str:
    """One plain sentence."""
    what = f"{name(change.pattern)}: {_occasions(change.now)} now, {change.before} before"
    if change.ratio is None:
        return f"{what}: too little listening to tell."
    ratio, low, high = change.ratio.ratio, change.ratio.low, change.ratio.high
    if math.isinf(ratio):
        measured = f"at least {_g(low)} times as often (95 %)"
    else:
        measured = (
            f"{_g(ratio)} times as often (95 %: {_g(low)} to {_g(high) if math.isfinite(high) else 'any number'})"
        )
    if low > 1:
        return f"{what}, {measured}: MORE OFTEN than before."
    if high < 1:
        return f"{what}, {measured}: LESS OFTEN than before."
    return f"{what}, {measured}: no clear change; this can be chance."


def change_lines(review: Review) -> list[str]:
    """What is compared with what, then a sentence a kind."""
    before = review.period.before
    told = (
        f"Before: {day(before.first)} to {day(before.last)}, {_or_none(review.before_seconds, 'nothing')} listened to"
    )
    if not review.changes:
        return [f"{told}. No alarms in either period."]
    return [
        f"{told}; now {_or_none(review.seconds, 'nothing')}.",
        *(change_line(one, review) for one in review.changes),
    ]


def sections(review: Review, letters: int = SHOWN) -> tuple[Section, ...]:
    """All that stands below the picture, in order; people's own words up to so many letters."""
    everything = ALL.format(first=review.period.first, until=review.period.last + timedelta(days=1))
    none = "None was heard." if review.seconds > 0 else UNHEARD
    apart = f"No {NUMBERS[FEWEST]} alarms of a kind within ten minutes." if review.seconds > 0 else UNHEARD
    well = "None." if review.seconds > 0 else UNHEARD
    high = tuple(tuple(_told(one, review, letters)) for one in reversed(review.high))
    found = [
        Section("High-priority alarms, newest first", high, everything, none, 3),
        Section(
            "Alarms close together", tuple((cluster_line(one, review),) for one in reversed(review.clusters)),
            everything, apart, 2,
        ),
        Section("Until a button was pressed", tuple(answered(review)), everything, "Left out."),
        Section("Main battery", tuple(_battery(review)), everything, "No change was written down.", 2),
        Section("Care", tuple((rhythm_line(one),) for one in review.rhythms), everything, "None is armed."),
        Section(
            "Times it could not hear or wake", tuple((_trouble(one),) for one in review.troubles), everything, well
        ),
    ]  # fmt: skip
    if review.notes is not None:
        notes = tuple((_note(review, at, letters),) for at in reversed(range(len(review.notes))))
        found.append(Section("Notes of the family", notes, everything, "None.", 2))
    return tuple(found)


def _told(told: Told, review: Review, letters: int) -> Iterator[str]:
    alarm = told.alarm
    what = f"it was {FINDINGS[told.found]}" if told.found else "what it was is not written down"
    lasted = length(alarm.lasted) if alarm.ended is not None else f"{length(alarm.lasted)}, its end was not heard"
    answered = ""
    if review.answers is not None and alarm.woken_after is not None:
        by = f" by {alarm.answered_by}" if alarm.answered_by else ""
        after = alarm.acknowledged_after
        answered = "; nobody answered" if after is None else f"; answered after {length(after)}{by}"
    yield f"{clock(alarm.began, review)}: {name(alarm.state.pattern)}, {lasted}{answered}; {what} (number {alarm.id})"
    yield f"Evidence: {shown(alarm.state.why, letters)}"


def cluster_line(cluster: Cluster, review: Review) -> str:
    """As "three lead disconnects in 8 minutes"."""
    count = len(cluster.alarms)
    number = NUMBERS[count] if count < len(NUMBERS) else str(count)
    minutes = max(1, math.ceil(cluster.seconds / 60))
    span = "a minute" if minutes == 1 else f"{minutes} minutes"
    return f"{clock(cluster.at, review)}: {number} {name(cluster.pattern)} alarms in {span}"


def answered(review: Review) -> Iterator[Lines]:
    """How long it took until a button was pressed; drills apart; nothing where it is left out."""
    if review.answers is not None:
        yield (f"Alarms: {_waited(review.answers)}",)
    if review.drill_answers is not None:
        yield (f"Drills, counted apart: {_waited(review.drill_answers)}",)


def _waited(answers: Answers) -> str:
    if not answers.woken:
        return "nobody was woken."
    told = f"{answers.answered} of {answers.woken} that woke somebody were answered"
    if answers.median is None or answers.longest is None:
        return f"{told}."
    return f"{told}; half of these within {length(answers.median)}, the longest took {length(answers.longest)}."


def _battery(review: Review) -> Iterator[Lines]:
    battery = review.battery
    for one in battery.early:
        yield (early_line(one, lambda moment: clock(moment, review)),)
    rows = [(one.event.at, _changed(one, review)) for one in battery.changes]
    rows += [(one.began, f"{clock(one.began, review)}: alarm, {name(one.state.pattern)}") for one in battery.alarms]
    for _, line in sorted(rows, reverse=True):
        yield (line,)


def _changed(one: Changed, review: Review) -> str:
    hours = f" after about {one.hours:.0f} h of use" if one.hours is not None else ""
    by = f", by {one.event.who}" if one.event.who else ""
    why = ", after an alarm" if one.event.reason == "alarm" else ""
    return f"{clock(one.event.at, review)}: changed{hours}{why}{by}"


def rhythm_line(rhythm: Rhythm) -> str:
    """One sentence a routine."""
    wanted = f", wanted each {_days(rhythm.wanted)}" if rhythm.wanted is not None else ""
    told = f"{rhythm.title}{wanted}: {f'done {_times(rhythm.count)}' if rhythm.count else 'not once written down'}"
    if rhythm.typical is not None and rhythm.longest is not None:
        told += f"; mostly {_days(rhythm.typical)} apart, the longest {_days(rhythm.longest)}"
    sooner = f"; due earlier {_times(rhythm.early)} (damp, dirty or the like)" if rhythm.early else ""
    return f"{told}{sooner}."


def _trouble(trouble: Trouble) -> str:
    longest = f", the longest {length(trouble.longest)}" if trouble.longest else ""
    return f"{name(trouble.cause)}: {_times(trouble.count)}{longest}"


def _note(review: Review, at: int, letters: int) -> str:
    note = (review.notes or ())[at]
    text = "(its words were deleted)" if note.text is None else shown(note.text, letters)
    who = f" {note.who}:" if note.who else ""
    about = f" (alarm {note.alarm})" if note.alarm is not None else ""
    return f"{clock(note.at, review)}{about}:{who} {text}"


def night_words(night: Night, most: int = 100) -> str:
    """The alarms of a night in whole words, for the margin of the picture; of `most` kinds, and how many more."""
    told = [f"{name(pattern)} ({count})" if count > 1 else name(pattern) for pattern, count in night.kinds[:most]]
    if len(night.kinds) > most:
        told.append(f"{len(night.kinds) - most} kinds more")
    if night.length != 24:
        told.append("clocks changed")
    return ", ".join(told)


def shown(text: str, letters: int = SHOWN) -> str:
    """Somebody's words on one line, and how much is left out."""
    flat = " ".join(text[: 4 * letters].split())
    cut = len(text) > 4 * letters or len(flat) > letters
    return f"{flat[:letters]} ... ({len(text)} letters; whole in the history)" if cut else flat


def _times(count: int) -> str:
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _occasions(count: int) -> str:
    return "1 occasion" if count == 1 else f"{count} occasions"


def _days(count: float) -> str:
    whole = round(count, 1)
    return "1 day" if whole == 1 else f"{whole:g} days"


def _g(figure: float) -> str:
    """Two figures that count, never as a power of ten."""
    if 0 < figure < 0.01:
        return "under 0.01"
    if figure >= 0.995:
        return f"{figure:.0f}" if figure >= 9.95 else f"{figure:.1f}"
    return f"{figure:.2g}"
