"""When the second process sounds, kills and starts anew: a few rules; time is an argument, and there is no process."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

SILENT = 7.0
"""s without a word of the first process until it counts as hung: with 2 s to sound that is under 10 (it speaks each
second; judgement)."""
START = 25.0
"""s from its start to its first word: 2 s on a laptop, 12 s where the sound system hangs (measured)."""
LEAST = 6.0
"""s that is sounded at least: whoever wakes must hear that something was wrong (judgement)."""
PAUSES = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0)
"""s until the next start, by how many starts in a row came to nothing."""
BAD_INPUT = 2
"""Exit code for what a person has to put right."""

Act: TypeAlias = Literal["start", "kill", "sound", "quiet", "over"]


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be done, and why in a few words; `code`: the exit code where it is over."""

    act: Act
    why: str = ""
    code: int = 0


class Watchdog:
    """Told what the first process says and does; `look` gives orders. Times are clock readings, s.

    insists: go on although the first start ends with bad input (a service has nobody who reads it).
    """

    def __init__(self, now: float, *, insists: bool = False) -> None:
        self._insists = insists
        self._stopping = False
        self._running = False
        self._next_start: float | None = now
        self._word = now  # its newest word, or its start
        self._ready = self._ever = False
        self._failed = 0
        self._first = now
        self._sounding: float | None = None
        self._answered = False
        self._orders: list[Order] = []

    @property
    def sounding(self) -> bool:
        """Whether it wakes now."""
        return self._sounding is not None

    def started(self, now: float) -> None:
        """The first process was started."""
        self._running, self._ready, self._word, self._next_start = True, False, now, None

    def hears(self, now: float) -> None:
        """It says that it processes sound."""
        self._ready = self._ever = True
        self._failed, self._word = 0, now

    def alarms(self, now: float) -> None:
        """It says that it cannot hear, and sounds for that itself."""
        self._ready, self._word = True, now

    def ended(self, now: float, code: int) -> None:
        """It has ended."""
        self._running = False
        if self._stopping or code == 0:
            self._orders.append(Order("over", code=max(code, 0)))
        elif code == BAD_INPUT and not self._ever and not self._insists:
            self._orders.append(Order("over", code=code))
        else:
            self._again(now)
            if self._ever or now - self._first > START:
                self._sound(now, f"the program that listens has ended (exit code {code})")

    def answered(self) -> None:
        """A person says "I am going": quiet until it was well again."""
        if self._sounding is not None:
            self._answered, self._sounding = True, None
            self._orders.append(Order("quiet", "answered"))

    def stop(self) -> None:
        """A person ends it all."""
        self._stopping = True
        if not self._running:
            self._orders.append(Order("over"))

    def look(self, now: float) -> list[Order]:
        """What is to be done at `now`."""
        if not self._stopping:
            self._look(now)
        orders, self._orders = self._orders, []
        return orders

    def _look(self, now: float) -> None:
        late = now - self._word
        if self._running and late > (SILENT if self._ready else START):
            self._sound(now, f"the program that listens has said nothing for {late:.0f} s")
            self._orders.append(Order("kill"))
            self._word = now
        elif self._ready and self._running and late < SILENT / 2:
            self._well(now)
        if self._next_start is not None and now >= self._next_start:
            self._next_start = None
            self._orders.append(Order("start"))

    def _well(self, now: float) -> None:
        self._answered = False
        if self._sounding is not None and now - self._sounding >= LEAST:
            self._sounding = None
            self._orders.append(Order("quiet", "the program listens again"))

    def _again(self, now: float) -> None:
        self._next_start = now + PAUSES[min(self._failed, len(PAUSES) - 1)]
        self._failed += 1

    def _sound(self, now: float, why: str) -> None:
        if self._sounding is None and not self._answered:
            self._sounding = now
            self._orders.append(Order("sound", why))
