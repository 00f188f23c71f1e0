"""Puts what was heard into the order in which each became known, one value an alarm.

An alarm is told once, as it stood at its end, but stands where it was raised. So while an alarm is open all
that became known after it waits here: a few hundred bytes a beep, some megabytes when an alarm goes on all
night; never sound. Nothing else is kept.
"""

from bisect import insort
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

from beepwatch.events import Alarm, Beep, Changed, Ended, Event, Raised, SteadyTone

Known: TypeAlias = Beep | Alarm | SteadyTone
"""What becomes one line."""


@dataclass(slots=True)
class _Slot:
    """A place in the order: its time, what stands there, and whether that can still change."""

    at: float
    what: Known
    open: bool = False


class InOrder:
    """Takes events as the recogniser gives them and gives back what can be told, in order of time known."""

    def __init__(self) -> None:
        self._waiting: list[_Slot] = []
        self._open: dict[int, _Slot] = {}

    def hear(self, events: Iterable[Event]) -> Iterator[Known]:
        """Take events; yield what no later event can come before or change."""
        for event in events:
            self._place(event)
        yield from self._ready()

    def end(self) -> Iterator[Known]:
        """The stream is over: yield the rest, alarms still open as they stand (`ended` None)."""
        for slot in self._open.values():
            slot.open = False
        self._open.clear()
        yield from self._ready()

    def _place(self, event: Event) -> None:
        match event:
            case Beep() | SteadyTone():
                self._insert(_Slot(event.known, event))
            case Raised(alarm=alarm):
                slot = _Slot(alarm.raised, alarm, open=True)
                self._open[alarm.number] = slot
                self._insert(slot)
            case Changed(alarm=alarm):
                self._open[alarm.number].what = alarm
            case Ended(alarm=alarm):
                slot = self._open.pop(alarm.number)
                slot.what, slot.open = alarm, False

    def _insert(self, slot: _Slot) -> None:
        """Behind all that became known at the same time or before."""
        insort(self._waiting, slot, key=lambda waiting: waiting.at)

    def _ready(self) -> Iterator[Known]:
        """Take from the front up to the first open alarm."""
        count = next((i for i, slot in enumerate(self._waiting) if slot.open), len(self._waiting))
        ready, self._waiting = self._waiting[:count], self._waiting[count:]
        return (slot.what for slot in ready)
