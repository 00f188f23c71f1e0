"""The bedside's one loop: frames and keys in, sound, screen and answers out. No fault ends it."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Protocol, TypeAlias

from beepwatch.bedside.ear import Ear
from beepwatch.bedside.standing import Frame, Standing, Wanted
from beepwatch.channels.rounds import Round
from beepwatch.channels.speaker import Failed, SpeakerReport, Started
from beepwatch.sources.block import Block
from beepwatch.waking.messages import Messages

LOG = logging.getLogger("beepwatch")
EACH = 0.1
"""s between two looks."""
WORD_EACH = 2.0
"""s between two words to the listener that this computer is there: it alarms after 6 s without."""
UNSURE = 8.0
"""s after which a wake sound that its own microphone has not heard is told (a round's tone takes some 4 s)."""


class Sounds(Protocol):
    """What is needed of a speaker."""

    def play(self, round_: Round) -> None: ...  # noqa: D102
    def stop(self) -> None: ...  # noqa: D102
    def close(self, seconds: float = ...) -> bool: ...  # noqa: D102


class Ears(Protocol):
    """What is needed of a microphone."""

    @property
    def rate(self) -> int: ...  # noqa: D102
    def take(self, timeout: float) -> Block | None: ...  # noqa: D102
    def close(self) -> bool: ...  # noqa: D102


class Posts(Protocol):
    """What is needed of the wire."""

    def post(self, path: str, body: dict[str, object]) -> int: ...  # noqa: D102


Report: TypeAlias = SpeakerReport | str


@dataclass(frozen=True, slots=True)
class Parts:
    """What one bedside is made of. reports: filled by the speaker's and the voice's threads."""

    speaker: Sounds
    ears: Ears | None
    wire: Posts
    reports: "SimpleQueue[Report]"
    say: Callable[[str], None]
    messages: Messages


class Bedside:
    """`run` until `stop`. Frames, faults and keys come from other threads."""

    def __init__(self, parts: Parts, ticks: Callable[[], float] = time.monotonic) -> None:
        self._parts, self._ticks = parts, ticks
        self._standing = Standing(ticks())
        self._ear = None if parts.ears is None else Ear(parts.ears.rate)
        self._news: SimpleQueue[Frame | str | bytes] = SimpleQueue()
        self._ending = Event()
        self._wanted: Wanted | None = None
        self._begun = 0.0
        self._started = False
        self._doubted = False
        self._line = ""
        self._words: SimpleQueue[tuple[str, ...] | None] = SimpleQueue()
        self._next_word = 0.0

    def put(self, news: Frame | str | bytes) -> None:
        """A frame, a fault of the link (str) or a key (bytes); from any thread."""
        self._news.put(news)

    def stop(self) -> None:
        """End soon; from a signal handler, too."""
        self._ending.set()

    def run(self) -> None:
        """Listen to the listener until told to stop."""
        Thread(target=self._post, name="words", daemon=True).start()
        while not self._ending.is_set():
            try:
                self.look(self._ticks())
            except Exception as error:  # a fault of our own must not end the waking
                LOG.exception("a fault in the program itself")
                self._say(f"a fault in the program itself ({error!r}); I go on")
            self._ending.wait(EACH)
        self._parts.wire.post("/seen", {"alarms": [], "visible": False, "sounding": False, "leaving": True})
        self._parts.speaker.close()
        if self._parts.ears is not None:
            self._parts.ears.close()

    def look(self, now: float) -> None:
        """One turn."""
        self._take(now)
        self._listen()
        self._sound(self._standing.wanted(now), now)
        self._hear_speaker()
        self._doubt(now)
        self._show(now)
        if now >= self._next_word:
            self._next_word = now + WORD_EACH
            self._words.put(None)

    @property
    def confirmed(self) -> bool:
        """Whether a wake sound leaves the speaker, as far as can be known here."""
        return self._started and (self._ear is None or self._ear.heard)

    def _take(self, now: float) -> None:
        while True:
            try:
                news = self._news.get_nowait()
            except Empty:
                return
            if isinstance(news, Frame):
                self._standing.frame(news, now)
            elif isinstance(news, str):
                self._say(f"! {news}")
            else:
                self._key(now)

    def _key(self, now: float) -> None:
        alarms = self._standing.key(now)
        if alarms:
            self._words.put(alarms)
        self._say("You are going." if alarms else "Noted.")

    def _listen(self) -> None:
        """What the microphone has; a fault of it only takes the confirmation away."""
        ears, ear = self._parts.ears, self._ear
        while ears is not None and ear is not None and (block := ears.take(0.0)) is not None:
            ear.hear(block.samples)

    def _sound(self, wanted: Wanted | None, now: float) -> None:
        if wanted == self._wanted:
            return
        if wanted is None:
            self._parts.speaker.stop()
        else:
            lines = wanted.lines or self._parts.messages.lines(wanted.pattern)
            self._say("\n  ".join(("WAKE UP", *lines, self._parts.messages.caution)))
            self._parts.speaker.play(Round((1,), wanted.priority, lines))
        if (wanted is None) != (self._wanted is None):
            self._started, self._doubted, self._begun = False, False, now
            if self._ear is not None:
                self._ear.sounding(wanted is not None)
        self._wanted = wanted
        self._next_word = now

    def _hear_speaker(self) -> None:
        while True:
            try:
                report = self._parts.reports.get_nowait()
            except Empty:
                return
            if isinstance(report, Started):
                self._started = True
            elif isinstance(report, Failed):
                self._started = False
                self._say(f"! {report.text}")
            else:
                self._say(f"! {report}")

    def _doubt(self, now: float) -> None:
        late = self._wanted is not None and now - self._begun > UNSURE
        if late and not self.confirmed and not self._doubted:
            self._doubted = True
            self._say("! This computer's microphone does not hear its speaker. Is it mute, or turned down?")

    def _show(self, now: float) -> None:
        line = self._standing.line(now)
        shown = line.partition(" for ")[0]
        if shown != self._line:
            self._line = shown
            self._say(line)

    def _say(self, text: str) -> None:
        self._parts.say(f"{datetime.now().astimezone():%H:%M:%S}  {text}")

    def _post(self) -> None:
        """The thread of the words: that this computer is there, what it sounds, and the answers."""
        while not self._ending.is_set():
            try:
                alarms = self._words.get(timeout=1.0)
            except Empty:
                continue
            if alarms is None:
                self._tell_there()
            else:
                self._answer(alarms)

    def _tell_there(self) -> None:
        wanted = self._wanted
        alarms = () if wanted is None else wanted.alarms
        sounding = wanted is not None and self.confirmed
        self._parts.wire.post("/seen", {"alarms": list(alarms), "visible": sounding, "sounding": sounding})

    def _answer(self, alarms: tuple[str, ...]) -> None:
        """Send "I am going"; what does not arrive goes on sounding."""
        status = [self._parts.wire.post("/going", {"alarm": alarm}) for alarm in alarms]
        taken = tuple(a for a, s in zip(alarms, status, strict=True) if s in (202, 409))  # 409: over already
        self._standing.answered(taken)
        if len(taken) < len(alarms):
            self.put("your answer did not arrive. Go, and press again there")
