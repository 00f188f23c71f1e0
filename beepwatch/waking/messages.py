"""The words for each alarm, from a catalogue, with the family's names filled in."""

from collections.abc import Sequence

from beepwatch.hearing.technical import MESSAGES as TECHNICAL
from beepwatch.waking.catalogue import Catalogue, english

RIGHT_TO_LEFT, ISOLATED = "\u2067", "\u2069"
"""Before and after a line that runs from right to left (RLI and PDI of Unicode's bidirectional algorithm, UAX #9)."""


class Messages:
    """The catalogue with names filled in: what to say (lines) and what to show (one text) for each alarm."""

    def __init__(
        self,
        caregiver: str | None = None,
        person: str | None = None,
        emergency: str | None = None,
        plan: str | None = None,
        *,
        people: Sequence[str] = (),
        catalogue: Catalogue | None = None,
    ):
        """Take the family's names and words; one that is not given (or empty) is told as `[names]` has it.

        people: everybody whom the ladder may call, for a voice that renders ahead. catalogue: default English.
        """
        self._all = catalogue or english()
        names = self._all.names
        self._caregiver = caregiver or names.caregiver
        self._people = tuple(people)
        self._names = {
            "person": person or names.person,
            "emergency": emergency or names.emergency,
            "plan": plan or names.plan,
        }
        self.caution = self._all.caution
        self.stopped = self._fill(self._all.stopped)
        self.renamed = self._fill(self._all.renamed)
        self.still = self._fill(self._all.still)
        self.acknowledged = self._fill(self._all.acknowledged)
        self.drill = self._fill(self._all.drill)
        self.changed = self._fill(self._all.changed)
        self.quiet = self._fill(self._all.quiet)
        self.pause_over = self._fill(self._all.pause_over)
        self.drill_over = self._fill(self._all.drill_over)

    @property
    def patterns(self) -> tuple[str, ...]:
        """Every pattern that has a message, and "cannot-hear"."""
        return tuple(self._all.alarm)

    @property
    def voice(self) -> str:
        """The name of the voice that speaks them."""
        return self._all.speaker

    @property
    def right_to_left(self) -> bool:
        """Whether lines run from right to left."""
        return self._all.direction == "rtl"

    def title(self, pattern: str) -> str:
        """One line for the top of the screen. Raises KeyError for a pattern without a message."""
        return self._fill(self._all.alarm[pattern].title)

    def call(self, name: str = "") -> str:
        """The caregiver's own name, twice: it wakes its owner more readily than other words (Oswald 1960)."""
        return self._fill(self._all.call, caregiver=name or self._caregiver)

    def lines(self, pattern: str, people: Sequence[str] = (), marks: Sequence[str] = ()) -> tuple[str, ...]:
        """What to say: whom it is for, `marks`, who goes, look first, not well, what it means, what to check.

        people: names to call; none takes the household's own caregiver. Raises KeyError as `title`.
        """
        calls = [self.call(name) for name in people] or [self.call()]
        return tuple(dict.fromkeys((*calls, *marks, *self.body(pattern))))

    def body(self, pattern: str) -> tuple[str, ...]:
        """The message itself, whoever is called. Raises KeyError as `title`."""
        alarm, first = self._all.alarm[pattern], self._all.first
        go = first.go if alarm.go is None else alarm.go
        look = first.look if alarm.look is None else alarm.look
        unwell = first.unwell if alarm.unwell is None else alarm.unwell
        return tuple(self._fill(line) for line in (go, look, unwell, alarm.well, alarm.check) if line)

    def lines_stopped(self, pattern: str) -> tuple[str, ...]:
        """What to say once the beeping stopped and nobody has answered: that first, then the same help."""
        return self.lines(pattern, marks=(self.stopped,))

    def reminder(self, name: str = "") -> tuple[str, ...]:
        """What to say of a backup battery that was answered and beeps still."""
        return (self.call(name), self._fill(self._all.reminder))

    def question(self) -> str:
        """The one question afterwards, with the keys that answer it."""
        return f"{self._fill(self._all.question)}\n{self._fill(self._all.answers)}"

    def paused(self, until: str) -> str:
        """What to show in a planned pause; until: the hour, as a person reads it."""
        return self._fill(self._all.paused, until=until)

    def over(self, pattern: str) -> str:
        """What to show when it is over and nothing else is left. Raises KeyError as above."""
        return self._fill(self._all.alarm[pattern].over or self._all.first.over)

    def screen(self, *parts: str) -> str:
        """Text for a screen: the parts, one a line, and the caution below them."""
        text = "\n".join((*parts, self.caution))
        if not self.right_to_left:
            return text
        return "\n".join(f"{RIGHT_TO_LEFT}{line}{ISOLATED}" for line in text.splitlines())

    def all_lines(self) -> tuple[str, ...]:
        """Every line that may ever be spoken, each once: for a voice that renders ahead of need."""
        told = [self.call(name) for name in self._people] or [self.call()]
        told += [self.call(), self.renamed, self.stopped, self.still, self.drill, self.drill_over, self.pause_over]
        told += self.reminder()
        for pattern in self.patterns:
            told += self.lines(pattern)
        told += [self.over(pattern) for pattern in self.patterns if pattern in TECHNICAL]
        return tuple(dict.fromkeys(told))

    def _fill(self, line: str, caregiver: str = "", until: str = "") -> str:
        """Put the names into a line."""
        return line.format_map(self._names | {"caregiver": caregiver or self._caregiver, "until": until})
