"""A routine as a frozen value, with the question that arms it. Pure."""

from dataclasses import dataclass

BATTERY = "battery"
EXIT_SITE = "exit-site"
SHOWN = "as your clinic showed you"


@dataclass(frozen=True, slots=True)
class Routine:
    """One routine of a household. Its rhythm is in days, or in hours of use."""

    name: str
    title: str
    days: int | None = None
    """From one time to the next; of a supply: how long it lasts."""
    hours: float | None = None
    """Hours of use that a battery lasts."""
    hours_a_day: float | None = None
    """Hours of use a day; None: not told, so nothing can be forecast."""
    ahead: int = 0
    """Days before it is due on which a word is said."""
    supply: bool = False
    """Whether it is to be ordered `ahead` days before it is used up."""
    armed: bool = False
    """Whether the family said that its own clinic says this. Nothing is reminded of before."""

    @property
    def span(self) -> float | None:
        """Days from one time to the next; None where they cannot be told."""
        if self.hours is None:
            return None if self.days is None else float(self.days)
        return None if not self.hours_a_day else self.hours / self.hours_a_day

    @property
    def says(self) -> str:
        """What the clinic should have said, as it is asked."""
        if self.hours is not None:
            return f"the main battery is changed after about {self.hours:g} hours of use"
        if self.supply:
            return f"a supply ({self.title}) lasts {_days(self.days)} and is ordered {_days(self.ahead)} before"
        early = ", or earlier when the dressing is damp or dirty" if self.name == EXIT_SITE else ""
        return f"{self.title} is done each {_days(self.days)}{early}"


def _days(count: int | None) -> str:
    return "day" if count == 1 else f"{count} days"
