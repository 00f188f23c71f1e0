"""The speaker with a second way behind it: what the speaker cannot sound, the other does, until the speaker can."""

import time
from collections.abc import Callable, Sequence
from threading import Timer

from beepwatch.channels.rounds import Round
from beepwatch.channels.second import SecondWay
from beepwatch.channels.speaker import Failed, Speaker, SpeakerReport
from beepwatch.waking.actions import Action, Quiet, Remind, Say, Sound

SETTLED = 3.0
"""s that the speaker has to sound, once it had failed, until the second way is silent: a stream that opens, but takes
nothing, is known after 1.5 s (see `feed.STALL`; measured: a suspended sink takes the first samples)."""


class Backed:
    """As `Speaker`. hangs: whether the sound server hangs, as far as the microphone knows: then both begin at once."""

    def __init__(
        self, speaker: Callable[[Callable[[SpeakerReport], None]], Speaker], second: SecondWay,
        report: Callable[[SpeakerReport], None], hangs: Callable[[], bool] = lambda: False,
    ) -> None:  # fmt: skip
        """speaker: makes it, given what it is to report to."""
        self._second, self._report, self._hangs = second, report, hangs
        self._round: Round | None = None
        self._failing = False
        self._began: float | None = None
        self._speaker = speaker(self._heard)

    def perform(self, actions: Sequence[Action]) -> None:
        """See `Speaker`."""
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

    def play(self, round_: Round) -> None:
        """See `Speaker`; a reminder is not worth the second way, which repeats until it is stopped."""
        self._round = None if round_.once else round_
        self._speaker.play(round_)
        if not round_.once and (self._failing or self._hangs()):
            self._second.play(round_)

    def stop(self) -> None:
        """See `Speaker`."""
        self._round = None
        self._speaker.stop()
        self._second.stop()

    def close(self, seconds: float = 2.0) -> bool:
        """See `Speaker`."""
        self._round = None
        self._second.close()
        return self._speaker.close(seconds)

    def trial(self) -> None:
        """Try the second way, softly."""
        self._second.trial()

    def _heard(self, report: SpeakerReport) -> None:
        """What the speaker reports, in its thread."""
        round_ = self._round
        self._began = None if isinstance(report, Failed) else time.monotonic()
        if self._began is None:
            self._failing = True
            if round_ is not None:
                self._second.play(round_)
        elif self._failing:
            Timer(SETTLED, self._settle, (self._began,)).start()
        self._report(report)

    def _settle(self, began: float) -> None:
        """It has sounded since `began`, unless it failed meanwhile: then the second way goes on."""
        if self._began == began:
            self._failing = False
            self._second.stop()
