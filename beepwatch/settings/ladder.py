"""The part of the settings that says who is woken by what: `[[ladder]]`, `[[rota]]` and `[[command]]`. Pure.

```toml
[[ladder]]            # at once, whoever has the turn
after = 0
who = "on-duty"
by = ["speaker", "shaker"]
[[ladder]]            # after two minutes the other one, too
after = 120
who = "second"
by = ["speaker"]
[[rota]]              # nights that begin on these days
who = "Anna"
second = "Ben"
days = ["mon", "wed", "fri"]
from = "20:00"
until = "08:00"
[[command]]           # a bed shaker on a switch; no shell
name = "shaker"
run = ["/home/anna/bin/shaker", "on"]
quiet = ["/home/anna/bin/shaker", "off"]
```
"""

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from typing import Annotated, Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError
from beepwatch.settings.routine import OwnRoutine
from beepwatch.waking.ladder import ON_DUTY, SECOND, SPEAKER, Duty, Ladder, Step

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Day: TypeAlias = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Hour: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
Name: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
Person: TypeAlias = Annotated[str, msgspec.Meta(max_length=60, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]
OTHERS = ("page", "bedside", "hub")
"""Ways of beepwatch's own besides the speaker; each is there where it was set up."""
SECOND_AFTER = 120.0
"""s after which a second caregiver is called where no ladder is set (judgement: those who wake to such a tone mostly
do so in its first 10 s; Bruck & Thomas 2007, quoted)."""
ALONE = 60.0
"""s after which the speaker joins in where a bedside computer alone sounded (judgement)."""
LONGEST = 3600.0
"""s after which a step can begin, at most: later is another night's (judgement)."""


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename="kebab"):
    """A row of a list of tables; a misspelt key is told, never left out."""


class Rung(_Row, frozen=True):
    """`[[ladder]]`: one step."""

    by: Annotated[tuple[Name, ...], msgspec.Meta(min_length=1, max_length=8)]
    after: Annotated[float, msgspec.Meta(ge=0, le=LONGEST)] = 0.0
    who: Person = ON_DUTY


class Turn(_Row, frozen=True):
    """`[[rota]]`: who has the turn, by weekday; `until` before or at `from` is on the next day."""

    who: Person
    days: tuple[Day, ...] = DAYS  # type: ignore[assignment]  # the same words
    begin: Hour = msgspec.field(name="from", default="00:00")
    until: Hour = "00:00"
    second: Person = ""

    def covers(self, moment: datetime) -> bool:
        """Whether `moment` (local wall time) is in this turn, on the day it began or the day after."""
        begin, end = time.fromisoformat(self.begin), time.fromisoformat(self.until)
        clock, today = moment.time(), DAYS[moment.weekday()]
        if begin < end:
            return today in self.days and begin <= clock < end
        yesterday = DAYS[(moment - timedelta(days=1)).weekday()]
        return (today in self.days and clock >= begin) or (yesterday in self.days and clock < end)


class Command(_Row, frozen=True):
    """`[[command]]`: a family's own way to wake, as a list of arguments; no shell."""

    name: Name
    run: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    """The program and its arguments: what wakes."""
    quiet: tuple[str, ...] = ()
    """What ends the waking; empty: nothing has to."""
    seconds: Annotated[float, msgspec.Meta(gt=0, le=60)] = 10.0
    """How long it may take until it counts as failed."""


ROWS: dict[str, type[msgspec.Struct]] = {"ladder": Rung, "rota": Turn, "command": Command, "routine": OwnRoutine}
"""Lists of tables by name."""


def check_rows(name: str, rows: object, origin: str) -> None:
    """Raise InputError, one line, for a list of tables that cannot be."""
    if not isinstance(rows, list):
        raise InputError(f"{origin}: {name} is a list of tables: write [[{name}]] with two brackets before each")
    for number, row in enumerate(rows, 1):
        try:
            msgspec.convert(row, ROWS[name])
        except msgspec.ValidationError as error:
            raise InputError(f"{origin}: [[{name}]] number {number}: {error}: mend it or take it out") from error


def check_ladder(rungs: Sequence[Rung], commands: Sequence[Command], origin: str) -> None:
    """Raise InputError, one line, for a ladder that would wake too late or by a way that there is not."""
    names = [command.name for command in commands]
    for name in names:
        if name in (SPEAKER, *OTHERS) or names.count(name) > 1:
            raise InputError(f"{origin}: [[command]] {name}: there is a way of that name already; give it another")
    known = (SPEAKER, *OTHERS, *names)
    for rung in rungs:
        for way in rung.by:
            if way not in known:
                raise InputError(f"{origin}: [[ladder]] by {way!r} is no way to wake: there are {', '.join(known)}")
    if rungs and min(rung.after for rung in rungs) > 0:
        raise InputError(f"{origin}: [[ladder]] begins late: give its first step after = 0, so that somebody wakes")


def ladder_of(rungs: Sequence[Rung], second: bool, bedside: bool = False) -> Ladder:
    """The ladder as it is climbed; where none is set, the speaker at once, or the bedside computer before it.

    second: whether there is a second name. bedside: whether a computer beside the caregiver is paired; then it is
    quiet at the person's side, until that fails or nobody answers there.
    """
    steps = [Step(rung.after, rung.who or ON_DUTY, rung.by) for rung in rungs]
    if not steps:
        alone = [Step(0.0, ON_DUTY, ("bedside",)), Step(ALONE, ON_DUTY, (SPEAKER,))] if bedside else Ladder().steps
        steps = [*alone, *([Step(SECOND_AFTER, SECOND, (SPEAKER,))] if second else [])]
    return Ladder(tuple(sorted(steps, key=lambda step: step.after)))


def duty_at(rota: Sequence[Turn], caregiver: str, second: str, moment: datetime) -> Duty:
    """Who is on duty at `moment` (local wall time): by the first turn that covers it, else as the names have it."""
    turn = next((turn for turn in rota if turn.covers(moment)), None)
    first = turn.who if turn is not None else caregiver
    other = turn.second if turn is not None and turn.second else second
    if other == first and caregiver != first:
        other = caregiver
    return Duty(first, "" if other == first else other)


def people_of(rungs: Sequence[Rung], rota: Sequence[Turn], caregiver: str, second: str) -> tuple[str, ...]:
    """Everybody whose name may be called."""
    named = [rung.who for rung in rungs if rung.who not in (ON_DUTY, SECOND)]
    found = [caregiver, second, *named, *(name for turn in rota for name in (turn.who, turn.second))]
    return tuple(dict.fromkeys(name for name in found if name))


def described(rungs: Sequence[Rung], rota: Sequence[Turn], commands: Sequence[Command]) -> list[str]:
    """One line for each step, turn and command, as a person reads it; a ladder that is not set has one."""
    lines = [f"ladder: after {rung.after:g} s {rung.who or ON_DUTY} by {', '.join(rung.by)}" for rung in rungs]
    for turn in rota:
        second = f", then {turn.second}" if turn.second else ""
        lines.append(f"rota: {', '.join(turn.days)} {turn.begin} to {turn.until}: {turn.who}{second}")
    lines += [f"command {one.name}: {' '.join(one.run)} (up to {one.seconds:g} s)" for one in commands]
    return lines if rungs else ["ladder: the speaker at once", *lines]
