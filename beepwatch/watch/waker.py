"""From alarm events to sounds: the escalation, the speaker and all other ways behind one face.

`Waker` is for the night: again and again until a person answers. A recording that is heard faster than it was played
has a waker of its own: see `preview`.
"""

from collections.abc import Callable, Sequence
from queue import Empty, SimpleQueue
from typing import Protocol, TypeAlias

from beepwatch.channels.rounds import Round
from beepwatch.channels.second import Trial
from beepwatch.channels.speaker import Failed, SpeakerReport, Started
from beepwatch.channels.voice import Voice
from beepwatch.channels.way import Tried
from beepwatch.events import Alarm, AlarmEvent
from beepwatch.waking.actions import Action, Note, Quiet, Show
from beepwatch.waking.commands import Changed, Command, Found, Going, Noted, Pause
from beepwatch.waking.escalation import Escalation, Standing
from beepwatch.waking.ladder import Duty, Ladder
from beepwatch.waking.messages import Messages
from beepwatch.watch.ways import Spoken, Ways

Report: TypeAlias = SpeakerReport | Tried | Trial | str
"""What the threads of the ways and of the voice say: a report, or one plain line for the screen."""


class Sounds(Protocol):
    """What is needed of `Speaker`."""

    def perform(self, actions: Sequence[Action]) -> None:
        """Carry out `Sound`, `Say` and `Quiet`."""

    def play(self, round_: Round) -> None:
        """Sound this round until told otherwise."""

    def stop(self) -> None:
        """Be silent."""

    def close(self, seconds: float = ...) -> bool:
        """End; False if the sound system hangs."""


class Wakes(Protocol):
    """What the loop asks of a waker; each method returns what is for the screen and the history."""

    @property
    def busy(self) -> bool:
        """Whether something is still to be played before a recording's end is the end."""

    @property
    def standing(self) -> tuple[Standing, ...]:
        """How each alarm that is not over stands; empty where none is kept."""

    def hear(self, event: AlarmEvent, now: float) -> list[Action]:
        """Take one word of the recogniser."""

    @property
    def waking(self) -> bool:
        """Whether somebody is being woken: then any key answers."""

    @property
    def sounding(self) -> bool:
        """Does the speaker wake?"""

    @property
    def asked(self) -> tuple[int, ...]:
        """Numbers of the alarms of which it is asked what they were."""

    @property
    def asks(self) -> bool:
        """Whether the screen asks what an alarm was."""

    @property
    def paused(self) -> bool:
        """Whether a planned pause holds."""

    @property
    def drilling(self) -> bool:
        """Whether a rehearsal wakes."""

    def tell(self, command: Command, now: float, until: str = "") -> list[Action]:
        """A person told something; until: the end of a pause, as a person reads it."""

    def rehearse(self, alarm: Alarm, now: float) -> list[Action]:
        """Wake as for this alarm, as a drill; [] where that cannot be now."""

    def end_drill(self, now: float) -> list[Action]:
        """Nobody answers a drill: it is over."""

    def tick(self, now: float) -> list[Action]:
        """Time went by."""

    def rename(self, messages: Messages) -> None:
        """Take other names for what is told from now on."""

    def reports(self) -> list[Report]:
        """What the speaker told since the last call."""

    def close(self) -> bool:
        """Be silent and end; False if the sound system hangs."""


class Waker:
    """Wakes until a person answers. speaker, ways: None to show only. reports: filled by the speaker and the ways."""

    busy = False

    def __init__(
        self,
        speaker: Sounds | None,
        reports: "SimpleQueue[Report]",
        messages: Messages,
        voice: Voice | None = None,
        *,
        ways: Ways | None = None,
        ladder: Ladder | None = None,
        duty: Callable[[float], Duty] = lambda now: Duty(),
    ) -> None:
        self._speaker = speaker
        self._reports = reports
        self._voice = voice
        self._ways = ways
        self._spoken = Spoken()
        self._escalation = Escalation(messages, ladder, duty)

    @property
    def standing(self) -> tuple[Standing, ...]:
        """See `Wakes`."""
        return self._escalation.standing

    def hear(self, event: AlarmEvent, now: float) -> list[Action]:
        """See `Wakes`."""
        return self._perform(self._escalation.hear(event, now))

    @property
    def waking(self) -> bool:
        """See `Wakes`."""
        return self._escalation.waking

    @property
    def sounding(self) -> bool:
        """See `Wakes`."""
        return self._speaker is not None and self._escalation.sounding

    @property
    def asked(self) -> tuple[int, ...]:
        """See `Wakes`."""
        return self._escalation.asked

    @property
    def asks(self) -> bool:
        """See `Wakes`."""
        return self._escalation.asks

    @property
    def paused(self) -> bool:
        """See `Wakes`."""
        return self._escalation.paused

    @property
    def drilling(self) -> bool:
        """See `Wakes`."""
        return self._escalation.drilling

    def tell(self, command: Command, now: float, until: str = "") -> list[Action]:
        """See `Wakes`."""
        core, by, via = self._escalation, command.by, command.via
        if isinstance(command, Going):
            return self._perform(core.acknowledge(now, command.alarm, by, via))
        if isinstance(command, Found):
            return self._perform(core.found(now, command.alarm, command.what, by, via))
        if isinstance(command, Changed):
            return self._perform(core.changed(now, by, via))
        if isinstance(command, Pause):
            return self._perform(core.pause(now, now + command.seconds, until))
        if isinstance(command, Noted):  # nobody is woken or quieted by it
            return []
        return self._perform(core.resume(now))

    def rehearse(self, alarm: Alarm, now: float) -> list[Action]:
        """See `Wakes`."""
        return self._perform(self._escalation.rehearse(alarm, now))

    def end_drill(self, now: float) -> list[Action]:
        """See `Wakes`."""
        return self._perform(self._escalation.end_drill(now))

    def tick(self, now: float) -> list[Action]:
        """See `Wakes`."""
        return self._perform(self._escalation.tick(now))

    def rename(self, messages: Messages) -> None:
        """See `Wakes`."""
        self._escalation.rename(messages)
        if self._voice is not None:
            self._voice.prepare(messages.all_lines())

    def climb_by(self, ladder: Ladder) -> None:
        """Take another ladder, from the next step on."""
        self._escalation.climb_by(ladder)

    def reports(self) -> list[Report]:
        """See `Wakes`; a way that failed has the ladder's next step begin with the next `tick`."""
        found: list[Report] = []
        for report in drained(self._reports):
            found.append(report)
            if isinstance(report, Started | Failed):
                found += self._spoken.tries(report, self._escalation.heard_by)
        for report in found:
            if isinstance(report, Tried) and not report.ok:
                self._escalation.fail(report.way, report.number)
        return found

    def close(self) -> bool:
        """See `Wakes`."""
        if self._ways is not None:
            self._ways.close()
        return self._speaker is None or self._speaker.close()

    def _perform(self, actions: list[Action]) -> list[Action]:
        if self._speaker is not None:
            self._spoken.perform(actions)
            self._speaker.perform(actions)
        if any(isinstance(action, Quiet) for action in actions):
            self._spoken.stopped()
        if self._ways is not None:
            self._ways.perform(actions)
        return [action for action in actions if isinstance(action, Show | Note)]


def drained(reports: "SimpleQueue[Report]") -> list[Report]:
    """All that is in the queue now."""
    found: list[Report] = []
    while True:
        try:
            found.append(reports.get_nowait())
        except Empty:
            return found
