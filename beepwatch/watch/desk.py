"""What people tell a running watch: from a queue that any thread may fill, to the waker, the screen and the history."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from queue import Empty, SimpleQueue
from typing import Protocol

from beepwatch.waking.actions import Action, Note
from beepwatch.waking.commands import Cause, Changed, Command, Found, Going, Noted, Pause, Resume
from beepwatch.watch.pausing import Pausing
from beepwatch.watch.posting import Posting
from beepwatch.watch.waker import Wakes

CAUSES: dict[bytes, Cause] = {b"1": "cable", b"2": "battery", b"3": "false-alarm", b"4": "other"}
"""Keys that answer the question what it was."""
CHANGED = b"c"
"""The key that says that the main battery is changed."""
KEYBOARD = "keyboard"
SETTLED = 2.0
"""s after an answer in which a further key says nothing: half asleep one presses twice (judgement)."""


class Keeps(Protocol):
    """What is needed of `Logbook`."""

    def row(self, number: int) -> int | None: ...  # noqa: D102
    def noted(self, noted: Noted, at: float) -> None: ...  # noqa: D102


class Desk:
    """Takes commands one after another, in the loop's thread.

    carry_out: hands the waker's actions to screen and history. say: one line for the screen. wall: the wall time of a
    clock reading.
    """

    def __init__(
        self,
        waker: Wakes,
        carry_out: Callable[[list[Action]], None],
        say: Callable[[str], None],
        logbook: Keeps,
        *,
        pausing: Pausing | None,
        posting: Posting | None,
        wall: Callable[[float], datetime],
    ) -> None:
        self._waker, self._carry_out, self._say, self._logbook = waker, carry_out, say, logbook
        self._pausing, self._posting, self._wall = pausing, posting, wall
        self._answered = -SETTLED
        self._waiting: SimpleQueue[Command | bytes | str] = SimpleQueue()

    def put(self, command: Command | bytes | str) -> None:
        """A command, a key of the keyboard (bytes) or a line to say (str); from any thread, and returns at once."""
        self._waiting.put(command)

    def look(self, now: float) -> None:
        """Do all that was told since."""
        while True:
            try:
                told = self._waiting.get_nowait()
            except Empty:
                break
            if isinstance(told, str):
                self._say(told)
                continue
            command = self._meant(told, now) if isinstance(told, bytes) else told
            if command is not None:
                self._do(command, now)
        if self._pausing is not None:
            self._pausing.look(now)

    def _meant(self, key: bytes, now: float) -> Command | None:
        """What a key says: any one answers while somebody is being woken."""
        if self._waker.waking:
            return Going(by="", via=KEYBOARD)
        if now - self._answered < SETTLED:
            return None
        if self._waker.asks and key in CAUSES:
            return Found(None, CAUSES[key], by="", via=KEYBOARD)
        return Changed(by="", via=KEYBOARD) if key.lower() == CHANGED else None

    def _do(self, command: Command, now: float) -> None:
        if isinstance(command, Pause | Resume):
            if self._pausing is not None:
                self._pausing.take(command, now)
            return
        if isinstance(command, Noted):
            self._note(command, now)
            return
        actions = self._waker.tell(command, now)
        notes = [action for action in actions if isinstance(action, Note)]
        self._carry_out(actions)  # into the history before it is said
        if isinstance(command, Going) and actions:
            self._answered = now
            self._say(f"Answered: {command.by or 'somebody'} is going.")
            if self._posting is not None:
                numbers = [note.number for note in notes if note.kind == "acknowledged"]
                self._posting.going(numbers, command.by, self._wall(now))
        elif isinstance(command, Found) and notes:
            self._say(f"Written down: it was {command.what}.")
        elif isinstance(command, Changed) and notes:
            self._say("Written down: the main battery is changed.")

    def _note(self, noted: Noted, now: float) -> None:
        """Into the history; where it answers the question what an alarm of tonight was, that is not asked any more."""
        asked = [number for number in self._waker.asked if self._logbook.row(number) == noted.alarm]
        if noted.what is not None and asked:
            self._do(Found(asked[0], noted.what, noted.by, noted.via), now)
            noted = replace(noted, what=None, changed=None)
        self._logbook.noted(noted, now)
