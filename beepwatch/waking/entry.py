"""One alarm as the escalation holds it: a frozen value, and what each happening makes of it."""

from dataclasses import dataclass, replace

from beepwatch.events import Alarm
from beepwatch.waking.ladder import Climb
from beepwatch.waking.table import LOUD, RANKS, TABLE, THROUGH, UNMENDED, Happening, State, kept, urgency, wakes

REMINDED = "backup-battery"
"""The pattern that is told once more at each further beep after an answer, until its battery is changed."""
CHANGED = 600.0
"""s after "changed" in which a beep may be the last one that was on its way; a later one is a new alarm (judgement)."""
GROUND = Climb(0.0)
DRILLED = -1_000_000
"""Numbers of drills are this and below: apart from the recogniser's (over 0) and the technical alarms' (under 0)."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One alarm as it stands. Times are the caller's, s."""

    alarm: Alarm
    state: State
    kept: bool
    renamed: bool = False
    climb: Climb = GROUND
    """While it wakes: how far its ladder was climbed."""
    answered: float | None = None
    """When a person said "I am going"."""
    changed: float | None = None
    """When a person said that the battery is changed."""
    still: bool = False
    """It wakes again because it beeps still after an answer."""
    resumed: bool = False
    """It wakes because it beeps still after a planned pause."""

    @property
    def number(self) -> int:
        """Of its alarm."""
        return self.alarm.number

    @property
    def loud(self) -> bool:
        """Whether it wakes."""
        return self.state in LOUD

    @property
    def drill(self) -> bool:
        """Whether it is a rehearsal."""
        return self.number <= DRILLED

    @property
    def asked(self) -> bool:
        """Whether a person is asked afterwards what it was: only of what was heard in the room."""
        return self.number > 0

    @property
    def rank(self) -> tuple[int, int, bool, int]:
        """Sort key: most urgent first; among equals one that still beeps, then the older one."""
        alarm = self.alarm
        return (*urgency(alarm.pattern, alarm.priority), self.state is not State.SOUNDING, alarm.number)

    def step(self, what: Happening, now: float) -> "Entry":
        """The entry after `what`, by the table; one that begins to wake begins its ladder."""
        if_kept, otherwise = TABLE[self.state, what]
        after = replace(self, state=if_kept if self.kept else otherwise)
        if not after.loud or self.loud:
            return after
        still = what == "unmended"
        return replace(after, climb=Climb(now, swapped=still), still=still, resumed=what == "resumed", answered=None)

    def heard(self, alarm: Alarm, now: float) -> "Entry":
        """The entry after a new word of its alarm, which may have another name or priority now."""
        old = self.alarm
        if (alarm.pattern, alarm.priority) == (old.pattern, old.priority):
            return replace(self, alarm=alarm)
        as_urgent = RANKS.index(alarm.priority) <= RANKS.index(old.priority) and wakes(alarm.priority)
        still_kept = self.kept or kept(alarm.pattern, alarm.priority)
        renamed = self.renamed or alarm.pattern != old.pattern
        entry = replace(self, alarm=alarm, kept=still_kept, renamed=renamed)
        return entry.step("renamed" if as_urgent else "played-down", now)

    def answer(self, now: float) -> "Entry":
        """A person is going. A drill is over with it: nothing beeps."""
        after = replace(self.step("acknowledged", now), answered=now)
        return replace(after, state=State.OVER) if self.drill else after

    def resume(self, now: float) -> "Entry":
        """A planned pause is over."""
        lower = self.state is State.PAUSED and not wakes(self.alarm.priority)
        return replace(self, state=State.SHOWN) if lower else self.step("resumed", now)

    def settle(self, paused: bool, now: float) -> "Entry":
        """What wakes is silenced while a pause holds; smoke and gas are not."""
        if not paused:
            return self
        through = self.alarm.pattern in THROUGH
        if through and self.state is State.PAUSED:
            return self.step("resumed", now)
        return self.step("paused", now) if self.loud and not through else self

    def unmended(self, before: "Entry", now: float) -> bool:
        """Whether the beep that came now, after `before`, says that what was answered is not mended."""
        if self.state is not State.ACKNOWLEDGED or self.alarm.last <= before.alarm.last:
            return False
        if self.changed is not None:
            return now - self.changed > CHANGED
        high = self.alarm.priority == "high"
        return high and self.answered is not None and now - self.answered >= UNMENDED

    def reminds(self, before: "Entry", now: float) -> bool:
        """Whether the beep that came now is one to remind of."""
        again = self.alarm.beeps > before.alarm.beeps and before.state is State.ACKNOWLEDGED
        return again and self.state is State.ACKNOWLEDGED and self.alarm.pattern == REMINDED and self.changed is None


def begin(alarm: Alarm, now: float) -> Entry:
    """The first entry of an alarm."""
    state = State.SOUNDING if wakes(alarm.priority) else State.SHOWN
    return Entry(alarm, state, kept(alarm.pattern, alarm.priority), climb=Climb(now))


def told(loud: list[Entry]) -> list[Entry]:
    """Those of the alarms that wake which are told: one that has stopped is not, where another tells more.

    So a lead alarm that comes back is not told as going on and as stopped in one breath, the backup battery's
    not once the same device's last battery calls, and an unknown beeping not once it has a name.
    """
    patterns = {entry.alarm.pattern for entry in loud}
    covered = {entry.alarm.pattern for entry in loud if entry.state is State.SOUNDING}
    covered |= {"backup-battery"} if "battery-critical" in patterns else set()
    covered |= {"unknown"} if patterns != {"unknown"} else set()
    return [entry for entry in loud if entry.state is State.SOUNDING or entry.alarm.pattern not in covered]
