"""The hub as a way to wake somebody: done only when somebody at the broker took the call."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from threading import Thread

from beepwatch.board.board import Board
from beepwatch.channels.way import Alert, Tried
from beepwatch.hub import words
from beepwatch.hub.link import Link

WAIT = 5.0
"""s until the broker has to say that somebody took it (judgement: a home's network takes some 0.01 s)."""


class HubWay:
    """See `channels.way.Way`. report: fills a queue. clock: the loop's."""

    name = "hub"

    def __init__(
        self, link: Link, board: Board, report: Callable[[Tried], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._link, self._board, self._report, self._clock = link, board, report, clock

    def alert(self, alert: Alert) -> None:
        """See `Way`."""
        Thread(target=self._send, args=(alert,), name="hub-way", daemon=True).start()

    def quiet(self, numbers: tuple[int, ...]) -> None:
        """See `Way`: the retained topics say that it is over."""

    def close(self) -> None:
        """See `Way`."""
        self._link.close()

    def _send(self, alert: Alert) -> None:
        run = self._board.posted.state.run
        for number in alert.numbers:
            payload = words.call(alert, number, run, datetime.now(UTC))
            fault = self._link.publish("call", payload, WAIT)
            told = fault or "somebody at the hub took it"
            self._report(Tried(self.name, alert.to, number, not fault, told, self._clock()))
