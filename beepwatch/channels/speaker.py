"""The speaker: tone and voice again and again until told to stop, from a thread that no fault ends.

Nothing here raises into the caller or keeps it waiting. Calls into the sound system may never return
(measured: a frozen sound server keeps open, stop and close from returning), so each is made in a thread of
its own and given up after a time; then the next one is tried, as long as something has to sound.
"""

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from threading import Condition, Thread
from typing import TypeAlias

from beepwatch.channels.feed import Feed, Playing
from beepwatch.channels.output import HANGS, OutputSystem, PortAudioOutput
from beepwatch.channels.rounds import Round
from beepwatch.channels.voice import Voice
from beepwatch.errors import CannotHear, CannotWake
from beepwatch.sources.patience import Attempt
from beepwatch.waking.actions import Action, Quiet, Remind, Say, Sound

CHECK = 0.05
"""s between two looks at a stream that plays."""
PATIENCE = 3.0
"""s to wait for the sound system to open an output (measured: under 0.1 s), before a fault is told."""
GIVE_UP = 30.0
"""s after which an opening that has not returned is left alone and a new one made."""
LET_GO = 1.0
"""s to wait for a stream to be given up: it is at once or, while the server hangs, never (measured)."""
RETRY = 1.0
"""s after a fault until the next try."""
HANGING = 8
"""Calls that never returned, above which no more are made: each holds a thread (judgement)."""


@dataclass(frozen=True, slots=True)
class Started:
    """A round's first sound was handed over; `at` (monotonic s): when it is heard, as the system says."""

    at: float
    numbers: tuple[int, ...]
    """The alarms that it tells of."""
    way: str = "speaker"
    """By which way it sounds."""


@dataclass(frozen=True, slots=True)
class Failed:
    """Nothing can be heard; it is tried again. Told once for each cause, and again with the next alarm."""

    at: float
    text: str
    """One plain line that says what to do."""


SpeakerReport: TypeAlias = Started | Failed


