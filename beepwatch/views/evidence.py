"""One alarm with all that belongs to it: why it was named, its beeps, who was tried, what it was, its sound. Pure."""

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from beepwatch.records.entries import LoggedClip, Note, Tried
from beepwatch.records.rows import LoggedAlarm, LoggedBeep, LoggedState
from beepwatch.records.words import FINDINGS, day, length, name
from beepwatch.report.page import LETTERS, harmless
from beepwatch.report.words import shown
from beepwatch.views.book import Evidence
from beepwatch.views.frame import MOST, answer, page, pairs, table

WORDS = 1000
"""Letters of a note that is written on a phone at most: a request then stays under the gate's 4096 bytes."""
STATES = {
    "raised": "named", "changed": "heard on", "renamed": "named anew", "ended": "over", "woken": "waking began",
    "acknowledged": "answered", "stopped": "the beeping stopped, unanswered", "again": "it beeped on and woke again",
    "reminded": "reminded", "paused": "a planned pause silenced it", "resumed": "the pause was over",
    "battery-changed": "the battery was said to be changed",
}  # fmt: skip
NARROW = "Only narrow bands round the device's tone were kept, so that talk is hard to follow; the crackle was added."


def evidence(told: Evidence, noted: bool = False) -> str:
    """The page of it. noted: something was written down just now."""
    alarm = told.alarm
    drill = "DRILL: " if alarm.drill else ""
    title = f"{drill}{name(alarm.state.pattern)}, {day(_here(alarm.began))}, {_here(alarm.began):%H:%M}"
    body = [
        *_short(told), "<h2>Evidence</h2>", f"<p>{harmless(shown(alarm.state.why, LETTERS))}</p>", *_sound(told),
        *_beeps(told), *_states(told), *_tries(told), *_notes(told, noted), *_form(told),
    ]  # fmt: skip
    return page(title, body)


def _short(told: Evidence) -> Iterable[str]:
    alarm = told.alarm
    if alarm.drill:
        yield "<p><strong>A rehearsal, not a real alarm.</strong></p>"
    over = "" if alarm.ended is not None else ", its end was not heard (or it goes on)"
    found = told.found
    by = f", says {found.who}" if found is not None and found.who else ""
    rows = [
        ("Began", _clock(alarm.began)), ("Named", f"{_clock(alarm.raised)}, {alarm.state.priority} priority"),
        ("Went on for", length(alarm.lasted) + over), ("Answered", answer(alarm)),
        ("What it was", "not written down" if found is None else f"{FINDINGS[found.what]}{by}"),
        ("Number in the history", str(alarm.id)),
    ]  # fmt: skip
    yield pairs("In short", rows)
    yield f'<p><a href="/tonight/{_night(alarm)}">The night in which it was</a></p>'


def _night(alarm: LoggedAlarm) -> str:
    return str((_here(alarm.began).replace(tzinfo=None) - timedelta(hours=12)).date())


# ---------------------------------------------------------------- sound and beeps


def _sound(told: Evidence) -> Iterable[str]:
    yield "<h2>Sound</h2>"
    if not told.clips:
        yield "<p>No sound of it was kept.</p>"
        return
    if playable(told):
        yield f"<p>{NARROW}</p>"
    for clip, there in told.clips:
        yield _clip(told.alarm, clip, there)


def _clip(alarm: LoggedAlarm, clip: LoggedClip, there: bool) -> str:
    what = f"{_seconds(clip.clip.began)}, {length(clip.clip.seconds)}"
    if there:
        return (
            f'<figure><figcaption id="clip-{clip.id}">{harmless(what)}</figcaption><audio controls preload="none" '
            f'aria-labelledby="clip-{clip.id}" src="/alarm/{alarm.id}/clip/{clip.id}"></audio></figure>'
        )
    gone = "its file is missing" if clip.deleted is None else f"deleted {_clock(clip.deleted)}"
    return f"<p>{harmless(f'{what}: {gone}')}</p>"


def playable(told: Evidence) -> bool:
    """Whether any sound is there to be heard."""
    return any(there for _, there in told.clips)


def _beeps(told: Evidence) -> Iterable[str]:
    yield "<h2>Beeps</h2>"
    if not told.beeps:
        yield "<p>No beep of it was kept.</p>"
        return
    columns = ("At", "Length", "Tone", "Level", "Over the noise")
    yield table("All beeps heard while it went on", columns, [_beep(one, told.alarm) for one in told.beeps[:MOST]])
    if len(told.beeps) > MOST:
        yield f"<p>and {len(told.beeps) - MOST} after these.</p>"


