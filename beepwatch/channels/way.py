"""A way to wake somebody: what the ladder asks of each, whatever it is made of.

The speaker, a family's own command, a phone's page, a bedside computer and a hub are such ways. The ladder in the
settings names them (`by = ["speaker", "lamp"]`).
"""

from dataclasses import dataclass
from typing import Protocol

from beepwatch.waking.actions import Alert

__all__ = ["Alert", "Tried", "Way"]


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one try to reach somebody: for the history, and for the ladder, which hurries where one failed."""

    way: str
    """Name of the way."""
    who: str
    """The caregiver that it was for; "" where no name is known."""
    number: int
    """The alarm (`Alarm.number`); one report for each that the alert told of."""
    ok: bool
    """Whether it did its part, as far as can be known: a sound left, a command ended well, a page showed it."""
    detail: str
    """One plain line: why not, or what was reached; may be empty."""
    at: float
    """Reading of the loop's clock (`sources.clock.ticking`), s."""


class Way(Protocol):
    """Made with a `report: Callable[[Tried], None]` that only fills a queue and may be called from any thread.

    No method waits, and none raises: what fails is reported.
    """

    @property
    def name(self) -> str:
        """As the ladder names it."""

    def alert(self, alert: Alert) -> None:
        """Reach `alert.to`; go on as long as that is this way's nature, or until `quiet`. Again: told anew."""

    def quiet(self, numbers: tuple[int, ...]) -> None:
        """These alarms need nobody any more: somebody is going, or they are over."""

    def close(self) -> None:
        """End, soon; nothing of it may hold the process."""