class Speaker:
    """Plays a round (tone, then voice) again and again until told to stop, whatever fails meanwhile."""

    def __init__(
        self,
        report: Callable[[SpeakerReport], None],
        *,
        device: str | int | None = None,
        voice: Voice | None = None,
        system: OutputSystem | None = None,
    ):
        """Start the thread, silent; `report` is called from it, so let it do no more than fill a queue.

        device: name (or a part that fits only one), number, or None for the system's default output.
        It is looked for at once, so that a missing one is told before the night and not in it.
        """
        self._report = report
        self._device = device
        self._voice = voice
        self._system = system or PortAudioOutput()
        self._change = Condition()
        self._round: Round | None = None
        self._closed = False
        self._told: str | None = None
        self._opening: tuple[Feed, Attempt[None]] | None = None
        self._stuck: list[Attempt[None]] = []
        self._thread = Thread(target=self._work, name="speaker", daemon=True)
        self._thread.start()

    def play(self, round_: Round) -> None:
        """Sound this round until `stop`. The same one again goes on; another takes its place at once."""
        with self._change:
            if self._round is None:
                self._told = None  # a fault that was told before is news again: now it matters
            self._round = round_
            self._change.notify_all()
        if self._voice is not None:
            self._voice.prepare(round_.lines)  # lines that failed before are tried again

    def stop(self) -> None:
        """Be silent."""
        with self._change:
            self._round = None
            self._change.notify_all()

    def perform(self, actions: Sequence[Action]) -> None:
        """Carry out the `Sound`, `Say`, `Quiet` and `Remind` among these; the others are for others."""
        sound: Sound | None = None
        for action in actions:
            if isinstance(action, Sound):
                sound = action
            elif isinstance(action, Say) and sound is not None:
                self.play(Round(sound.numbers, sound.priority, action.lines, action.pattern, action.opening))
            elif isinstance(action, Quiet):
                self.stop()
            elif isinstance(action, Remind):
                self.play(Round((action.number,), "medium", action.lines, once=True))

    def close(self, seconds: float = 2.0) -> bool:
        """End the thread; False if it had not ended after `seconds` (the sound system hangs)."""
        with self._change:
            self._round, self._closed = None, True
            self._change.notify_all()
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def _work(self) -> None:
        """The thread: whatever happens, try again while something has to sound."""
        self._try(self._look)
        while not self._closed:
            with self._change:
                self._change.wait_for(lambda: self._closed or self._round is not None)
            if self._round is not None and not self._try(self._sound):
                with self._change:
                    self._change.wait_for(lambda: self._round is None, RETRY)
            if self._round is None:
                self._forget_opening()

    def _try(self, step: Callable[[], None]) -> bool:
        """Do one step; a fault is told, once until it changes, and gives False."""
        try:
            step()
        except CannotWake as fault:
            text = str(fault)
        except Exception as error:  # a fault of our own must not end the waking either
            text = f"no sound comes out: a fault in the program itself ({error!r}); tell its makers"
        else:
            return True
        if text != self._told:
            self._told = text
            self._report(Failed(time.monotonic(), text))
        return False

    def _look(self) -> None:
        """Is there an output at all? Raises CannotWake if not."""

        def find() -> None:
            self._system.find(self._device)

        self._within(PATIENCE, Attempt(find))

    def _sound(self) -> None:
        """Open an output and play until nothing is wanted. Raises CannotWake when it cannot."""
        feed = self._opened()
        try:
            self._repeat(feed)
        finally:
            with suppress(CannotWake):  # a stream that does not close is counted, and the next one tried
                self._within(LET_GO, Attempt(feed.give_up))

    def _opened(self) -> Feed:
        """An open output: the one on its way, or a new one. Raises CannotWake where none opens in time."""
        if self._opening is None:
            self._stuck = [attempt for attempt in self._stuck if attempt.running]
            if len(self._stuck) >= HANGING:
                raise CannotWake(HANGS)
            new = Feed(self._system, self._device)
            self._opening = new, Attempt(partial(new.open, self._round, self._voice))
        feed, attempt = self._opening
        try:
            attempt.result(PATIENCE)
        except CannotHear as error:
            if time.monotonic() - feed.made_at > GIVE_UP:
                self._forget_opening()
            raise CannotWake(HANGS) from error
        except Exception:
            self._opening = None
            raise
        self._opening = None
        return feed

    def _forget_opening(self) -> None:
        """Nobody waits any longer for the output that is being opened: it closes itself when it is open."""
        if self._opening is not None:
            feed, attempt = self._opening
            self._opening = None
            self._stuck += [attempt, Attempt(feed.give_up)]

    def _within(self, seconds: float, attempt: Attempt[None]) -> None:
        """Wait for a call; one that has not returned after `seconds` is counted, and CannotWake raised."""
        try:
            attempt.result(seconds)
        except CannotHear as error:
            self._stuck.append(attempt)
            raise CannotWake(HANGS) from error

    def _repeat(self, feed: Feed) -> None:
        """Play what is wanted until nothing is. Raises CannotWake when the stream no longer plays."""
        playing = feed.first
        while (wanted := self._next(playing)) is not None:
            if playing is None or wanted != playing.round:
                playing = Playing(feed, wanted, self._voice)
            feed.check()
            if playing.newly_begun():
                self._told = None
                self._report(Started(feed.heard_at, wanted.numbers))
            playing.prepare()
            if playing.over:
                self._end_once(wanted)

    def _end_once(self, round_: Round) -> None:
        """A round that is played once is through, unless another is wanted by now."""
        with self._change:
            if self._round == round_:
                self._round = None

    def _next(self, playing: Playing | None) -> Round | None:
        """What is wanted: at once if it is another than what plays, else after `CHECK` s."""
        now = playing.round if playing else None
        with self._change:
            self._change.wait_for(lambda: self._closed or self._round != now, CHECK)
            return self._round
