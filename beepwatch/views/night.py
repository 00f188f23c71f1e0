"""A period of nights as a view: hours and gaps, alarms by kind and one by one, drills apart. Pure.

Figures and words are those of the printed report.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from beepwatch.records.entries import Technical
from beepwatch.records.rows import LoggedAlarm
from beepwatch.records.words import FINDINGS, day, length, name
from beepwatch.report import words
from beepwatch.report.nights import Night
from beepwatch.report.page import harmless
from beepwatch.report.svg import picture
from beepwatch.views.book import FIRST, Looked
from beepwatch.views.frame import MOST, Place, answer, bounded, page, pairs, table


def period(looked: Looked, place: Place) -> str:
    """The page of it."""
    figures = looked.figures
    last = day(figures.period.last)
    title = f"{place.title}: the night of {last}" if place.nights == 1 else f"{place.title}: {place.nights} nights"
    body = [
        f"<p>{harmless(words.period_line(figures))}</p>", *_around(looked, place), *_listening(looked),
        *_alarms(looked), *_nights(looked), *_troubles(looked),
    ]  # fmt: skip
    return page(title, body, place.path)


def _around(looked: Looked, place: Place) -> Iterable[str]:
    """Links to the time before and after."""
    period = looked.figures.period
    before, after = period.first - timedelta(days=1), period.last + timedelta(days=place.nights)
    what = "night" if place.nights == 1 else f"{place.nights} nights"
    links = []
    if before > FIRST + timedelta(days=2 * place.nights):
        links.append(f'<li><a href="{place.path}/{before}" rel="prev">The {what} before</a></li>')
    if not looked.figures.going_on:
        links.append(f'<li><a href="{place.path}/{after}" rel="next">The {what} after</a></li>')
    yield f'<nav aria-label="Earlier and later"><ul>{"".join(links)}</ul></nav>'


# ---------------------------------------------------------------- hours


def _listening(looked: Looked) -> Iterable[str]:
    yield "<h2>Listening</h2>"
    if looked.figures.going_on:
        did = "it listened" if looked.told.heard.now else "IT DID NOT LISTEN"
        yield f"<p>At {looked.told.now.astimezone():%H:%M}, when this was read, {did}, as far as the history tells.</p>"
    yield pairs("Hours listened and gaps", words.listening(looked.figures))
    holes = [
        (_clock(hole.began, looked), harmless(length(hole.seconds)), harmless(hole.reason))
        for hole in looked.figures.holes
    ]
    if holes:
        yield from _rows("Gaps: not listened, and nobody wanted it", ("From", "How long", "Why"), holes)
    pauses = [
        (
            _clock(one.began, looked),
            harmless(length((one.until - one.began).total_seconds())),
            harmless(f"{one.purpose}{f', {one.who}' if one.who else ''}"),
        )
        for one in looked.told.pauses
    ]
    if pauses:
        yield from _rows("Planned pauses, counted apart", ("From", "How long", "What for"), pauses)


def _rows(caption: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterable[str]:
    yield table(caption, columns, rows[-MOST:])
    if len(rows) > MOST:
        yield f"<p>and {len(rows) - MOST} before these.</p>"


# ---------------------------------------------------------------- alarms


def _alarms(looked: Looked) -> Iterable[str]:
    real = [one for one in looked.told.alarms if not one.drill]
    drills = [one for one in looked.told.alarms if one.drill]
    yield "<h2>Alarms</h2>"
    if not looked.figures.kinds:
        heard = looked.figures.seconds > 0
        yield f"<p>{'None was heard.' if heard else 'Nothing was listened to: nothing can be said about alarms.'}</p>"
    else:
        rows = [[harmless(cell) for cell in words.kind_row(kind)] for kind in looked.figures.kinds]
        yield table("Alarms by kind, without drills", words.KIND_COLUMNS, rows)
        waited = " ".join(line for entry in words.answered(looked.figures) for line in entry)
        yield f"<h3>Each alarm, newest first</h3><p>{harmless(waited)}</p>"
        yield from bounded([_line(one, looked) for one in reversed(real)])
    if drills:
        yield "<h2>Drills</h2><p>Rehearsals, counted nowhere else.</p>"
        yield from bounded([_line(one, looked) for one in reversed(drills)])


def _line(alarm: LoggedAlarm, looked: Looked) -> str:
    """A link to its evidence, and what matters of it."""
    drill = "DRILL: " if alarm.drill else ""
    notes = sum(note.about_id == alarm.id for note in looked.told.notes)
    lasted = length(alarm.lasted) + ("" if alarm.ended is not None else ", its end was not heard")
    told = [f"{alarm.state.priority} priority, {lasted}", answer(alarm)]
    found = looked.told.found.get(alarm.id)
    told.append("what it was is not written down" if found is None else f"it was {FINDINGS[found.what]}")
    if notes:
        told.append("1 note" if notes == 1 else f"{notes} notes")
    title = f"{_clock(alarm.began, looked)}: {harmless(drill + name(alarm.state.pattern))}"
    return f'<a href="/alarm/{alarm.id}">{title}</a><p>{harmless("; ".join(told))}.</p>'


# ---------------------------------------------------------------- nights, and its own troubles


def _nights(looked: Looked) -> Iterable[str]:
    figures = looked.figures
    if figures.period.nights == 1 or not figures.nights:
        return
    yield "<h2>Night by night</h2>"
    yield (
        '<div class="picture" role="region" aria-label="Picture of the nights" tabindex="0">'
        f"{picture(figures, themed=True)}</div>"
    )
    columns = ("Night of", "Listened", "Worst gap", "Planned pauses", "Alarms")
    yield table("Each night in words", columns, [_night(night) for night in figures.nights])


def _night(night: Night) -> tuple[str, ...]:
    worst = night.worst
    return (
        f'<a href="/tonight/{night.day}">{harmless(day(night.day))}</a>',
        harmless(length(night.seconds)) if night.seconds > 0 else "nothing",
        "none" if worst is None else harmless(f"{length(worst.seconds)}: {worst.reason}"),
        harmless(length(night.paused)) if night.paused else "none",
        harmless(words.night_words(night)) or "none",
    )


def _troubles(looked: Looked) -> Iterable[str]:
    yield "<h2>Times it could not hear or wake</h2>"
    told = looked.told.technicals
    if not told:
        yield "<p>None.</p>"
        return
    yield from bounded([f"<p>{_trouble(one, looked)}</p>" for one in reversed(told)])


def _trouble(one: Technical, looked: Looked) -> str:
    over = "not over as far as is known"
    if one.ended is not None:
        over = length((one.ended - one.began).total_seconds())
    why = f": {one.why}" if one.why else ""
    return f"{_clock(one.began, looked)}: {harmless(f'{name(one.cause)}, {over}{why}')}"


def _clock(moment: datetime, looked: Looked) -> str:
    return harmless(words.clock(moment, looked.figures))
