"""What is told once, briefly, while nobody is being woken ("reminder signal", IEC 60601-1-8, quoted). Pure."""

from beepwatch.events import AlarmEvent, Ended
from beepwatch.hearing.technical import MESSAGES as TECHNICAL
from beepwatch.waking.actions import Action, Alert, Hush, Note, Reach, Remind
from beepwatch.waking.entry import Entry
from beepwatch.waking.ladder import SPEAKER, Duty, Ladder
from beepwatch.waking.messages import Messages
from beepwatch.waking.telling import title


def of_battery(entry: Entry, ladder: Ladder, duty: Duty, say: Messages, now: float) -> list[Action]:
    """A backup battery that was answered beeped again: by each way of the ladder's first step, and for the history."""
    first = ladder.steps[0]
    to = duty.name(first.who, swapped=False)
    short = Alert(
        (entry.number,), entry.alarm.pattern, "medium", title(entry, say), say.reminder(to), drill=False, to=to
    )
    actions: list[Action] = []
    for way in first.by:
        once: list[Action] = [Reach(way, short), Hush(way, short.numbers)]
        actions += [Remind(entry.number, short.lines)] if way == SPEAKER else once
    return [*actions, Note(entry.number, "reminded", now)]


def well_again(event: AlarmEvent, say: Messages) -> list[Action]:
    """Its own trouble, for which somebody was woken, is over: said once, for it was told to wait for that."""
    pattern = event.alarm.pattern
    if not isinstance(event, Ended) or pattern not in TECHNICAL:
        return []
    return [Remind(event.alarm.number, (say.over(pattern),))]