def _beep(beep: LoggedBeep, alarm: LoggedAlarm) -> tuple[str, ...]:
    since = beep.onset - alarm.state.onset
    at = _here(alarm.began + timedelta(seconds=since)) if math.isfinite(since) else None
    return (
        "not known" if at is None else f"{at:%H:%M:%S}.{at.microsecond // 100_000}",
        _figure(beep.duration, "{:.2f} s"), _figure(beep.frequency, "{:.0f} Hz"), _figure(beep.level, "{:.0f} dB"),
        _figure(beep.snr, "{:.0f} dB"),
    )  # fmt: skip


def _figure(value: float | None, form: str) -> str:
    """A figure; the file keeps a NaN as none at all."""
    return "not known" if value is None or not math.isfinite(value) else form.format(value)


# ---------------------------------------------------------------- what became of it


def _states(told: Evidence) -> Iterable[str]:
    yield "<h2>What became of it</h2>"
    rows = [_state(one, told.alarm) for one in _few(told.states)]
    yield table("State by state", ("At", "What", "Since it was named"), rows[:MOST])


def _few(states: Sequence[LoggedState]) -> Iterator[LoggedState]:
    """Without the beeps between: of a row of changes only the last."""
    for at, one in enumerate(states):
        if one.kind != "changed" or at + 1 == len(states) or states[at + 1].kind != "changed":
            yield one


def _state(one: LoggedState, alarm: LoggedAlarm) -> tuple[str, ...]:
    what = STATES.get(one.kind, one.kind)
    if one.kind in ("raised", "renamed") and one.pattern:
        what += f" {name(one.pattern)}"
    if one.kind in ("raised", "changed", "ended") and one.beeps is not None:
        what += f", {one.beeps} beeps"
    if one.who:
        what += f" by {one.who}"
    if one.way:
        what += f" ({one.way})"
    after = (one.at - alarm.raised).total_seconds() if one.after is None else one.after
    return _seconds(one.at), harmless(what), harmless(length(max(0.0, after)))


def _tries(told: Evidence) -> Iterable[str]:
    yield "<h2>Who was tried, by what</h2>"
    if not told.tried:
        yield "<p>Nobody, by no way.</p>"
        return
    rows = [_try(one, told.alarm) for one in told.tried[:MOST]]
    yield table("Tries to wake somebody", ("At", "By what", "Whom", "How it went", "Since it was named"), rows)


def _try(one: Tried, alarm: LoggedAlarm) -> tuple[str, ...]:
    tried = one.attempt
    went = "went out" if tried.ok else "FAILED"
    after = (one.at - alarm.raised).total_seconds() if tried.after is None else tried.after
    return (
        _seconds(one.at), harmless(tried.way), harmless(tried.who or "all"),
        harmless(f"{went}: {tried.detail}" if tried.detail else went), harmless(length(max(0.0, after))),
    )  # fmt: skip


# ---------------------------------------------------------------- notes


def _notes(told: Evidence, noted: bool) -> Iterable[str]:
    yield '<h2 id="notes" tabindex="-1">Notes</h2>'
    yield f'<p id="noted" role="status">{"Written down." if noted else ""}</p>'
    if not told.notes:
        yield "<p>None.</p>"
        return
    yield f"<ul>{''.join(f'<li>{_note(one)}</li>' for one in told.notes[-MOST:])}</ul>"


def _note(note: Note) -> str:
    who = f", {note.who}" if note.who else ""
    text = "(its words were deleted)" if note.text is None else shown(note.text, LETTERS)
    return f'<p>{harmless(f"{_clock(note.at)}{who}:")}</p><p class="said" dir="auto">{harmless(text)}</p>'


def _form(told: Evidence) -> Iterable[str]:
    """What it was, and a note; sent by the page's script to the loop, which alone writes the history."""
    number = told.alarm.id
    choices = "".join(
        f'<p><input type="radio" name="what" value="{what}" id="what-{what}"><label for="what-{what}">'
        f"{harmless(label[0].upper() + label[1:])}</label></p>"
        for what, label in FINDINGS.items()
    )
    yield (
        f'<h2>Write it down</h2><form id="form" data-path="/alarm/{number}/note"><fieldset><legend>What was it?'
        f'</legend>{choices}</fieldset><p><label for="words">A note, in your own words</label></p>'
        f'<textarea id="words" name="words" rows="4" maxlength="{WORDS}" dir="auto"></textarea>'
        '<button type="submit" class="wide">Write it down</button><p id="word" role="status"></p></form>'
    )
    yield (
        "<p>A later answer takes the place of an earlier one; both stay in the history. If a false alarm comes again, "
        f"<code>beepwatch history note {number} --teach log</code> on the computer keeps it from waking you.</p>"
    )


def _here(moment: datetime) -> datetime:
    return moment.astimezone()


def _clock(moment: datetime) -> str:
    here = _here(moment)
    return f"{day(here)}, {here:%H:%M:%S}"


def _seconds(moment: datetime) -> str:
    return f"{_here(moment):%H:%M:%S}"
