"""From alarms and answers to wake sounds and words: one state for each alarm (see table.py), and no clock."""

from dataclasses import dataclass, replace

from beepwatch.events import Alarm, AlarmEvent, Ended, Raised
from beepwatch.waking.actions import Action, Note, Quiet, Say, Show, Sound
from beepwatch.waking.messages import Messages
from beepwatch.waking.table import LOUD, RANKS, TABLE, Happening, State, kept, urgency, wakes

RETELL = 10.0
"""s after which the order to sound is given again, so that one that was lost heals (judgement).

The speaker repeats by itself: no sound depends on this.
"""


@dataclass(frozen=True, slots=True)
class _Entry:
    """One alarm as it stands here."""

    alarm: Alarm
    state: State
    kept: bool
    renamed: bool = False

    def step(self, what: Happening) -> "_Entry":
        """The entry after `what`, by the table."""
        if_kept, otherwise = TABLE[self.state, what]
        return replace(self, state=if_kept if self.kept else otherwise)

    def heard(self, alarm: Alarm) -> "_Entry":
        """The entry after a new word of its alarm, which may have another name or priority now."""
        old = self.alarm
        if (alarm.pattern, alarm.priority) == (old.pattern, old.priority):
            return replace(self, alarm=alarm)
        as_urgent = RANKS.index(alarm.priority) <= RANKS.index(old.priority) and wakes(alarm.priority)
        still_kept = self.kept or kept(alarm.pattern, alarm.priority)
        renamed = self.renamed or alarm.pattern != old.pattern
        entry = replace(self, alarm=alarm, kept=still_kept, renamed=renamed)
        return entry.step("renamed" if as_urgent else "played-down")

    @property
    def rank(self) -> tuple[int, int, bool, int]:
        """Sort key: most urgent first; among equals one that still beeps, then the older one."""
        alarm = self.alarm
        return (*urgency(alarm.pattern, alarm.priority), self.state is not State.SOUNDING, alarm.number)


@dataclass(frozen=True, slots=True)
class Standing:
    """How one alarm stands, for screens that show more than the one text of `Show`."""

    alarm: Alarm
    state: State
    title: str
    lines: tuple[str, ...]


