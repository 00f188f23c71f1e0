"""Technical conditions beside deafness: since when each holds, and what is to be told of it. No clock, no device."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from beepwatch.hearing.technical import BY_CAUSE, Cause, Condition

Step: TypeAlias = Literal["told", "over"]


@dataclass(frozen=True, slots=True)
class Word:
    """A condition has held for as long as its row says (told), or is over."""

    step: Step
    condition: Condition
    detail: str
    """More about it, for the screen; "" for nothing."""


@dataclass(slots=True)
class _Standing:
    since: float
    last: float
    detail: str
    told: bool = False
    lasting: bool = True


class Conditions:
    """Times are readings of a clock that is never set, s."""

    def __init__(self) -> None:
        self._standing: dict[Cause, _Standing] = {}

    def report(self, cause: Cause, wrong: bool, now: float, detail: str = "") -> None:
        """It was looked at: whether it is `wrong` at `now`."""
        one = self._standing.get(cause)
        if wrong:
            if one is None:
                one = self._standing[cause] = _Standing(now, now, detail)
            one.last, one.detail, one.lasting = now, detail or one.detail, True
        elif one is not None:
            one.lasting = False

    def happened(self, cause: Cause, now: float, detail: str = "") -> None:
        """Something that does not last happened: it is over once its time to clear has gone."""
        self.report(cause, True, now, detail)
        self._standing[cause].lasting = False

    def holds(self, cause: Cause) -> bool:
        """Whether it was told and is not over."""
        one = self._standing.get(cause)
        return one is not None and one.told

    def look(self, now: float) -> list[Word]:
        """What is to be told at `now`."""
        words: list[Word] = []
        for cause, one in list(self._standing.items()):
            condition = BY_CAUSE[cause]
            if not one.told and (one.lasting or not condition.seconds) and now - one.since >= condition.seconds:
                one.told = True
                words.append(Word("told", condition, one.detail))
            if not one.lasting and now - one.last >= condition.clears:
                del self._standing[cause]
                if one.told:
                    words.append(Word("over", condition, one.detail))
        return words
