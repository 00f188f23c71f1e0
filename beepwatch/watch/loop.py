"""The one loop: blocks in, events to the history, the screen and the waker; no fault ends it, only the person.

Three threads: the source's (the sound system calls it), the speaker's, and this one, which does all the rest. It waits
for the next block, for at most `STEP` s.
"""

import logging
from collections.abc import Callable
from functools import partial
from pathlib import Path

from beepwatch.board.state import Hearing
from beepwatch.channels.tone import OWN_SOUND
from beepwatch.events import AlarmEvent, Beep, Changed, Ended, Event, Noise, OwnSound, Raised
from beepwatch.hearing.repeats import Repeats
from beepwatch.hearing.technical import BEHIND, BY_CAUSE, CLOCK
from beepwatch.records.clipping import Clipper
from beepwatch.records.rows import Kind
from beepwatch.sources.block import Block
from beepwatch.waking.actions import Action, Note, Show
from beepwatch.waking.commands import Command
from beepwatch.watch.alerts import Alerts
from beepwatch.watch.caring import Caring
from beepwatch.watch.changes import Changes
from beepwatch.watch.console import Console
from beepwatch.watch.deafness import Deafness, Source
from beepwatch.watch.desk import Desk
from beepwatch.watch.ears import Ears, Listens, clipped, level, silent
from beepwatch.watch.evidence import Evidence
from beepwatch.watch.logbook import Logbook, Writes
from beepwatch.watch.minutes import Minutes
from beepwatch.watch.pausing import Pausing
from beepwatch.watch.posting import Posting
from beepwatch.watch.pulse import Pulse
from beepwatch.watch.rehearsing import Rehearsing
from beepwatch.watch.reports import Reports
from beepwatch.watch.summary import Summary
from beepwatch.watch.telling import Telling
from beepwatch.watch.timeline import Clock, Timeline
from beepwatch.watch.upkeep import Upkeep
from beepwatch.watch.waker import Wakes

STEP = 0.25
"""s that the loop waits for a block before it looks after the rest."""
PLAYED = 30.0
"""s at most that the end of a recording waits for its wake sounds to be played."""
LIFE = 3600.0
"""s between two lines that say that it still listens."""
LOOK = 0.19
"""s between two looks after the rest while blocks come: each second one of 0.1 s, which saves a sixth of the cost
(measured), and a key is answered soon enough."""
LOG = logging.getLogger("beepwatch")


