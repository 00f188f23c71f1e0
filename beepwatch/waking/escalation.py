"""From alarms and answers to wake sounds, calls and words: one state for each alarm (see table.py), and no clock."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from beepwatch.events import Alarm, AlarmEvent, Ended, Raised
from beepwatch.waking.actions import Action, Hush, Kind, Note, Quiet, Reach, Show, Sound
from beepwatch.waking.commands import Cause
from beepwatch.waking.entry import Entry, begin
from beepwatch.waking.ladder import SPEAKER, Call, Duty, Ladder
from beepwatch.waking.messages import Messages
from beepwatch.waking.reminders import of_battery, well_again
from beepwatch.waking.table import LOUD, State
from beepwatch.waking.telling import Standing, alert, pattern_of, shown, spoken, standing

__all__ = ["RETELL", "Escalation", "Standing"]

RETELL = 10.0
"""s after which the order to sound is given again, so that one that was lost heals (judgement).

The speaker repeats by itself: no sound depends on this.
"""
BATTERIES = ("backup-battery", "battery-critical")
"""Patterns that "changed" answers."""
Made = list[tuple[Call, int]]
"""Calls with the number of the alarm."""


class Escalation:
    """Decides who is woken by what. Time is an argument: any clock that does not run backwards, in seconds.

    Each method returns the actions to carry out, in order; nothing new to do gives an empty list. The wake
    sound, once ordered by `Sound` and `Say`, goes on until `Quiet`.
    """

    def __init__(
        self,
        messages: Messages | None = None,
        ladder: Ladder | None = None,
        duty: Callable[[float], Duty] = lambda now: Duty(),
    ):
        """Begin with no alarm; `messages` holds the family's names; duty: who is on duty at the caller's `now`."""
        self._messages = messages or Messages()
        self._ladder = ladder or Ladder()
        self._duty = duty
        self._entries: dict[int, Entry] = {}
        self._orders: list[Action] = []
        self._told_at = 0.0
        self._shown: str | None = None
        self._over = ""
        self._asked: tuple[int, ...] = ()
        self._pause: tuple[float, str] | None = None
        self._made: Made = []
        self._hushed: list[Action] = []

    def rename(self, messages: Messages) -> None:
        """Take other names; what sounds already is told with them from its next change on."""
        self._messages = messages

    def climb_by(self, ladder: Ladder) -> None:
        """Take another ladder, from the next step on."""
        self._ladder = ladder

    def hear(self, event: AlarmEvent, now: float) -> list[Action]:
        """Take one word of the recogniser. Each alarm has a number of its own, in all streams together."""
        alarm = event.alarm
        before = self._entries.get(alarm.number)
        if isinstance(event, Raised) and before is not None and before.state not in LOUD:
            before = None  # a number used again: an old answer must not silence a new alarm
        if before is None and isinstance(event, Ended):
            return []  # it is over here already
        after = begin(alarm, now) if before is None else before.heard(alarm, now)
        after = after.step("ended" if isinstance(event, Ended) else "again", now)
        after = after.settle(self._pause is not None, now)
        unmended = before is not None and self._pause is None and after.unmended(before, now)
        after = after.step("unmended", now) if unmended else after
        self._keep(after, renamed=before is not None and before.alarm.pattern != alarm.pattern)
        if after.loud and not after.drill:
            self._end_drill()
        notes = _notes(event, before, after, now)
        return self._changes(now) + self._reminded(event, before, after, now) + notes

    def rehearse(self, alarm: Alarm, now: float) -> list[Action]:
        """Wake as for this alarm, told as a drill everywhere; its number is `DRILLED` or below.

        Nothing happens while any alarm wakes or a pause holds; a real alarm later ends it at once.
        """
        return [] if self.waking or self.paused else self.hear(Raised(alarm.raised, alarm), now)

    def end_drill(self, now: float) -> list[Action]:
        """Nobody came to a drill for too long, or it is called off."""
        self._end_drill()
        return self._changes(now)

    def acknowledge(self, now: float, number: int | None = None, by: str = "", via: str = "") -> list[Action]:
        """A person says "I am going": what wakes is silenced until its condition ends. number: only this alarm."""
        going = [entry for entry in self._loud() if number in (None, entry.number)]
        for entry in going:
            self._keep(entry.answer(now))
        asked = tuple(entry.number for entry in going if entry.asked)
        self._asked = asked or self._asked
        notes = [Note(entry.number, "acknowledged", now, by, via) for entry in going]
        return [*self._changes(now), *notes]

    def found(self, now: float, number: int | None, what: Cause, by: str = "", via: str = "") -> list[Action]:
        """A person says what it was. number None: what was answered last."""
        numbers = self._asked if number is None else (number,)
        self._asked = tuple(asked for asked in self._asked if asked not in numbers)
        return [*self._changes(now), *(Note(one, "found", now, by, via, what) for one in numbers)]

    def changed(self, now: float, by: str = "", via: str = "") -> list[Action]:
        """A person says that the main battery is changed: no more reminders; a later beep is a new alarm."""
        entries = [entry for entry in self._entries.values() if entry.alarm.pattern in BATTERIES]
        loud = [entry for entry in entries if entry.loud]
        for entry in entries:
            self._keep(replace(entry.answer(now) if entry.loud else entry, changed=now))
        notes = [Note(entry.number, "acknowledged", now, by, via) for entry in loud]
        notes += [Note(entry.number, "battery-changed", now, by, via) for entry in entries]
        return [*self._changes(now), *notes]

    def pause(self, now: float, until: float, label: str) -> list[Action]:
        """A planned pause until `until`; `label` is that hour as a person reads it. Again: another end."""
        self._pause = until, label
        before = list(self._entries.values())
        self._end_drill()
        for entry in before:
            self._keep(entry.settle(True, now))
        return [*self._changes(now), *self._noted("paused", before, now)]

    def resume(self, now: float) -> list[Action]:
        """The pause is over: what beeps still wakes as if it were new."""
        if self._pause is None:
            return []
        self._pause = None
        before = list(self._entries.values())
        for entry in before:
            self._keep(entry.resume(now))
        return [*self._changes(now), *self._noted("resumed", before, now)]

    def fail(self, way: str, number: int | None) -> None:
        """A try by `way` failed, for this alarm (None: for all): the next step is due at once."""
        for entry in self._loud():
            if number in (None, entry.number):
                self._entries[entry.number] = replace(entry, climb=entry.climb.fail(way, self._ladder))

    def heard_by(self, number: int) -> str:
        """Whom the speaker calls for this alarm; "" where no name is known."""
        entry = self._entries.get(number)
        return "" if entry is None else ", ".join(name for name in entry.climb.heard_by if name)

    def tick(self, now: float) -> list[Action]:
        """Time has come to `now`: end a pause, climb what is due, say again what has to go on, if it is due."""
        due = self.next_at()
        if due is None or now < due:
            return []
        actions = self.resume(now) if self._pause is not None and now >= self._pause[0] else []
        actions += self._changes(now)
        if self._orders and now >= self._told_at + RETELL:
            self._told_at = now
            actions += self._orders
        return actions

    def next_at(self) -> float | None:
        """When to call `tick` next; None while there is nothing to wait for."""
        times = [self._told_at + RETELL] if self._orders else []
        times += [at for entry in self._loud() if (at := entry.climb.next_at(self._ladder)) is not None]
        times += [self._pause[0]] if self._pause is not None else []
        return min(times, default=None)

    @property
    def waking(self) -> bool:
        """Is anybody being woken, or about to be?"""
        return bool(self._loud())

    @property
    def sounding(self) -> bool:
        """Does the speaker wake?"""
        return bool(self._orders)

    @property
    def paused(self) -> bool:
        """Does a planned pause hold?"""
        return self._pause is not None

    @property
    def drilling(self) -> bool:
        """Does a rehearsal wake?"""
        return any(entry.drill for entry in self._entries.values())

    @property
    def asked(self) -> tuple[int, ...]:
        """Numbers of the alarms of which it is asked what they were; some may be over."""
        return self._asked

    @property
    def asks(self) -> bool:
        """Does the screen ask what it was?"""
        return bool(self._asked) and not self.waking

    @property
    def standing(self) -> tuple[Standing, ...]:
        """Every alarm that is not over, most urgent first, with its title and lines."""
        return standing(self._entries.values(), self._messages)

    def _keep(self, entry: Entry, renamed: bool = False) -> None:
        """Put an entry in its place, or drop it when it is over; who was called for it is told what changed."""
        before = self._entries.get(entry.number)
        if before is not None and before.loud and not entry.loud:
            ways = dict.fromkeys(call.way for call in before.climb.calls if call.way != SPEAKER)
            self._hushed += [Hush(way, (entry.number,)) for way in ways]
        if renamed and entry.loud:
            self._made += [(call, entry.number) for call in entry.climb.calls if call.way != SPEAKER]
        if entry.state is State.OVER:
            self._entries.pop(entry.number, None)
            say = self._messages
            self._over = say.drill_over if entry.drill else say.over(pattern_of(entry, say))
        else:
            self._entries[entry.number] = entry

    def _end_drill(self) -> None:
        for entry in [entry for entry in self._entries.values() if entry.drill]:
            self._keep(replace(entry, state=State.OVER))

    def _loud(self) -> list[Entry]:
        """Those that wake, most urgent first."""
        return sorted((entry for entry in self._entries.values() if entry.loud), key=lambda entry: entry.rank)

    def _climb(self, now: float) -> None:
        """Make every call that is due."""
        for entry in self._loud():
            climb, made = entry.climb, Made()
            while climb.due(self._ladder, now):
                climb, calls = climb.step(self._ladder, self._duty(now), now)
                made += [(call, entry.number) for call in calls if call.way != SPEAKER]
            self._entries[entry.number] = replace(entry, climb=climb)
            self._made += made

    def _changes(self, now: float) -> list[Action]:
        """What has to be ordered now that was not ordered before: first the sound."""
        self._climb(now)
        loud = self._loud()
        orders = self._wake(loud)
        actions: list[Action] = []
        if orders != self._orders:
            actions += orders or [Quiet()]
            self._orders, self._told_at = orders, now
        actions += [*self._hushed, *self._reached(loud)]
        self._hushed, self._made = [], []
        text = self._screen(loud)
        if text != self._shown and (self._shown is not None or self._entries or self._pause is not None):
            actions.append(Show(text))
            self._shown = text
        return actions

    def _wake(self, loud: list[Entry]) -> list[Action]:
        """The sound and words for these alarms, most urgent first; [] where the speaker is to be silent."""
        heard = [entry for entry in loud if entry.climb.spoken]
        if not heard:
            return []
        numbers = tuple(entry.number for entry in heard)
        return [Sound(numbers, heard[0].alarm.priority, heard[0].drill), spoken(loud, self._messages)]

    def _reached(self, loud: list[Entry]) -> list[Action]:
        """The calls of this time: one for each way and caregiver, of all alarms together."""
        actions: list[Action] = []
        for call in dict.fromkeys(call for call, _ in self._made):
            numbers = {number for made, number in self._made if made == call}
            entries = [entry for entry in loud if entry.number in numbers]
            if entries:
                actions.append(Reach(call.way, alert(entries, call.who, self._messages)))
        return actions

    def _reminded(self, event: AlarmEvent, before: Entry | None, after: Entry, now: float) -> list[Action]:
        """What is told once and briefly, while nothing wakes and no pause holds."""
        if self.waking or self.paused or before is None:
            return []
        told = well_again(event, self._messages)
        if after.reminds(before, now):
            told += of_battery(after, self._ladder, self._duty(now), self._messages, now)
        return told

    def _noted(self, kind: Kind, before: Iterable[Entry], now: float) -> list[Action]:
        """A note for each alarm whose waking a pause ended, or begins again with its end."""
        loud = {entry.number for entry in self._loud()}
        changed = [one for one in before if one.loud != (one.number in loud) and not one.drill]
        woken: list[Action] = [Note(one.number, "woken", now) for one in changed] if kind == "resumed" else []
        return [*(Note(one.number, kind, now) for one in changed), *woken]

    def _screen(self, loud: list[Entry]) -> str:
        """The whole screen: a pause, what wakes, what is only shown or silenced, the question, and the caution."""
        say = self._messages
        parts = shown(loud, self._entries.values(), say)
        if self._pause is not None:
            parts.insert(0, say.paused(self._pause[1]))
        elif not parts:
            parts.append(self._over)
        return say.screen(*parts, *([say.question()] if self.asks else []))


def _notes(event: AlarmEvent, before: Entry | None, after: Entry, now: float) -> list[Action]:
    """What the history should know: this alarm begins to wake, wakes again, its beeping stopped."""
    began = after.loud and (before is None or not before.loud)
    kind: Kind = "again" if after.still else "woken"
    notes: list[Action] = [Note(after.number, kind, now)] if began else []
    if after.state is State.PAUSED and (before is None or before.state is not State.PAUSED):
        notes.append(Note(after.number, "paused", now))
    return [*notes, Note(after.number, "stopped", now)] if isinstance(event, Ended) else notes
