"""What came of waking: the reports of the speaker and of every other way, for screen, history and technical alarms."""

from collections.abc import Callable, Mapping

from beepwatch.channels.second import Trial
from beepwatch.channels.speaker import Failed
from beepwatch.channels.way import Tried
from beepwatch.waking.entry import DRILLED
from beepwatch.waking.ladder import SPEAKER
from beepwatch.watch.alerts import Alerts
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.waker import Wakes

CANNOT_HEAR = ("", "cannot-hear")


class Reports:
    """For the loop's thread. say: one line for the screen; trouble: a fault by its name (None: it is over)."""

    def __init__(
        self,
        waker: Wakes,
        logbook: Logbook,
        alerts: Alerts,
        say: Callable[[str], None],
        trouble: Callable[[str, str | None], bool],
    ) -> None:
        self._waker, self._logbook, self._alerts = waker, logbook, alerts
        self._say, self._trouble = say, trouble

    def look(self, alarms: Mapping[int, tuple[str, str]]) -> None:
        """Tell all that came since; alarms: (when it began, its pattern) by number."""
        for report in self._waker.reports():
            if isinstance(report, str):
                self._say(report)
            elif isinstance(report, Tried):
                self._tell_try(report)
            elif isinstance(report, Trial):
                self._alerts.tried(report)
            elif isinstance(report, Failed):
                self._trouble("speaker", f"I cannot wake anybody by sound: {report.text}")
                self._alerts.conditions.report("cannot-wake", True, report.at)
            else:
                if report.way == SPEAKER:
                    self._trouble("speaker", None)
                    self._alerts.conditions.report("cannot-wake", False, report.at)
                for number in self._logbook.sounded(report.numbers, report.at):
                    named = "the drill" if number <= DRILLED else alarms.get(number, CANNOT_HEAR)[1]
                    self._say(f"The wake sound has begun for {named}.")

    def _tell_try(self, tried: Tried) -> None:
        self._logbook.tried(tried)
        if tried.way != SPEAKER:
            whom = f" for {tried.who}" if tried.who else ""
            ended = "it worked" if tried.ok else f"IT FAILED: {tried.detail}"
            self._say(f"Tried {tried.way}{whom}: {ended}.")
