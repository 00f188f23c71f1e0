"""The wake ladder: who is called by what, how long after an alarm was raised. Pure.

A step begins at its time, or at once where the step before it failed. Once the last one has begun, all are called
again each `AGAIN` s until a person answers: a lamp that flashed once was perhaps slept through.
"""

from dataclasses import dataclass, replace

SPEAKER = "speaker"
"""The way that is always there: the loop's own sound."""
ON_DUTY, SECOND = "on-duty", "second"
"""Whom a step may call besides a name: who has the turn by the rota (or `names.caregiver`), and the other one."""
AGAIN = 60.0
"""s after which every way but the speaker, which repeats by itself, is called again (judgement)."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step."""

    after: float
    """s after the alarm was raised."""
    who: str
    """`ON_DUTY`, `SECOND` or a name."""
    by: tuple[str, ...]
    """Names of ways; never empty."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """All steps, by `after`. Default: the speaker at once, for whoever is on duty."""

    steps: tuple[Step, ...] = (Step(0.0, ON_DUTY, (SPEAKER,)),)


@dataclass(frozen=True, slots=True)
class Duty:
    """Who is on duty now and who comes second; "" where no name is known."""

    first: str = ""
    second: str = ""

    def name(self, who: str, swapped: bool) -> str:
        """The name of whom a step calls; swapped: the second goes before the first."""
        first, second = (self.second or self.first, self.first) if swapped else (self.first, self.second or self.first)
        return {ON_DUTY: first, SECOND: second}.get(who, who)


@dataclass(frozen=True, slots=True)
class Call:
    """One caregiver called by one way."""

    who: str
    way: str


@dataclass(frozen=True, slots=True)
class Climb:
    """How far one alarm has climbed. Times are the caller's, s."""

    began: float
    swapped: bool = False
    """Begun again for the second caregiver."""
    reached: int = 0
    """Steps that have begun."""
    calls: tuple[Call, ...] = ()
    """All that were made so far, each once."""
    last: float = 0.0
    """When calls were made last."""
    failed: bool = False
    """A way of the newest step failed: the next one begins at once."""

    def due(self, ladder: Ladder, now: float) -> bool:
        """Whether a call has to be made at `now`."""
        at = self.next_at(ladder)
        return at is not None and now >= at

    def next_at(self, ladder: Ladder) -> float | None:
        """When the next call is due; None where only the speaker is left, which needs none."""
        if self.reached < len(ladder.steps):
            return self.last if self.failed else self.began + ladder.steps[self.reached].after
        return self.last + AGAIN if any(call.way != SPEAKER for call in self.calls) else None

    def step(self, ladder: Ladder, duty: Duty, now: float) -> "tuple[Climb, tuple[Call, ...]]":
        """(the climb after what is due at `now`, the calls to make). Once a time: ask `due` again."""
        if self.reached == len(ladder.steps):
            return replace(self, last=now), tuple(call for call in self.calls if call.way != SPEAKER)
        one = ladder.steps[self.reached]
        new = tuple(Call(duty.name(one.who, self.swapped), way) for way in one.by)
        calls = tuple(dict.fromkeys((*self.calls, *new)))
        return replace(self, reached=self.reached + 1, calls=calls, last=now, failed=False), new

    def fail(self, way: str, ladder: Ladder) -> "Climb":
        """A try by `way` failed: the next step begins at once, where it was the newest one that failed."""
        newest = ladder.steps[self.reached - 1].by if self.reached else ()
        return replace(self, failed=True) if way in newest and self.reached < len(ladder.steps) else self

    @property
    def heard_by(self) -> tuple[str, ...]:
        """Names that the speaker calls; () where it is silent so far."""
        return tuple(dict.fromkeys(call.who for call in self.calls if call.way == SPEAKER))

    @property
    def spoken(self) -> bool:
        """Whether the speaker is to sound."""
        return any(call.way == SPEAKER for call in self.calls)