class Watch:
    """Listens to a source until it ends or `stop` is called."""

    def __init__(
        self,
        source: Source,
        make: Callable[[], Listens],
        journal: Writes,
        waker: Wakes,
        console: Console,
        *,
        clock: Clock | None = None,
        length: float = 0.0,
        changes: Changes | None = None,
        posting: Posting | None = None,
        upkeep: Upkeep | None = None,
        folder: Path | None = None,
        pulse: Pulse | None = None,
        clipper: Clipper | None = None,
        minutes: Minutes | None = None,
        caring: Caring | None = None,
    ) -> None:
        """Begin the listening span; raises RecordsError if that cannot be written.

        posting: how it stands is put up there, for others to read.
        changes: the settings, looked after while it listens.
        upkeep: looks after what is neither hearing nor waking: power, disk, the microphone's place.
        pulse: gives signs of life to a process that watches over this one.
        minutes: gathers the hearing margin for the history; None: it is not kept.
        caring: says by day which care routine is due; None: nothing is said.
        clipper: saves a short sound of each alarm; None: no sound is kept.
        length: s of a recording that is not played in real time (see `Timeline`).
        folder: of the history, where a planned pause is kept; None: it is not.
        """
        self._source, self._waker, self._console = source, waker, console
        self._clock = clock or Clock()
        self._timeline = Timeline(self._clock, length)
        self._end = 0  # samples of the source so far
        place = None if source.live else lambda: self._end / source.rate
        self._telling = Telling(console, self._timeline, self._clock, place)
        kind: Kind = "household" if source.live else "recording"
        self._logbook = Logbook(journal, self._timeline, self._clock, source.name, kind)
        self._evidence = None if clipper is None else Evidence(clipper, self._logbook, self._timeline.wall)
        recall = None if self._evidence is None else self._evidence.recall
        self._ears = Ears(source.rate, source.channels, make, recall)
        self._deafness = Deafness(source, self._clock.ticks())
        self._repeats = Repeats(source.rate)
        self._alerts = Alerts(self._timeline, self._logbook, self._wake, self._telling.say, self._telling.warn)
        self._upkeep, self._pulse, self._minutes, self._caring = upkeep, pulse, minutes, caring
        if changes is not None and source.live:
            self._logbook.in_force(changes.snapshot())
        self._next_look = 0.0
        self.beat = 0
        """Steps of the loop so far: one that stands still is stuck."""
        self._stopped = False  # a plain value: it is set by a signal handler
        self._changes = changes
        self._posting = posting
        self._alive = self._clock.ticks()
        wall = self._timeline.wall_of_ticks
        self._pausing = Pausing(
            waker, self._logbook, console, self._carry_out, self._telling.say,
            wall=lambda: wall(self._clock.ticks()), folder=folder if source.live else None,
        )  # fmt: skip
        self._rehearsing = None if folder is None or not source.live else Rehearsing(
            waker, self._logbook, self._timeline, self._carry_out, self._telling.say,
            wall=lambda: wall(self._clock.ticks()), folder=folder,
        )  # fmt: skip
        self._desk = Desk(
            waker, self._carry_out, self._telling.say, self._logbook,
            pausing=self._pausing if source.live else None, posting=posting, wall=wall,
        )  # fmt: skip
        self._reports = Reports(waker, self._logbook, self._alerts, self._telling.say, self._telling.trouble)

    def stop(self) -> None:
        """End soon; may be called by a signal handler."""
        self._stopped = True

    def command(self, command: Command) -> None:
        """A person tells something; may be called from any thread, and returns at once."""
        self._desk.put(command)

    def press(self, key: bytes = b"\r") -> None:
        """A key was pressed at the terminal: any one answers an alarm; may be called from any thread."""
        self._desk.put(key)

    def tell(self, text: str) -> None:
        """One line for the screen; from any thread, and returns at once."""
        self._desk.put(text)

    def run(self) -> Summary:
        """Listen. Whatever fails meanwhile is told, logged and tried again."""
        while not self._stopped and not self._source.ended:
            self._guarded(self._step)
        self._guarded(self._last_words)
        if not self._source.live:
            self._play_out()
        return self._finish()

    def _guarded(self, step: Callable[[], None]) -> None:
        try:
            step()
        except Exception as error:  # the loop of a listener must go on; this is told and logged
            LOG.exception("a fault in the loop")
            self._telling.trouble("loop", f"a fault in the program itself ({type(error).__name__}: {error}); I go on")
            self._clock.sleep(STEP)

    def _step(self) -> None:
        block = self._source.take(STEP)
        if block is not None:
            self._hear(block)
        now = self._clock.ticks()
        if block is None or now >= self._next_look:
            self._next_look = now + LOOK
            self._look_after(now)
        self.beat += 1

    # ---------------------------------------------------------------- what is heard

    def _hear(self, block: Block) -> None:
        mute = silent(block)
        self._console.sound(level(block))
        if block.arrived is not None:
            jump = self._timeline.anchor(block.end / self._source.rate, block.arrived)
            if jump:
                self._telling.say(f"The computer's clock was set by {jump:+.1f} s.")
            if abs(jump) > CLOCK:
                self._alerts.conditions.happened("clock-set", self._clock.ticks(), f"by {jump:+.0f} s")
        self._deafness.arrived(self._clock.ticks(), mute, self._repeats.push(block.samples))
        if block.lost:
            self._lose(block)
        if self._upkeep is not None:
            self._upkeep.hear(block.samples)
        self._alerts.conditions.report("clipping", clipped(block), self._clock.ticks())
        self._end = block.end
        deaf = self._deafness.now
        self._take(self._ears.take(block, unheard=mute and deaf is not None and deaf.cause == "digital-silence"))
        self._note_ears(block)

    def _lose(self, block: Block) -> None:
        rate = self._source.rate
        seconds = block.lost / rate
        self._deafness.health.lost(self._clock.ticks(), seconds)
        if self._deafness.now is not None:
            return
        self._logbook.lose((block.start - block.lost) / rate, seconds)
        self._telling.trouble("lost", f"{seconds:.1f} s of sound were lost.")

    def _note_ears(self, block: Block) -> None:
        if self._ears.fault is not None and self._telling.trouble("ears", f"{self._ears.fault}; I begin anew."):
            LOG.error("the recogniser failed", exc_info=self._ears.error)
        now = self._clock.ticks()
        late = block.arrived is not None and now - block.arrived > BEHIND
        well = self._ears.fault is None and not late
        self._deafness.understood(now, well, block.arrived)
        if well and self._pulse is not None:
            self._pulse.heard()
        if well and self._posting is not None:
            self._posting.heard(self._timeline.wall_of_ticks(now))

    def _take(self, events: list[Event], wake: bool = True) -> None:
        for event in events:
            if isinstance(event, Beep):
                self._logbook.beep(event)
                self._console.beep(self._telling.stamp(event.onset), event)
            elif isinstance(event, Noise):
                self._console.noise(event)
                self._take_noise(event)
            elif isinstance(event, Raised | Changed | Ended):
                self._take_alarm(event, wake)

    def _take_noise(self, noise: Noise) -> None:
        if self._deafness.now is not None:
            return
        if self._upkeep is not None:
            self._upkeep.noise(noise)
        if self._minutes is not None:
            self._minutes.noise(noise, self._logbook)

    def _take_alarm(self, event: AlarmEvent, wake: bool) -> None:
        """First the sound and the page, then the disk, then the screen: what it has shown is in the history.

        A fault in one keeps none of the others.
        """
        actions: list[Action] = []
        if wake and not (self._changes is not None and self._changes.quiet(event)):
            self._guarded(lambda: actions.extend(self._waker.hear(event, self._clock.ticks())))
            self._guarded(self._post)
        self._guarded(lambda: self._logbook.alarm(event))
        self._guarded(lambda: self._telling.alarm(event))
        if self._evidence is not None:
            self._guarded(partial(self._evidence.alarm, event))
        self._guarded(lambda: self._carry_out(actions, bell=not isinstance(event, Ended)))

    def _carry_out(self, actions: list[Action], bell: bool = False) -> None:
        """Into the history, then on the screen."""
        for action in actions:
            if isinstance(action, Note):
                self._logbook.note(action)
        for action in actions:
            if isinstance(action, Show):
                self._console.block(action.text, bell)

    # ---------------------------------------------------------------- the rest

    def _look_after(self, now: float) -> None:
        self._guarded(lambda: self._people(now))
        self._carry_out(self._waker.tick(now))
        self._guarded(lambda: self._ears.own_sound(self._heard_of_us()))
        self._reports.look(self._telling.alarms)
        self._remind(now)
        self._settings(now)
        if self._source.live:
            self._alerts.deafness(self._deafness, now, self._end / self._source.rate)
            self._alerts.look(now)
            self._telling.trouble("microphone", self._source.trouble)
            if self._upkeep is not None:
                self._upkeep.look(now, self._deafness.health, self._alerts.conditions)
        if self._evidence is not None:
            for line in self._evidence.look(self._end / self._source.rate):
                self._telling.trouble("clips", line)
        if self._deafness.now is None:
            self._logbook.heard(self._end / self._source.rate)
        self._telling.trouble("history", self._logbook.fault, "It is kept in memory, and I try again.")
        full = self._logbook.fault or (self._upkeep.disk if self._upkeep is not None else None)
        self._alerts.conditions.report("disk-full", full is not None, now, full or "")
        if self._source.live and now - self._alive >= LIFE and self._deafness.now is None:
            self._alive = now
            if not self._waker.paused:
                self._telling.say("I listen.")
        deaf = self._deafness.now
        if self._pulse is not None:
            self._pulse.look(now, None if deaf is None else BY_CAUSE[deaf.cause].reason)
        self._console.refresh(now, hearing=self._deafness.now is None)
        self._post()

    def _heard_of_us(self) -> OwnSound | None:
        """What of our own sound may be in what is listened to: nothing in a recording."""
        return OWN_SOUND if self._source.live and self._waker.sounding else None

    def _remind(self, now: float) -> None:
        """Care routines that are due; not while something wakes somebody, or in a pause."""
        if self._caring is None or self._waker.waking or self._waker.paused:
            return
        for line, event in self._caring.look(now, self._timeline.wall_of_ticks(now)):
            self._telling.say(line)
            self._logbook.care(event)

    def _settings(self, now: float) -> None:
        """Take over what a person changed in the settings, and write down what holds since."""
        lines = [] if self._changes is None else self._changes.look(now)
        for line in lines:
            self._telling.say(line)
        if lines and self._changes is not None and self._source.live:
            self._logbook.in_force(self._changes.snapshot())

    def _people(self, now: float) -> None:
        """What people tell; a fault in it must not keep the hearing from being looked after."""
        self._desk.look(now)
        if self._rehearsing is not None:
            self._rehearsing.look(now, hearing=self._deafness.now is None)

    def _post(self) -> None:
        """Put up how it stands."""
        if self._posting is None:
            return
        now, deaf = self._clock.ticks(), self._deafness.now
        standing = [(one, self._timeline.wall(one.alarm.onset)) for one in self._waker.standing]
        well: Hearing = "listening" if self._pausing.until is None else "paused"
        self._posting.look(
            now,
            self._timeline.wall_of_ticks(now),
            standing,
            hearing=well if deaf is None else "deaf",
            why="" if deaf is None else BY_CAUSE[deaf.cause].reason,
            until=self._pausing.until,
            asked=self._waker.asked,
        )

    def _wake(self, event: AlarmEvent, now: float) -> None:
        """A technical alarm, for the waker."""
        self._carry_out(self._waker.hear(event, now), bell=isinstance(event, Raised))

    # ---------------------------------------------------------------- the end

    def _last_words(self) -> None:
        """What was still on its way; in a live room nobody is woken any more, as the person ends it."""
        self._take(self._ears.flush(), wake=not self._source.live)
        self._reports.look(self._telling.alarms)

    def _play_out(self) -> None:
        """A recording is over: wait for the wake sounds that are on their way."""
        until = self._clock.ticks() + PLAYED
        while self._waker.busy and not self._stopped and self._clock.ticks() < until:
            self._guarded(lambda: self._look_after(self._clock.ticks()))
            self._clock.sleep(STEP)

    def _finish(self) -> Summary:
        heard = self._end / self._source.rate
        if self._posting is not None:
            self._posting.ended(self._timeline.wall_of_ticks(self._clock.ticks()))
        if self._pulse is not None:
            self._pulse.stopping()
        self._console.close()
        self._guarded(lambda: self._reports.look(self._telling.alarms))
        clean = self._waker.close()
        if self._deafness.now is not None:
            heard = self._alerts.close(self._clock.ticks(), heard)
        if self._upkeep is not None:
            self._guarded(self._upkeep.close)
        if self._evidence is not None:
            clean = self._evidence.close() and clean
        if self._minutes is not None:
            self._minutes.write(self._logbook)
        self._pausing.close(self._clock.ticks())
        self._logbook.heard(heard, at_once=True)
        written = self._logbook.end(heard)
        clean = self._source.close() and clean
        lost = self._logbook.lost + self._logbook.unheard
        paused = self._logbook.paused
        return Summary(max(0.0, heard - lost - paused), lost, paused, self._telling.list(), written, clean)
