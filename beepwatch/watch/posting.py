"""From the loop to the board: what the page, a bedside computer or a hub may know, gathered and put up."""

import math
import secrets
from collections import deque
from collections.abc import Callable, Iterable
from datetime import datetime

from beepwatch.board.board import Board
from beepwatch.board.state import EVENTS, TRACE, Asked, Happened, Hearing, OpenAlarm, Stage, State
from beepwatch.events import Beep, Noise
from beepwatch.hearing.margin import margin_db
from beepwatch.waking.escalation import Standing
from beepwatch.watch.console import Console

EACH = 0.5
"""s between two levels of the trace, and between two posts where nothing else is new."""
NIGHT = 18 * 3600.0
"""s that an event stays among tonight's (judgement: an evening and a long night)."""
SOMEBODY = "somebody"
STAGES: dict[str, Stage] = {
    "SHOWN": "shown",
    "SOUNDING": "waking",
    "STOPPED": "stopped",
    "ACKNOWLEDGED": "answered",
    "PAUSED": "paused",
}
"""By the name of `waking.table.State`."""


class Posting:
    """Gathers and posts; used in the loop's thread alone.

    caution: the sentence for every screen. expected: (tone in Hz, level in dBFS) of the taught beep at this
    microphone; None: the margin is not known.
    """

    def __init__(self, board: Board, caution: str, expected: tuple[float, float] | None = None) -> None:
        self._board, self._caution, self._expected = board, caution, expected
        self._levels: deque[float] = deque(maxlen=TRACE)
        self._loudest = -math.inf
        self._margin: float | None = None
        self._events: tuple[Happened, ...] = ()
        self._titles: dict[int, str] = {}
        self._going: dict[int, tuple[str, datetime]] = {}
        self._since: tuple[Hearing, str, datetime] | None = None
        self._heard_at: datetime | None = None
        self._next = -math.inf
        self._posted: tuple[object, ...] = ()
        self._run = secrets.token_hex(4)

    def sound(self, level: float) -> None:
        """A block's level, dBFS."""
        self._loudest = max(self._loudest, level)

    def expect(self, beep: tuple[float, float] | None) -> None:
        """From now on the margin is of this beep; see `Console`."""
        self._expected, self._margin = beep, None

    def noise(self, noise: Noise) -> None:
        """How loud the room is."""
        if self._expected is not None:
            tone, level = self._expected
            self._margin = margin_db(level, noise.near(tone))

    def heard(self, at: datetime) -> None:
        """The room was heard, and understood, up to now."""
        self._heard_at = at

    def happened(self, text: str, at: datetime) -> None:
        """One line for tonight's events."""
        fresh = (Happened(at, text), *self._events)
        self._events = tuple(one for one in fresh[:EVENTS] if (at - one.at).total_seconds() < NIGHT)

    def going(self, numbers: Iterable[int], who: str, at: datetime) -> None:
        """`who` ("" where not known) goes to these alarms."""
        self._going |= dict.fromkeys(numbers, (who or SOMEBODY, at))

    def look(
        self,
        ticks: float,
        now: datetime,
        standing: Iterable[tuple[Standing, datetime]],
        *,
        hearing: Hearing = "listening",
        why: str = "",
        until: datetime | None = None,
        asked: Iterable[int] = (),
    ) -> None:
        """How it stands at `now`; put up at once where alarms or hearing are new, else each half second.

        standing: each alarm with the wall time of its onset. asked: numbers of those of which a person should say what
        they were. ticks: a clock reading, s.
        """
        alarms = tuple(self._open(one, since) for one, since in standing)
        self._going = {one.number: self._going[one.number] for one in alarms if one.number in self._going}
        if self._since is None or self._since[:2] != (hearing, why):
            self._since = (hearing, why, now)
        questions = self._questions(alarms, asked)
        news = (hearing, why, until, alarms, self._events, questions)
        due = ticks >= self._next
        if due:
            self._next = ticks + EACH
            self._levels.append(self._loudest)
            self._loudest = -math.inf
        if due or news != self._posted:
            self._posted = news
            self._board.post(State(
                hearing, why, self._since[2], until, self._heard_at, tuple(self._levels), self._margin,
                alarms, self._events, self._caution, questions, self._run,
            ))  # fmt: skip

    def ended(self, now: datetime) -> None:
        """`watch` was told to stop: the last word, so that nobody takes silence for listening."""
        self.look(math.inf, now, (), hearing="ended", why="the listening was ended on the computer")

    def _questions(self, alarms: tuple[OpenAlarm, ...], asked: Iterable[int]) -> tuple[Asked, ...]:
        """With the titles that the alarms had."""
        wanted = tuple(asked)
        self._titles = {number: self._titles[number] for number in wanted if number in self._titles}
        self._titles |= {one.number: one.title for one in alarms}
        return tuple(Asked(number, self._titles[number]) for number in wanted if number in self._titles)

    def _open(self, one: Standing, since: datetime) -> OpenAlarm:
        alarm = one.alarm
        stage = STAGES[one.state.name]
        who, answered = self._going.get(alarm.number, ("", None)) if stage == "answered" else ("", None)
        return OpenAlarm(
            alarm.number, alarm.pattern, alarm.priority, one.title, one.lines, since, stage, alarm.why,
            SOMEBODY if stage == "answered" and not who else who, answered, one.drill,
        )  # fmt: skip


class Told(Console):
    """A console whose words also go to the board. wall: the present, aware."""

    def __init__(self, console: Console, posting: Posting, wall: Callable[[], datetime]) -> None:
        super().__init__(None)
        self._console, self._posting, self._wall = console, posting, wall

    def plain(self, text: str) -> None:
        """See `Console`."""
        self._console.plain(text)

    def say(self, at: str, text: str) -> None:
        """See `Console`."""
        self._console.say(at, text)
        self._posting.happened(text, self._wall())

    def trouble(self, at: str, text: str) -> None:
        """See `Console`."""
        self._console.trouble(at, text)
        self._posting.happened(text, self._wall())

    def block(self, text: str, bell: bool = False) -> None:
        """See `Console`."""
        self._console.block(text, bell)

    def pause(self, until: str | None) -> None:
        """See `Console`."""
        self._console.pause(until)

    def sound(self, level: float) -> None:
        """See `Console`."""
        self._console.sound(level)
        self._posting.sound(level)

    def beep(self, at: str, beep: Beep) -> None:
        """See `Console`."""
        self._console.beep(at, beep)

    def expect(self, beep: tuple[float, float] | None) -> None:
        """See `Console`."""
        self._console.expect(beep)
        self._posting.expect(beep)

    def noise(self, noise: Noise) -> None:
        """See `Console`."""
        self._console.noise(noise)
        self._posting.noise(noise)

    def refresh(self, now: float, hearing: bool) -> None:
        """See `Console`."""
        self._console.refresh(now, hearing)

    def close(self) -> None:
        """See `Console`."""
        self._console.close()
