"""The ways to wake of one run, by name: what the ladder asks for goes to them, what came of it comes back."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from beepwatch.channels.speaker import Failed, Started
from beepwatch.channels.way import Tried, Way
from beepwatch.waking.actions import Action, Hush, Reach, Sound
from beepwatch.waking.ladder import SPEAKER


class Ways:
    """All ways but the speaker, which the waker leads itself; for the loop's thread alone."""

    def __init__(self, report: Callable[[Tried], None], ticks: Callable[[], float], ways: Iterable[Way] = ()) -> None:
        """report: fills the loop's queue; ticks: the loop's clock."""
        self._report, self._ticks = report, ticks
        self._ways = {way.name: way for way in ways}

    def add(self, way: Way) -> None:
        """One more way."""
        self._ways[way.name] = way

    def perform(self, actions: Sequence[Action]) -> None:
        """Carry out each `Reach` and `Hush`; a way that is not there, or fails outright, is reported as failed."""
        for action in actions:
            if isinstance(action, Reach):
                self._reach(action)
            elif isinstance(action, Hush) and (way := self._ways.get(action.way)) is not None:
                way.quiet(action.numbers)

    def close(self) -> None:
        """End them all."""
        for way in self._ways.values():
            way.close()

    def _reach(self, reach: Reach) -> None:
        way = self._ways.get(reach.way)
        fault = "it is not set up here"
        try:
            if way is not None:
                way.alert(reach.alert)
                return
        except Exception as error:  # one way's own fault must not keep the next from being tried
            fault = f"a fault in the program itself ({error!r})"
        for number in reach.alert.numbers:
            self._report(Tried(reach.way, reach.alert.to, number, ok=False, detail=fault, at=self._ticks()))


class Spoken:
    """What the speaker's reports mean for the alarms that it tells of: tries, each told once until it changes."""

    def __init__(self) -> None:
        self._sound: Sound | None = None
        self._known: dict[int, bool] = {}

    def perform(self, actions: Sequence[Action]) -> None:
        """See what the speaker was asked for."""
        for action in actions:
            if isinstance(action, Sound):
                self._sound = action
                self._known = {number: ok for number, ok in self._known.items() if number in action.numbers}

    def stopped(self) -> None:
        """Nothing sounds any more."""
        self._sound, self._known = None, {}

    def tries(self, report: Started | Failed, who: Callable[[int], str]) -> list[Tried]:
        """The news in a report of the speaker; who: the name that it called for an alarm."""
        ok = isinstance(report, Started)
        asked = () if self._sound is None else self._sound.numbers
        numbers = [one for one in asked if not isinstance(report, Started) or one in report.numbers]
        new = [number for number in numbers if self._known.get(number) is not ok]
        self._known |= dict.fromkeys(new, ok)
        way, fault = (report.way, "") if isinstance(report, Started) else (SPEAKER, report.text)
        empty = Tried(way, "", 0, ok, fault, report.at)
        return [replace(empty, number=number, who=who(number)) for number in new]
