"""The page as a way to wake somebody: delivered is only what a paired page said that it shows."""

import time
from collections.abc import Callable
from threading import Thread

from beepwatch.board.board import Board
from beepwatch.channels.way import Alert, Tried
from beepwatch.errors import RecordsError
from beepwatch.page.pairing import Kind, Pairing
from beepwatch.page.watchers import Seen, Watchers
from beepwatch.page.wire import alarm_id

WAIT = 6.0
"""s that a page has to confirm: two of its own rounds (judgement)."""
BEDSIDE_WAIT = 9.0
"""s that a bedside computer has: its speaker opens, its microphone hears a pulse, and a word goes each 2 s."""
OLD = 6.0
"""s that a confirmation holds: a page says it again each four."""


class PageWay:
    """See `channels.way.Way`. The pages show and sound each alarm by the board, whoever is alerted; this watches
    whether any did, and tells the ladder, which goes on at once where none did.

    report: fills a queue. clock: the loop's. Where a device carries the name of the alert's caregiver, one of those
    has to confirm; else any.
    """

    name = "page"
    _kinds: tuple[Kind, ...] = ("phone", "bedside")
    _wait = WAIT
    _told = "shown on the page of"

    def __init__(
        self,
        board: Board,
        watchers: Watchers,
        pairing: Pairing,
        report: Callable[[Tried], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._board, self._watchers, self._pairing = board, watchers, pairing
        self._report, self._clock = report, clock

    def alert(self, alert: Alert) -> None:
        """See `Way`."""
        Thread(target=self._follow, args=(alert,), name="page-way", daemon=True).start()

    def quiet(self, numbers: tuple[int, ...]) -> None:
        """See `Way`: the board tells the pages."""

    def close(self) -> None:
        """See `Way`: the page's server is ended by itself."""

    def _follow(self, alert: Alert) -> None:
        """Wait for the pages, in a thread of its own."""
        for number in alert.numbers:
            seen = self._seen(number, alert.to)
            names = ", ".join(dict.fromkeys(f"{one.device}{'' if one.sounding else ' (sound off)'}" for one in seen))
            told = f"{self._told} {names}" if seen else self._why_not(alert.to)
            self._report(Tried(self.name, alert.to, number, bool(seen), told, self._clock()))

    def _seen(self, number: int, who: str) -> list[Seen]:
        """Fresh confirmations of pages in front; waits for the first."""
        wanted = self._wanted(who)
        until = time.monotonic() + self._wait
        while True:
            left = until - time.monotonic()
            alarm = alarm_id(self._board.posted.state.run, number)
            found = self._watchers.shown(alarm, max(0.0, left), since=time.monotonic() - OLD, numbers=wanted)
            if found or left <= 0:
                return found

    def _wanted(self, who: str) -> frozenset[int] | None:
        """Numbers of the caregiver's own devices; None: any will do."""
        try:
            mine = [one for one in self._pairing.devices() if one.revoked is None and one.kind in self._kinds]
        except RecordsError:
            return None
        own = frozenset(one.number for one in mine if one.name.casefold() == who.casefold())
        return own or (None if len(self._kinds) > 1 else frozenset(one.number for one in mine))

    def _why_not(self, who: str) -> str:
        return f"no page {f'of {who} ' if who and self._wanted(who) else ''}said that it shows the alarm"


class BedsideWay(PageWay):
    """A bedside computer: done once it sounds and, where it has a microphone, hears itself."""

    name = "bedside"
    _kinds = ("bedside",)
    _wait = BEDSIDE_WAIT
    _told = "sounds at the bedside of"

    def _seen(self, number: int, who: str) -> list[Seen]:
        """As for a page; where none is there, there is nothing to wait for, and the next step begins at once."""
        present, wanted = self._watchers.present(), self._wanted(who)
        there = present if wanted is None else present & wanted
        return super()._seen(number, who) if there else []

    def _why_not(self, who: str) -> str:
        return "no bedside computer said that it sounds"
