"""The planned pause of a running watch: taken from a command or from the file beside the history, ended by itself.

While it holds, the room is heard on: smoke and gas alarms wake as ever. What the device beeps is shown and kept and
wakes nobody, until the pause is over: then what beeps still wakes. The escalation counts the time by a clock that is
never set; the file, by which a pause survives a restart, has the hour.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from beepwatch.errors import BeepwatchError
from beepwatch.records.entries import PauseEnd
from beepwatch.records.planned import (
    PlannedPause,
    clear_pause,
    planned,
    read_pause,
    signature,
    write_pause,
)
from beepwatch.records.whole import Mark
from beepwatch.waking.actions import Action
from beepwatch.waking.commands import Pause, Resume
from beepwatch.watch.console import Console
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.waker import Wakes

EACH = 1.0
"""s between two looks at the file."""
REPEATED = 600.0
"""s after which a pause is said again, in large letters: whoever comes to the screen must not miss it (judgement)."""


class Pausing:
    """For the loop's thread. folder: of the history; None: no file. wall: the present, aware.

    carry_out: hands the waker's actions to screen and history. say: one line for the screen.
    """

    def __init__(
        self,
        waker: Wakes,
        logbook: Logbook,
        console: Console,
        carry_out: Callable[[list[Action]], None],
        say: Callable[[str], None],
        *,
        wall: Callable[[], datetime],
        folder: Path | None = None,
    ) -> None:
        self._waker, self._logbook, self._console = waker, logbook, console
        self._carry_out, self._say, self._wall, self._folder = carry_out, say, wall, folder
        self._now: PlannedPause | None = None
        self._mark: Mark | None = None
        self._next = self._again = 0.0

    @property
    def until(self) -> datetime | None:
        """When the pause ends; None while there is none."""
        return None if self._now is None else self._now.until

    def take(self, command: Pause | Resume, now: float) -> None:
        """A person plans a pause or ends it."""
        if isinstance(command, Resume):
            self._end(now, "person")
            return
        try:
            pause = planned(command.seconds, command.purpose, command.by, command.via, self._wall())
        except BeepwatchError as error:
            self._say(f"No pause: {error}.")
            return
        self._keep(pause)
        self._begin(pause, now)

    def look(self, now: float) -> None:
        """Take over what another terminal planned; tell that a pause is over, or holds on."""
        if self._now is not None and not self._waker.paused:
            self._end(now, "due")
        if now >= self._next:
            self._next = now + EACH
            self._look_at_file(now)
        if self._now is not None and now >= self._again:
            self._tell(self._now, now)

    def close(self, now: float) -> None:
        """The end of this run: the file keeps the pause for the next one; the history ends it here."""
        if self._now is not None:
            self._logbook.end_pause(now, "restart")

    def _look_at_file(self, now: float) -> None:
        if self._folder is None or (mark := signature(self._folder)) == self._mark:
            return
        self._mark = mark
        try:
            pause = read_pause(self._folder)
        except BeepwatchError as error:
            self._say(f"{error}.")
            pause = None
        if pause is None:
            self._end(now, "person")
        elif pause != self._now:
            self._take_over(pause, now)

    def _take_over(self, pause: PlannedPause, now: float) -> None:
        """What the file has: in force, over meanwhile, or not to be believed."""
        if pause.left(self._wall()) > 0:
            self._begin(pause, now)
            return
        self._say(f"The pause for {pause.purpose} until {pause.label} is over: I listen.")
        self._end(now, "due")
        self._forget()

    def _begin(self, pause: PlannedPause, now: float) -> None:
        seconds = pause.left(self._wall())
        self._now = pause
        command = Pause(seconds, pause.purpose, pause.by, pause.via)
        actions = self._waker.tell(command, now, pause.label)
        self._logbook.pause(pause.purpose, now, pause.until, pause.by)
        self._carry_out(actions)
        self._tell(pause, now)

    def _end(self, now: float, how: PauseEnd) -> None:
        if self._now is None:
            return
        purpose, self._now = self._now.purpose, None
        actions = self._waker.tell(Resume(by="", via=""), now)
        self._logbook.end_pause(now, how)
        self._forget()
        self._console.pause(None)
        self._say(f"I LISTEN AGAIN. The pause for {purpose} is over.")
        self._carry_out(actions)

    def _tell(self, pause: PlannedPause, now: float) -> None:
        self._again = now + REPEATED
        self._console.pause(pause.label)
        self._console.big("NOT LISTENING", f"until {pause.label}")
        who = f" ({pause.by})" if pause.by else ""
        self._say(f"NOT LISTENING until {pause.label}: {pause.purpose}{who}. Smoke and gas alarms still wake.")

    def _keep(self, pause: PlannedPause) -> None:
        if self._folder is None:
            return
        try:
            write_pause(self._folder, pause)
        except BeepwatchError as error:
            self._say(f"The pause would not survive a restart: {error}.")
        self._mark = signature(self._folder)

    def _forget(self) -> None:
        if self._folder is None:
            return
        try:
            clear_pause(self._folder)
        except BeepwatchError as error:
            self._say(f"{error}: remove it, or the pause comes back with a restart.")
        self._mark = signature(self._folder)
