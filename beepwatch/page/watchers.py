"""Which pages said that they show an alarm: what makes a message by page delivered. Any thread may use it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from threading import Condition

SILENT = 6.0
"""s without a word of a bedside computer (it sends one each 2 s) until it is missed: somebody is told within 10 s."""
KEPT = 200
"""Confirmations remembered: far more than alarms are ever open."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One page's word about one alarm."""

    alarm: str
    """As `wire.alarm_id`."""
    device: str
    """Name of the device."""
    number: int
    """And its number."""
    visible: bool
    """The page was in front and the screen on, as far as the browser tells."""
    sounding: bool
    """Its sound was unlocked, so it sounded; how loud the phone is set, no page can know."""
    at: float
    """Clock reading, s."""


class Watchers:
    """Confirmations of shown alarms. ticks: a clock that is never set, s."""

    def __init__(self, ticks: Callable[[], float]) -> None:
        self._ticks = ticks
        self._news = Condition()
        self._seen: dict[tuple[str, int], Seen] = {}
        self._there: dict[int, tuple[str, float]] = {}

    def confirm(self, alarm: str, device: str, number: int, *, visible: bool, sounding: bool) -> None:
        """A page says that it shows this alarm."""
        with self._news:
            self._seen[alarm, number] = Seen(alarm, device, number, visible, sounding, self._ticks())
            while len(self._seen) > KEPT:
                self._seen.pop(next(iter(self._seen)))
            self._news.notify_all()

    def there(self, device: str, number: int) -> None:
        """A bedside computer says that it is there."""
        with self._news:
            self._there[number] = (device, self._ticks())

    def left(self, number: int) -> None:
        """It was ended by a person, or shut out: it is not missed any more."""
        with self._news:
            self._there.pop(number, None)

    def missing(self) -> str | None:
        """Names of the bedside computers that were there and have fallen silent; None where none has."""
        with self._news:
            now = self._ticks()
            names = [name for name, at in self._there.values() if now - at > SILENT]
        return ", ".join(names) or None

    def present(self) -> frozenset[int]:
        """Numbers of the bedside computers that are there now."""
        with self._news:
            now = self._ticks()
            return frozenset(number for number, (_, at) in self._there.items() if now - at <= SILENT)

    def of(self, alarm: str) -> list[Seen]:
        """What pages said of this alarm."""
        with self._news:
            return [one for one in self._seen.values() if one.alarm == alarm]

    def shown(
        self, alarm: str, timeout: float, since: float = -math.inf, numbers: frozenset[int] | None = None
    ) -> list[Seen]:
        """Those that show it in front of a person; waits up to `timeout` s for the first. Empty: none did.

        since: no word before this reading counts. numbers: of the devices that count (None: all).
        """

        def found() -> list[Seen]:
            return [
                one
                for one in self._seen.values()
                if one.alarm == alarm and one.visible and one.at >= since and (numbers is None or one.number in numbers)
            ]

        with self._news:
            self._news.wait_for(lambda: bool(found()), timeout)
            return found()
