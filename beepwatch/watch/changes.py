"""Settings that change while it listens: what can be taken over at once is, and the rest is said to wait."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

import msgspec

from beepwatch.errors import InputError
from beepwatch.events import AlarmEvent, Raised
from beepwatch.settings.household import Household, Row, household, rows, signature
from beepwatch.settings.ladder import described
from beepwatch.settings.model import Settings
from beepwatch.settings.sounder import aside
from beepwatch.waking.messages import Messages
from beepwatch.watch.callers import messages_of

EACH = 1.0
"""s between two looks at the files."""


class Changes(Protocol):
    """What the loop asks of the household's settings while it listens."""

    def look(self, now: float) -> list[str]:
        """Take over what was changed; return a line for each thing a person must know. now: a clock reading, s."""

    def quiet(self, event: AlarmEvent) -> bool:
        """Whether this alarm wakes nobody, as it was when it was raised."""

    def snapshot(self) -> str:
        """All that holds now, as text for the history."""


class SetsAside(Protocol):
    """What is needed of `Recognizer`."""

    def know(self, tone: float | None, length: float | None = None) -> None:
        """This is the device's beep from now on; nothing under way is lost."""

    def set_aside(self, tones: Sequence[float]) -> None:
        """Beeps of these tones are no evidence from now on."""


class HouseholdChanges:
    """Looks after the settings of one run. A file that cannot be understood changes nothing, and is told.

    tone: Hz that the command line gives, which stays for this run; None: what the household has set or taught. rename:
    takes other messages. taught: takes a household whose device or tone is another. called: takes one in which others
    are woken, or by other ways. Microphone, speaker and arming stay
    as they were at the start.
    """

    def __init__(
        self,
        home: Household,
        tone: float | None,
        rename: Callable[[Messages], None],
        taught: Callable[[Household], None] | None = None,
        called: Callable[[Household], None] | None = None,
    ) -> None:
        self._home = home
        self._fixed = tone
        self._aside = aside(home.sounders, self._tone)
        self._taught, self._called = taught, called
        self._rename = rename
        self._quiet: set[int] = set()
        self._recognizer: SetsAside | None = None
        self._signature = signature(home.folder)
        self._next = 0.0

    @property
    def _tone(self) -> float | None:
        """Hz that is listened for now."""
        return self._home.tone if self._fixed is None else self._fixed

    def heard_by(self, recognizer: SetsAside) -> None:
        """From now on this recogniser is the one that is told; it gets what holds now."""
        self._recognizer = recognizer
        recognizer.know(self._tone, self._home.length_at(self._tone))
        recognizer.set_aside(self._aside.ignored)

    def quiet(self, event: AlarmEvent) -> bool:
        """See `Changes`."""
        alarm = event.alarm
        if isinstance(event, Raised) and self._aside.quiet(alarm.frequency):
            self._quiet.add(alarm.number)
        return alarm.number in self._quiet

    def look(self, now: float) -> list[str]:
        """See `Changes`."""
        if now < self._next:
            return []
        self._next = now + EACH
        mark = signature(self._home.folder)
        if mark == self._signature:
            return []
        self._signature = mark
        before = self._home
        try:
            self._home = household(before.folder)
            return self._told(before, self._home)
        except InputError as error:
            self._home = before
            return [f"The settings have a mistake, so I go on with those from before. {error}."]

    def snapshot(self) -> str:
        """See `Changes`."""
        home = self._home
        lines = [f"{row.name} = {row.value}" for row in rows(home, {})]
        lines += described(home.settings.ladder, home.settings.rota, home.settings.command)
        lines += [f"taught {one.name}: {one.role}, {one.now:.1f} Hz, {one.length:g} s" for one in home.sounders]
        given = [] if self._fixed is None else [f"tone given at the start: {self._fixed:g} Hz"]
        return "\n".join([*lines, *given])

    def _told(self, before: Household, fresh: Household) -> list[str]:
        """Take over what can be; say what changed and what waits."""
        changed = [new for old, new in zip(rows(before, {}), rows(fresh, {}), strict=True) if _differ(old, new)]
        words = messages_of(replace(fresh, settings=_same_language(before, fresh)))
        if messages_of(before).all_lines() != words.all_lines():
            self._rename(words)
        lines = [f"Changed: {row.name} is now {row.value}.{self._holds(row)}" for row in changed]
        lines += self._call(before.settings, fresh)
        if before.sounders != fresh.sounders or before.tone != fresh.tone:
            lines += self._listen_for(fresh)
        return lines

    def _call(self, before: Settings, fresh: Household) -> list[str]:
        """Who is woken by what."""
        after = fresh.settings
        if self._called is not None:
            self._called(fresh)
        same = (before.ladder, before.rota) == (after.ladder, after.rota)
        lines = [] if same else ["Changed: who is woken by what, and when."]
        waits = "Changed: a command of yours. It waits for the next start of watch."
        return lines if before.command == after.command else [*lines, waits]

    def _holds(self, row: Row) -> str:
        """What to add of a change that is not taken over yet."""
        given = row.name == "device.tone" and self._fixed is not None
        return f" Until the next start {self._fixed:g} Hz holds, as the command line says." if given else _waits(row)

    def _listen_for(self, fresh: Household) -> list[str]:
        """The device's beep; and those ignored or only logged, as far as this run's tone and the newest let them."""
        self._aside = aside(fresh.sounders, self._tone, fresh.tone)
        if self._recognizer is not None:
            self._recognizer.know(self._tone, fresh.length_at(self._tone))
            self._recognizer.set_aside(self._aside.ignored)
        if self._taught is not None:
            self._taught(fresh)
        names = [f"{one.name} ({one.role}, {one.now:.0f} Hz)" for one in fresh.sounders]
        return [f"Taught beeps: {', '.join(names) or 'none'}.", *(f"{note}." for note in self._aside.notes)]


def _same_language(before: Household, fresh: Household) -> Settings:
    """Another language waits for the next start: its voice does."""
    words = msgspec.structs.replace(fresh.settings.words, messages=before.settings.words.messages)
    return msgspec.structs.replace(fresh.settings, words=words)


def _differ(old: Row, new: Row) -> bool:
    return replace(old, origin=new.origin) != new


def _waits(row: Row) -> str:
    return " It waits for the next start of watch." if row.waits else ""
