"""The alarm log as lines for a person."""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import TypeAlias

from beepwatch.cli import CAUTION
from beepwatch.cli.logs.log import Log
from beepwatch.records.entries import Note, Technical
from beepwatch.records.listened import still_listening
from beepwatch.records.rows import LoggedAlarm
from beepwatch.records.words import FINDINGS, length, name, printable

__all__ = ["length", "printable", "text"]

Clock: TypeAlias = Callable[[datetime], str]

SHOWN = 2000
"""Letters of a note that are shown; it is whole in the history (judgement)."""


def text(log: Log, alarms: bool = True) -> Iterator[str]:
    """The log as lines for a person; `alarms` False leaves the hours alone."""
    shown = [alarm.began for alarm in log.alarms] + [gap.began for gap in log.heard.gaps]
    shown += [technical.began for technical in log.technicals]
    clock = _clock([*shown, *(gap.ended for gap in log.heard.gaps), log.heard.since, log.heard.until])
    if alarms:
        for alarm in log.alarms:
            yield from _alarm_lines(alarm, log, clock)
            yield ""
    yield from _recordings(log, clock) if log.kind == "recording" else _hours(log, clock)
    yield ""
    yield CAUTION


def _alarm_lines(alarm: LoggedAlarm, log: Log, clock: Clock) -> Iterator[str]:
    named = printable(name(alarm.state.pattern))
    source = f" in {printable(alarm.source)}" if log.kind == "recording" else ""
    drill = "DRILL: " if alarm.drill else ""
    yield f"{clock(alarm.began)}  {drill}{named}, {alarm.state.priority} priority{source} (number {alarm.id})"
    yield f"    {_how_long(alarm, log)}"
    yield f"    {_who(alarm)}"
    for tried in (one for one in log.tried.get(alarm.id, ()) if not one.attempt.ok):
        yield f"    tried in vain: {printable(': '.join(filter(None, (tried.attempt.way, tried.attempt.detail))))}"
    yield f"    {printable(alarm.state.why)}"
    if alarm.id in log.found:
        yield f"    what it was: {FINDINGS.get(log.found[alarm.id].what, log.found[alarm.id].what)}"
    for note in log.notes_on(alarm):
        yield f"    note {note.id}: {_shown(note)}"
    for clip in log.clips.get(alarm.id, ()):
        yield f"    clip {printable(clip.clip.file)}, {length(clip.clip.seconds)}"


def _shown(note: Note) -> str:
    if note.text is None:
        return "(its words were deleted)"
    cut = f" ... ({len(note.text)} letters)" if len(note.text) > SHOWN else ""
    return printable(" ".join(note.text[:SHOWN].split())) + cut


def _how_long(alarm: LoggedAlarm, log: Log) -> str:
    lasted = length(alarm.lasted)
    if alarm.ended is not None:
        return f"went on for {lasted}"
    span = next((span for span in log.spans if span.id == alarm.span), None)
    if span is not None and still_listening(span, log.now):
        return f"going on: {lasted} so far"
    return f"its end was not heard; it had gone on for {lasted} when listening stopped"


def _who(alarm: LoggedAlarm) -> str:
    woken, answered = alarm.woken_after, alarm.acknowledged_after
    told = "nobody was woken" if woken is None else f"woken {_after(woken)}"
    by = f" by {printable(alarm.answered_by)}" if alarm.answered_by else ""
    told += ", nobody answered" if answered is None else f", answered {_after(answered)}{by}"
    if alarm.stopped_after is not None:
        told += f"; its end was known {_after(alarm.stopped_after)}"
    return told


def _after(seconds: float) -> str:
    return "within 1 s" if seconds < 1 else f"after {length(seconds)}"


def _hours(log: Log, clock: Clock) -> Iterator[str]:
    """Alarms counted only together with the hours listened; then each gap."""
    heard = log.heard
    if heard.seconds <= 0:
        yield "Nothing was listened to in this time, so nothing can be said about alarms."
        yield "`beepwatch watch` listens."
    else:
        whole = (heard.until - heard.since).total_seconds()
        yield f"From {clock(heard.since)} to {clock(heard.until)}:"
        told = _count(sum(not alarm.drill for alarm in log.alarms))
        yield f"  listened {length(heard.seconds)} of {length(whole)}; {told} heard in that time"
    if heard.lost > 0:
        yield f"  {length(heard.lost)} of sound was lost in short pieces"
    if heard.paused > 0:
        yield f"  {length(heard.paused)} of planned pauses, counted apart"
    for technical in log.technicals:
        yield f"  {_technical(technical, clock)}"
    for gap in heard.gaps:
        yield f"  not listening from {clock(gap.began)} to {clock(gap.ended)}: {printable(gap.reason)}"
    if heard.now:
        yield "  listening now"


def _technical(technical: Technical, clock: Clock) -> str:
    """A technical alarm: what, since when, how long."""
    over = "not over as far as is known"
    if technical.ended is not None:
        over = f"for {length((technical.ended - technical.began).total_seconds())}"
    why = f": {printable(technical.why)}" if technical.why else ""
    return f"technical alarm at {clock(technical.began)}, {printable(technical.cause)}, {over}{why}"


def _recordings(log: Log, clock: Clock) -> Iterator[str]:
    if not log.spans:
        yield "No recordings were listened to in this time, so nothing can be said about alarms."
        return
    yield f"Recordings heard: {len(log.spans)}; {_count(len(log.alarms))} in them"
    for span in log.spans:
        went = (span.until - span.began).total_seconds()
        broke_off = "" if span.closed or still_listening(span, log.now) else ", not to its end"
        yield f"  {clock(span.began)}  {printable(span.source)}: {length(went)}{broke_off}"


def _count(alarms: int) -> str:
    return {0: "no alarms", 1: "1 alarm"}.get(alarms, f"{alarms} alarms")


def _clock(moments: Iterable[datetime]) -> Clock:
    """How to write times: as the clock by the bed showed them, with the offset if they have more than one."""
    several = len({moment.utcoffset() for moment in moments}) > 1

    def tell(moment: datetime) -> str:
        offset = f" {moment.isoformat()[-6:]}" if several else ""
        return f"{moment:%a} {moment.day} {moment:%b %Y, %H:%M:%S}{offset}"

    return tell
