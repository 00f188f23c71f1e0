"""From alarms as they stand to words: what is spoken, what each way is told, what the screen shows. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from beepwatch.events import Alarm
from beepwatch.waking.actions import Alert, Say
from beepwatch.waking.entry import Entry, told
from beepwatch.waking.messages import Messages
from beepwatch.waking.table import State


@dataclass(frozen=True, slots=True)
class Standing:
    """How one alarm stands, for screens that show more than the one text of `Show`."""

    alarm: Alarm
    state: State
    title: str
    lines: tuple[str, ...]
    drill: bool = False


def standing(entries: Iterable[Entry], say: Messages) -> tuple[Standing, ...]:
    """All of these, those that wake first, then by urgency."""
    ranked = sorted(entries, key=lambda entry: (not entry.loud, entry.rank))
    return tuple(Standing(one.alarm, one.state, title(one, say), lines(one, say, ()), one.drill) for one in ranked)


def pattern_of(entry: Entry, say: Messages) -> str:
    """The pattern whose message is told: one that has none is told as unknown."""
    return entry.alarm.pattern if entry.alarm.pattern in say.patterns else "unknown"


def title(entry: Entry, say: Messages) -> str:
    """One line for the top; a drill's says so."""
    text = say.title(pattern_of(entry, say))
    return f"{say.drill} {text}" if entry.drill else text


def lines(entry: Entry, say: Messages, people: Sequence[str]) -> tuple[str, ...]:
    """What to say of one alarm that wakes, to these people: their names first, then what is special, then the rest."""
    marks = [
        mark
        for mark, holds in (
            (say.drill, entry.drill),
            (say.pause_over, entry.resumed),
            (say.still, entry.still),
            (say.renamed, entry.renamed),
            (say.stopped, entry.state is State.STOPPED),
        )
        if holds
    ]
    return say.lines(pattern_of(entry, say), people, marks)


def spoken(loud: list[Entry], say: Messages) -> Say:
    """What the speaker says of those alarms that it tells of, most urgent first: names first, no line twice."""
    heard = told([entry for entry in loud if entry.climb.spoken])
    people = tuple(dict.fromkeys(name for entry in heard for name in entry.climb.heard_by))
    text = tuple(dict.fromkeys(line for entry in heard for line in lines(entry, say, people)))
    if len(heard) != 1:
        return Say(text)
    pattern = pattern_of(heard[0], say)
    return Say(text, pattern, len(text) - len(say.body(pattern)))


def alert(entries: list[Entry], to: str, say: Messages) -> Alert:
    """What a way tells `to` of these alarms, most urgent first."""
    first = entries[0]
    return Alert(
        numbers=tuple(entry.number for entry in entries),
        pattern=first.alarm.pattern,
        priority=first.alarm.priority,
        title=title(first, say),
        lines=tuple(dict.fromkeys(line for entry in entries for line in lines(entry, say, (to,)))),
        drill=first.drill,
        to=to,
    )


def shown(loud: list[Entry], others: Iterable[Entry], say: Messages) -> list[str]:
    """The screen's lines: those that wake, those only shown, those silenced."""
    parts: list[str] = []
    for entry in told(loud):
        parts += [title(entry, say), *lines(entry, say, entry.climb.heard_by)]
    for entry in others:
        name = pattern_of(entry, say)
        if entry.state is State.SHOWN:
            parts += [say.title(name), *say.lines(name)[1:]]
        elif entry.state is State.PAUSED:
            parts += [say.title(name), say.quiet]
        elif entry.state is State.ACKNOWLEDGED:
            parts += [say.title(name), say.acknowledged]
            parts += [say.changed] if name == "backup-battery" and entry.changed is None else []
    return parts
