"""A house for tests of the page: a real server on loopback, a board in the test's hand, phones that pair."""

import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from beepwatch.board.board import Board
from beepwatch.board.state import Happened, OpenAlarm, State
from beepwatch.page.app import View
from beepwatch.page.names import Place
from beepwatch.page.server import PageServer
from beepwatch.waking.commands import Command, Going
from beepwatch.waking.messages import Messages

NIGHT = datetime(2026, 3, 1, 2, 14, tzinfo=UTC)
MESSAGES = Messages("Anna", "Sam", "1 1 2", "")
REST = State(
    hearing="listening", since=NIGHT, heard_at=NIGHT, levels=tuple(-70.0 + i % 5 for i in range(48)), margin=23.0,
    events=(Happened(NIGHT, "I listen."),), caution=MESSAGES.caution, run="r1",
)  # fmt: skip


def open_alarm(number: int = 1, pattern: str = "lead-disconnect", drill: bool = False) -> OpenAlarm:
    """An alarm that wakes."""
    return OpenAlarm(
        number, pattern, "high", MESSAGES.title(pattern), MESSAGES.lines(pattern), NIGHT, "waking",
        "3 beeps of 1.2 s, each 3.2 s, at 2730 Hz", drill=drill,
    )  # fmt: skip


class House:
    """The page's server with a loop that is only a board: it answers commands as `watch` would."""

    def __init__(self, folder: Path, port: int = 0, host: str = "127.0.0.1", views: Sequence[View] = ()) -> None:
        self.folder = folder
        self.board = Board()
        self.commands: list[Command] = []
        self.said: list[str] = []
        self.state = REST
        self.post()
        place = Place(host, port)
        self.page = PageServer(place, folder, self.board, self.command, say=self.said.append, views=views)

    def post(self, **changes: object) -> None:
        """Put up the state, changed."""
        self.state = replace(self.state, heard_at=datetime.now(UTC), **changes)  # type: ignore[arg-type]  # fields by name
        self.board.post(self.state)

    def command(self, command: Command) -> None:
        """What the loop does with it, as far as the page sees."""
        self.commands.append(command)
        if isinstance(command, Going):
            alarms = tuple(
                replace(one, stage="answered", going=command.by) if one.number == command.alarm else one
                for one in self.state.alarms
            )
            self.post(alarms=alarms)

    def code(self) -> str:
        """A pairing code."""
        return self.page.pairing.new_code(time.time())

    def url(self, path: str = "/") -> str:
        """Where the page is."""
        return f"https://127.0.0.1:{self.page.port}{path}"

    def close(self) -> None:
        """End the server."""
        with suppress(OSError):
            assert self.page.close()


class Beating(House):
    """A house whose loop posts each half second, until told to hang."""

    def __init__(self, folder: Path, port: int = 0, views: Sequence[View] = ()) -> None:
        super().__init__(folder, port, views=views)
        self._over = threading.Event()
        self._beat = threading.Thread(target=self._run, daemon=True)
        self._beat.start()
        self.page.start()

    def hang(self) -> None:
        """The loop posts no more."""
        self._over.set()
        self._beat.join(5)

    def close(self) -> None:
        """End both."""
        self.hang()
        super().close()

    def _run(self) -> None:
        while not self._over.wait(0.5):
            self.post()
