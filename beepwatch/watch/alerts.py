"""Technical alarms on their way to the waker, the screen and the history: what the loop does about its own troubles."""

from collections.abc import Callable

from beepwatch.channels.second import Trial
from beepwatch.events import Alarm, AlarmEvent, Ended, Raised
from beepwatch.hearing.technical import BY_CAUSE, Cause
from beepwatch.watch.conditions import Conditions
from beepwatch.watch.conditions import Word as ConditionWord
from beepwatch.watch.console import length
from beepwatch.watch.deafness import Deafness, Word, technical
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.timeline import Timeline


class Alerts:
    """Numbers technical alarms (below 0, apart from the recogniser's) and tells each when it begins and ends.

    hear: hands an alarm event to the waker. say, trouble: one line for the screen, trouble for what is wrong.
    """

    def __init__(
        self,
        timeline: Timeline,
        logbook: Logbook,
        hear: Callable[[AlarmEvent, float], None],
        say: Callable[[str], None],
        trouble: Callable[[str], None],
    ) -> None:
        self._timeline, self._logbook = timeline, logbook
        self._hear, self._say, self._trouble = hear, say, trouble
        self._count = 0
        self._open: dict[Cause, Alarm] = {}
        self._deaf: Alarm | None = None
        self.deaf_from = 0.0
        """Stream time at which the deafness that lasts began."""
        self.conditions = Conditions()

    def deafness(self, deafness: Deafness, now: float, heard: float) -> None:
        """Look at it and tell what there is to tell; heard: stream time up to which blocks came, s."""
        for word in deafness.look(now):
            self._tell_deafness(word, now, heard)

    def look(self, now: float) -> None:
        """Tell of the other conditions."""
        for word in self.conditions.look(now):
            self._tell(word, now)

    def tried(self, trial: Trial) -> None:
        """A way of waking was tried."""
        if trial.ok:
            self._say(trial.text)
        self.conditions.report("way-gone", not trial.ok, trial.at, trial.text)

    def close(self, now: float, heard: float) -> float:
        """The end, while it may be deaf: the gap is written. Return the stream time up to which all is accounted for.

        heard: as in `deafness`.
        """
        until = max(heard, self._timeline.stream(now))
        self._logbook.gap(self.deaf_from, until, self._reason)
        return until

    def _tell_deafness(self, word: Word, now: float, heard: float) -> None:
        deaf, row = word.deaf, BY_CAUSE[word.deaf.cause]
        if word.step == "told":
            self._reason = row.reason
            self.deaf_from = min(heard, self._timeline.stream(deaf.since))
            since = self._timeline.wall_of_ticks(deaf.since)
            self._trouble(f"I HAVE NOT HEARD THE ROOM since {since:%H:%M:%S}: {row.reason}.")
        elif word.step == "sounded":
            self._deaf = technical(self._next(), row, self._timeline.stream(now), self.deaf_from)
            self._logbook.technical(row.cause, self._deaf)
            self._hear(Raised(self._deaf.raised, self._deaf), now)
        else:
            self._logbook.gap(self.deaf_from, heard, row.reason)
            self._logbook.heard(heard, at_once=True)
            self._say(f"I HEAR AGAIN. I had not heard the room for {length(heard - self.deaf_from)}.")
            alarm, self._deaf = self._deaf, None
            if alarm is not None:
                self._logbook.technical_over(alarm.number, now)
                self._hear(Ended(self._timeline.stream(now), alarm), now)

    _reason = ""

    def _tell(self, word: ConditionWord, now: float) -> None:
        row, detail = word.condition, f": {word.detail}" if word.detail else ""
        if word.step == "over":
            self._say(f"Over: {row.reason}{detail}.")
            alarm = self._open.pop(row.cause, None)
            if alarm is not None:
                self._logbook.technical_over(alarm.number, now)
                self._hear(Ended(self._timeline.stream(now), alarm), now)
            return
        self._trouble(f"{row.reason[0].upper()}{row.reason[1:]}{detail}.")
        if row.sounded:
            at = self._timeline.stream(now)
            self._open[row.cause] = technical(self._next(), row, at, at, word.detail)
            self._logbook.technical(row.cause, self._open[row.cause])
            self._hear(Raised(at, self._open[row.cause]), now)

    def _next(self) -> int:
        self._count -= 1
        return self._count
