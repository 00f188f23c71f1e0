"""The waker for a recording that is heard faster than it was played: each alarm once, one after another."""

from queue import SimpleQueue

from beepwatch.channels.rounds import Round, render
from beepwatch.channels.speaker import Failed, Started
from beepwatch.channels.voice import Voice
from beepwatch.events import Alarm, AlarmEvent, Raised
from beepwatch.waking.actions import Action, Note, Show
from beepwatch.waking.commands import Command, Going
from beepwatch.waking.escalation import Standing
from beepwatch.waking.ladder import Ladder
from beepwatch.waking.messages import Messages
from beepwatch.waking.table import urgency, wakes
from beepwatch.watch.waker import Report, Sounds, drained

RENDER_RATE = 8_000
"""Hz: only lengths are measured at it."""


class Preview:
    """Plays for each alarm, once, what would wake somebody: tone, then message; the most urgent one first."""

    standing: tuple[Standing, ...] = ()
    asked: tuple[int, ...] = ()
    asks = paused = drilling = False

    def __init__(
        self,
        speaker: Sounds | None,
        reports: "SimpleQueue[Report]",
        messages: Messages,
        voice: Voice | None = None,
    ) -> None:
        self._speaker = speaker
        self._reports = reports
        self._messages = messages
        self._voice = voice
        self._waiting: list[tuple[tuple[int, int], Round]] = []
        self._playing: Round | None = None
        self._began: float | None = None

    @property
    def busy(self) -> bool:
        """See `Wakes`."""
        return self._playing is not None or bool(self._waiting)

    def hear(self, event: AlarmEvent, now: float) -> list[Action]:
        """See `Wakes`: an alarm that is new, or has a new name, is shown and waits for its turn."""
        alarm = event.alarm
        if not isinstance(event, Raised) and getattr(event, "was", None) is None:
            return []
        pattern = alarm.pattern if alarm.pattern in self._messages.patterns else "unknown"
        lines = self._messages.lines(pattern)
        shown: list[Action] = [Show(self._messages.screen(self._messages.title(pattern), *lines))]
        if self._speaker is None or not wakes(alarm.priority):
            return shown
        opening = len(lines) - len(self._messages.body(pattern))
        round_ = Round((alarm.number,), alarm.priority, lines, pattern, opening)
        self._waiting.append((urgency(alarm.pattern, alarm.priority), round_))
        self._go_on(now)
        return [*shown, Note(alarm.number, "woken", now)]

    def acknowledge(self, now: float) -> list[Action]:
        """A key: the round that plays is cut short, and the next one begins."""
        if self._playing is None:
            return []
        number = self._playing.numbers[0]
        self._stop()
        self._go_on(now)
        return [Note(number, "acknowledged", now)]

    @property
    def waking(self) -> bool:
        """See `Wakes`."""
        return self.busy

    @property
    def sounding(self) -> bool:
        """See `Wakes`."""
        return self.busy

    def tell(self, command: Command, now: float, until: str = "") -> list[Action]:
        """See `Wakes`: a recording is not paused."""
        return self.acknowledge(now) if isinstance(command, Going) else []

    def rehearse(self, alarm: Alarm, now: float) -> list[Action]:
        """See `Wakes`: not in a recording."""
        return []

    def end_drill(self, now: float) -> list[Action]:
        """See `Wakes`."""
        return []

    def tick(self, now: float) -> list[Action]:
        """See `Wakes`: a round that is through makes room for the next."""
        if self._playing is not None and self._began is not None:
            samples, _ = render(self._playing, self._voice, RENDER_RATE)
            if now >= self._began + len(samples) / RENDER_RATE:
                self._stop()
        self._go_on(now)
        return []

    def rename(self, messages: Messages) -> None:
        """See `Wakes`."""
        self._messages = messages
        if self._voice is not None:
            self._voice.prepare(messages.all_lines())

    def climb_by(self, ladder: Ladder) -> None:
        """A recording wakes nobody in turn."""

    def reports(self) -> list[Report]:
        """See `Wakes`. A speaker that fails ends the preview: there is nothing to wait for."""
        found = drained(self._reports)
        for report in found:
            if isinstance(report, Failed):
                self._waiting.clear()
                self._stop()
                self._speaker = None
            elif isinstance(report, Started) and self._began is None and self._is_played(report):
                self._began = report.at
        return found

    def close(self) -> bool:
        """See `Wakes`."""
        return self._speaker is None or self._speaker.close()

    def _is_played(self, report: Started) -> bool:
        return self._playing is not None and report.numbers == self._playing.numbers

    def _go_on(self, now: float) -> None:
        if self._playing is None and self._waiting and self._speaker is not None:
            self._waiting.sort(key=lambda waiting: waiting[0])
            self._playing = self._waiting.pop(0)[1]
            self._speaker.play(self._playing)

    def _stop(self) -> None:
        self._playing = self._began = None
        if self._speaker is not None:
            self._speaker.stop()