class Escalation:
    """Decides who is woken by what. Time is an argument: any clock that does not run backwards, in seconds.

    Each method returns the actions to carry out, in order; nothing new to do gives an empty list. The wake
    sound, once ordered by `Sound` and `Say`, goes on until `Quiet`.
    """

    def __init__(self, messages: Messages | None = None):
        """Begin with no alarm; `messages` holds the family's names (default: none given)."""
        self._messages = messages or Messages()
        self._entries: dict[int, _Entry] = {}
        self._orders: list[Action] = []
        self._told_at = 0.0
        self._shown: str | None = None
        self._over = ""

    def rename(self, messages: Messages) -> None:
        """Take other names; what sounds already is told with them from its next change on."""
        self._messages = messages

    def hear(self, event: AlarmEvent, now: float) -> list[Action]:
        """Take one word of the recogniser. Each alarm has a number of its own, in all streams together."""
        alarm = event.alarm
        before = self._entries.get(alarm.number)
        if isinstance(event, Raised) and before is not None and before.state not in LOUD:
            before = None  # a number used again: an old answer must not silence a new alarm
        if before is None and isinstance(event, Ended):
            return []  # it is over here already
        after = self._begin(alarm) if before is None else before.heard(alarm)
        after = after.step("ended" if isinstance(event, Ended) else "again")
        notes = _notes(event, before, after, now)
        self._keep(after)
        return self._changes(now) + notes

    def acknowledge(self, now: float) -> list[Action]:
        """A person says "I am going": every alarm that sounds is silenced until its condition ends."""
        notes = [Note(entry.alarm.number, "acknowledged", now) for entry in self._loud()]
        for entry in list(self._entries.values()):
            self._keep(entry.step("acknowledged"))
        return [*self._changes(now), *notes]

    def tick(self, now: float) -> list[Action]:
        """Time has come to `now`: say again what has to go on (the same `Sound` and `Say`), if it is due."""
        due = self.next_at()
        if due is None or now < due:
            return []
        self._told_at = now
        return list(self._orders)

    def next_at(self) -> float | None:
        """When to call `tick` next; None while there is nothing to wait for."""
        return self._told_at + RETELL if self._orders else None

    @property
    def sounding(self) -> bool:
        """Is anybody being woken?"""
        return bool(self._orders)

    @property
    def standing(self) -> tuple[Standing, ...]:
        """Every alarm that is not over, most urgent first, with its title and lines."""
        entries = sorted(self._entries.values(), key=lambda entry: (entry.state not in LOUD, entry.rank))
        return tuple(
            Standing(one.alarm, one.state, self._messages.title(self._pattern(one)), self._lines(one))
            for one in entries
        )

    def _begin(self, alarm: Alarm) -> _Entry:
        """The first entry of an alarm."""
        state = State.SOUNDING if wakes(alarm.priority) else State.SHOWN
        return _Entry(alarm, state, kept(alarm.pattern, alarm.priority))

    def _keep(self, entry: _Entry) -> None:
        """Put an entry in its place, or drop it when it is over."""
        if entry.state is State.OVER:
            self._entries.pop(entry.alarm.number, None)
            self._over = self._messages.over(self._pattern(entry))
        else:
            self._entries[entry.alarm.number] = entry

    def _loud(self) -> list[_Entry]:
        """Those that wake, most urgent first."""
        return sorted((e for e in self._entries.values() if e.state in LOUD), key=lambda entry: entry.rank)

    def _changes(self, now: float) -> list[Action]:
        """What has to be ordered now that was not ordered before."""
        loud = self._loud()
        orders = self._wake(loud)
        actions: list[Action] = []
        if orders != self._orders:
            actions += orders or [Quiet()]
            self._orders, self._told_at = orders, now
        text = self._screen(loud)
        if text != self._shown and (self._shown is not None or self._entries):
            actions.append(Show(text))
            self._shown = text
        return actions

    def _wake(self, loud: list[_Entry]) -> list[Action]:
        """The sound and words for these alarms, most urgent first; [] for none."""
        if not loud:
            return []
        numbers = tuple(entry.alarm.number for entry in loud)
        lines = [line for entry in _told(loud) for line in self._lines(entry)]
        return [Sound(numbers, loud[0].alarm.priority), Say(tuple(dict.fromkeys(lines)))]

    def _lines(self, entry: _Entry) -> tuple[str, ...]:
        """What to say of one alarm that wakes."""
        pattern, say = self._pattern(entry), self._messages
        lines = say.lines_stopped(pattern) if entry.state is State.STOPPED else say.lines(pattern)
        return (say.renamed, *lines) if entry.renamed else lines

    def _screen(self, loud: list[_Entry]) -> str:
        """The whole screen: those that wake, those only shown, those silenced, and the caution."""
        say = self._messages
        parts: list[str] = []
        for entry in _told(loud):
            parts += [say.title(self._pattern(entry)), *self._lines(entry)]
        for entry in self._entries.values():
            if entry.state is State.SHOWN:
                parts += [say.title(self._pattern(entry)), *say.lines(self._pattern(entry))]
            elif entry.state is State.ACKNOWLEDGED:
                parts += [say.title(self._pattern(entry)), say.acknowledged]
        return say.screen(*(parts or [self._over]))

    def _pattern(self, entry: _Entry) -> str:
        """The pattern whose message is told: one that has none is told as unknown."""
        return entry.alarm.pattern if entry.alarm.pattern in self._messages.patterns else "unknown"


def _notes(event: AlarmEvent, before: _Entry | None, after: _Entry, now: float) -> list[Action]:
    """What the history should know: this alarm begins to wake, its beeping stopped."""
    number = after.alarm.number
    began = after.state in LOUD and (before is None or before.state not in LOUD)
    woken: list[Action] = [Note(number, "woken", now)] if began else []
    return [*woken, Note(number, "stopped", now)] if isinstance(event, Ended) else woken


def _told(loud: list[_Entry]) -> list[_Entry]:
    """Those of the alarms that wake which are told: one that has stopped is not, where another tells more.

    So a lead alarm that comes back is not told as going on and as stopped in one breath, the backup battery's
    not once the same device's last battery calls, and an unknown beeping not once it has a name.
    """
    patterns = {entry.alarm.pattern for entry in loud}
    covered = {entry.alarm.pattern for entry in loud if entry.state is State.SOUNDING}
    covered |= {"backup-battery"} if "battery-critical" in patterns else set()
    covered |= {"unknown"} if patterns != {"unknown"} else set()
    return [entry for entry in loud if entry.state is State.SOUNDING or entry.alarm.pattern not in covered]
