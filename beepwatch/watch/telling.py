"""What the loop says on the screen, each line with its time: alarms, faults, and what else has happened."""

from collections.abc import Callable

from beepwatch.events import AlarmEvent, Ended, Raised
from beepwatch.watch.console import Console, beeps, length
from beepwatch.watch.timeline import Clock, Timeline

AGAIN = 60.0
"""s until the same fault is told again."""


class Telling:
    """Says it, and keeps which alarms were told."""

    def __init__(
        self, console: Console, timeline: Timeline, clock: Clock, place: Callable[[], float] | None = None
    ) -> None:
        """place: s of the recording that have been heard; None: this is a live room, where the hour is told."""
        self._console, self._timeline, self._clock, self._place = console, timeline, clock, place
        self._told: dict[str, tuple[str, float]] = {}
        self.alarms: dict[int, tuple[str, str]] = {}
        """By number: when it began, and its pattern."""

    def say(self, text: str, at: float | None = None) -> None:
        """A line; at: s of stream time, None: now."""
        self._console.say(self.stamp(at), text)

    def warn(self, text: str) -> None:
        """A line about a fault."""
        self._console.trouble(self.stamp(), text)

    def trouble(self, what: str, text: str | None, more: str = "") -> bool:
        """Tell a fault, once until it changes or a minute has gone; None: it is over. Return whether it was told."""
        now = self._clock.ticks()
        if text is None:
            self._told.pop(what, None)
            return False
        before, at = self._told.get(what, ("", 0.0))
        if text == before and now - at < AGAIN:
            return False
        self._told[what] = (text, now)
        self.warn(f"{text} {more}".rstrip())
        return True

    def alarm(self, event: AlarmEvent) -> None:
        """An alarm began, became another or ended."""
        alarm = event.alarm
        known = self.alarms.get(alarm.number)
        began = known[0] if known else self.stamp(alarm.onset)
        self.alarms[alarm.number] = (began, alarm.pattern)
        named = f"{alarm.pattern} ({alarm.priority} priority)"
        if isinstance(event, Ended):
            lasted = length(alarm.last - alarm.onset)
            self.say(f"ENDED: {named}, after {lasted}, {beeps(alarm.beeps)}.", event.at)
        elif isinstance(event, Raised) or known is None:
            self.say(f"ALARM: {named}. {alarm.why.rstrip('.')}.", event.at)
        elif event.was is not None:
            self.say(f"ALARM: {named}, which I took for {event.was}. {alarm.why.rstrip('.')}.", event.at)

    def list(self) -> tuple[str, ...]:
        """Each alarm that was told: when it began, and its pattern."""
        return tuple(f"{began}  {pattern}" for _, (began, pattern) in sorted(self.alarms.items()))

    def stamp(self, at: float | None = None) -> str:
        """A moment (s of stream time; None: now) as a person reads it: the hour, or the place in the recording."""
        if self._place is None:
            wall = self._timeline.wall_of_ticks(self._clock.ticks()) if at is None else self._timeline.wall(at)
            return f"{wall:%H:%M:%S}"
        whole = int(self._place() if at is None else at)
        return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
