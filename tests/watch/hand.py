"""The loop's surroundings, each in the test's hand: a clock, a microphone with a script, a recogniser, a speaker."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from queue import SimpleQueue
from typing import TextIO

import numpy as np

from beepwatch.channels.rounds import Round
from beepwatch.events import Alarm, Event, OwnSound, Priority
from beepwatch.records.clipping import Clipper
from beepwatch.records.journal import Journal
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.sources.block import Block, Samples
from beepwatch.waking.actions import Action, Quiet, Say, Sound
from beepwatch.waking.ladder import Ladder
from beepwatch.waking.messages import Messages
from beepwatch.watch.caring import Caring
from beepwatch.watch.changes import Changes
from beepwatch.watch.console import Console
from beepwatch.watch.loop import Watch
from beepwatch.watch.minutes import Minutes
from beepwatch.watch.summary import Summary
from beepwatch.watch.timeline import Clock
from beepwatch.watch.waker import Report, Waker
from beepwatch.watch.ways import Ways

RATE, FRAMES = 16_000, 1_600
BEGAN = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)


class HandClock:
    """Goes on only when told; the wall clock can be set."""

    def __init__(self) -> None:
        self.now = 1000.0
        self.set_by = 0.0

    def go_on(self, seconds: float) -> None:
        self.now += seconds

    def wall(self) -> datetime:
        return BEGAN + timedelta(seconds=self.now - 1000.0 + self.set_by)

    @property
    def clock(self) -> Clock:
        return Clock(lambda: self.now, self.wall, self.go_on)


Step = tuple[str, float]


class ScriptedMicrophone:
    """Plays ("sound" | "zeros" | "nothing" | "lost", seconds) in blocks of 0.1 s; calls `over` when it is through.

    Any other word of the script is looked up in `calls` and called.
    """

    live = True
    name = "a microphone"
    rate, channels = RATE, 1
    ended = False
    trouble: str | None = None
    hangs = elsewhere = False

    def __init__(self, clock: HandClock, script: Iterable[Step], calls: dict[str, Callable[[], object]]) -> None:
        self._clock = clock
        self._steps = self._blocks(script, calls)
        self._end = 0
        self._noise = np.random.default_rng(1)
        self.dead = False
        self.reopened: list[float] = []
        self.over: Callable[[], None] = lambda: None

    def take(self, timeout: float) -> Block | None:
        try:
            return next(self._steps)
        except StopIteration:
            self.over()
            return None

    def reopen(self) -> bool:
        self.reopened.append(self._clock.now)
        return True

    def close(self) -> bool:
        return True

    def _blocks(self, script: Iterable[Step], calls: dict[str, Callable[[], object]]) -> Iterator[Block | None]:
        lost = 0
        for word, seconds in script:
            if word == "lost":
                lost += round(seconds * RATE)
                self._clock.go_on(seconds)
            elif word == "nothing":
                for _ in range(round(seconds / 0.25)):
                    self._clock.go_on(0.25)
                    yield None
                lost += round(seconds * RATE)
            elif word in calls:
                calls[word]()
            else:
                for _ in range(round(seconds * RATE / FRAMES)):
                    yield self._block(0.1 if word == "sound" else 0.0, lost)
                    lost = 0

    def _block(self, value: float, lost: int) -> Block:
        self._clock.go_on(FRAMES / RATE)
        start = self._end + lost
        self._end = start + FRAMES
        noise = self._noise.normal(size=(FRAMES, 1)).astype(np.float32) * np.float32(value)
        return Block(noise, start, lost, self._clock.now)


class ScriptedRecogniser:
    """Gives the events of its script as their time comes; raises at the times it is told to."""

    def __init__(self, script: Sequence[tuple[float, Event]], faults: Sequence[float] = ()) -> None:
        self._script = list(script)
        self._faults = list(faults)
        self.position = 0
        self.skipped: list[int] = []
        self.flushed = False
        self.own: list[OwnSound | None] = []

    def push(self, samples: Samples) -> list[Event]:
        self.position += len(samples)
        if self._faults and self.position / RATE > self._faults[0]:
            self._faults.pop(0)
            raise RuntimeError("a division by zero, say")
        return self._due()

    def skip(self, count: int) -> list[Event]:
        self.position += count
        self.skipped.append(count)
        return self._due()

    def own_sound(self, sound: OwnSound | None) -> None:
        self.own.append(sound)

    def flush(self) -> list[Event]:
        self.flushed = True
        return []

    def _due(self) -> list[Event]:
        now = self.position / RATE
        due = [event for at, event in self._script if at <= now]
        self._script = [(at, event) for at, event in self._script if at > now]
        return due


class HandSpeaker:
    """Remembers what it was told, each with the time, and reports a start at once if `works`."""

    def __init__(self, clock: HandClock, reports: "SimpleQueue[Report]") -> None:
        self._clock, self._reports = clock, reports
        self.works = True
        self.played: list[tuple[float, tuple[int, ...], tuple[str, ...]]] = []
        self.quiet: list[float] = []
        self.on_play: Callable[[Round], Report | None] = lambda round_: None
        self.closed = False

    @property
    def sounding(self) -> bool:
        return bool(self.played) and (not self.quiet or self.quiet[-1] < self.played[-1][0])

    def perform(self, actions: Sequence[Action]) -> None:
        sound: Sound | None = None
        for action in actions:
            if isinstance(action, Sound):
                sound = action
            elif isinstance(action, Say) and sound is not None:
                self.play(Round(sound.numbers, sound.priority, action.lines))
            elif isinstance(action, Quiet):
                self.stop()

    def play(self, round_: Round) -> None:
        self.played.append((self._clock.now, round_.numbers, round_.lines))
        report = self.on_play(round_)
        if report is not None:
            self._reports.put(report)

    def stop(self) -> None:
        self.quiet.append(self._clock.now)

    def close(self, seconds: float = 2.0) -> bool:
        self.closed = True
        return True


def alarm(
    number: int = 1,
    pattern: str = "lead-disconnect",
    priority: Priority = "high",
    onset: float = 2.0,
    last: float = 9.0,
) -> Alarm:
    """An alarm as the recogniser tells it; raised 0.3 s after its last beep so far."""
    return Alarm(
        number, pattern, priority, onset, last + 0.3, None, last, 3, 1.2, 3.0, 2730.0, 0.95, "3 beeps of 1.2 s"
    )


@dataclass
class Bedroom:
    """A loop in a folder of its own, with everything round it in the test's hand."""

    folder: Path
    script: Sequence[Step]
    events: Sequence[tuple[float, Event]] = ()
    faults: Sequence[float] = ()
    calls: dict[str, Callable[[], object]] = field(default_factory=dict)
    changes: Changes | None = None
    ladder: Ladder | None = None
    clipper: Clipper | None = None
    minutes: Minutes | None = None
    shown: TextIO | None = None
    """Where the screen is; None: in memory."""
    caring: Caring | None = None

    def __post_init__(self) -> None:
        self.hand = HandClock()
        self.reports: SimpleQueue[Report] = SimpleQueue()
        self.speaker = HandSpeaker(self.hand, self.reports)
        self.microphone = ScriptedMicrophone(self.hand, self.script, self.calls)
        self.recognisers: list[ScriptedRecogniser] = []
        self.screen = StringIO()
        self.messages = Messages()
        self.ways = Ways(self.reports.put, lambda: self.hand.now)
        self.waker = Waker(self.speaker, self.reports, self.messages, ways=self.ways, ladder=self.ladder)
        self.watch = Watch(
            self.microphone, self._recogniser, Journal(Store(self.folder, timeout=0.05), lambda: self.hand.now),
            self.waker, Console(self.shown or self.screen),
            clock=self.hand.clock, changes=self.changes, folder=self.folder,
            clipper=self.clipper, minutes=self.minutes, caring=self.caring,
        )  # fmt: skip
        self.microphone.over = self.watch.stop

    def run(self) -> Summary:
        return self.watch.run()

    @property
    def said(self) -> list[str]:
        return self.screen.getvalue().splitlines()

    def heard(self, words: str) -> list[str]:
        """The lines on the screen that hold these words."""
        return [line for line in self.said if words in line]

    @property
    def history(self) -> History:
        return History(self.folder)

    def _recogniser(self) -> ScriptedRecogniser:
        first = not self.recognisers
        self.recognisers.append(ScriptedRecogniser(self.events, self.faults if first else ()))
        return self.recognisers[-1]
