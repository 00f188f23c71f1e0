"""The words for each alarm, from messages.toml, with the family's names filled in."""

from functools import cache
from importlib.resources import files

import msgspec


class _Names(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is said when no name is given."""

    caregiver: str
    person: str
    emergency: str
    plan: str


class _First(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The lines of every alarm that does not bring its own."""

    go: str
    look: str
    unwell: str
    over: str


class _Alarm(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One alarm's lines; None takes the line of `_First`, "" leaves it out."""

    title: str
    well: str
    check: str
    go: str | None = None
    look: str | None = None
    unwell: str | None = None
    over: str | None = None


class _Catalogue(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The whole of messages.toml."""

    caution: str
    stopped: str
    renamed: str
    acknowledged: str
    names: _Names
    first: _First
    alarm: dict[str, _Alarm]


@cache
def _catalogue() -> _Catalogue:
    """The packaged catalogue, read once."""
    text = files("beepwatch.waking").joinpath("messages.toml").read_bytes()
    return msgspec.toml.decode(text, type=_Catalogue)


class Messages:
    """The catalogue with names filled in: what to say (lines) and what to show (one text) for each alarm."""

    def __init__(
        self,
        caregiver: str | None = None,
        person: str | None = None,
        emergency: str | None = None,
        plan: str | None = None,
    ):
        """Take the family's names and words; one that is not given (or empty) is told as `[names]` has it."""
        self._all = _catalogue()
        names = self._all.names
        self._names = {
            "caregiver": caregiver or names.caregiver,
            "person": person or names.person,
            "emergency": emergency or names.emergency,
            "plan": plan or names.plan,
        }
        self.caution = self._all.caution
        self.stopped = self._all.stopped
        self.renamed = self._all.renamed
        self.acknowledged = self._all.acknowledged

    @property
    def patterns(self) -> tuple[str, ...]:
        """Every pattern that has a message, and "cannot-hear"."""
        return tuple(self._all.alarm)

    def title(self, pattern: str) -> str:
        """One line for the top of the screen. Raises KeyError for a pattern without a message."""
        return self._fill(self._all.alarm[pattern].title)

    def lines(self, pattern: str) -> tuple[str, ...]:
        """What to say: who goes, look first, not well, what it means, what to check. Raises KeyError too."""
        alarm, first = self._all.alarm[pattern], self._all.first
        go = first.go if alarm.go is None else alarm.go
        look = first.look if alarm.look is None else alarm.look
        unwell = first.unwell if alarm.unwell is None else alarm.unwell
        return tuple(self._fill(line) for line in (go, look, unwell, alarm.well, alarm.check) if line)

    def lines_stopped(self, pattern: str) -> tuple[str, ...]:
        """What to say once the beeping stopped and nobody has answered: that first, then the same help."""
        return (self.stopped, *self.lines(pattern))

    def over(self, pattern: str) -> str:
        """What to show when it is over and nothing else is left. Raises KeyError as above."""
        return self._fill(self._all.alarm[pattern].over or self._all.first.over)

    def screen(self, *parts: str) -> str:
        """Text for a screen: the parts, one a line, and the caution below them."""
        return "\n".join((*parts, self.caution))

    def all_lines(self) -> tuple[str, ...]:
        """Every line that may ever be spoken, each once: for a voice that renders ahead of need."""
        told = [self.renamed, self.stopped]
        for pattern in self.patterns:
            told += self.lines(pattern)
        return tuple(dict.fromkeys(told))

    def _fill(self, line: str) -> str:
        """Put the names into a line."""
        return line.format_map(self._names)
