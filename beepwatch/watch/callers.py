"""Who may be called in this household, as its settings have it now: ladder, rota, names and language."""

from collections.abc import Callable
from datetime import datetime

from beepwatch.settings.household import Household
from beepwatch.settings.ladder import duty_at, ladder_of, people_of
from beepwatch.settings.language import catalogue_of
from beepwatch.waking.ladder import Duty, Ladder
from beepwatch.waking.messages import Messages


def messages_of(home: Household) -> Messages:
    """The messages with the household's names, words and language. Raises InputError for a language of no use."""
    settings = home.settings
    names, words = settings.names, settings.words
    people = people_of(settings.ladder, settings.rota, names.caregiver, names.second)
    catalogue = catalogue_of(settings, home.folder)
    return Messages(
        names.caregiver, names.person, words.emergency, words.backup_plan, people=people, catalogue=catalogue
    )


class Callers:
    """The newest settings, for the waker.

    wall: local wall time of a clock reading. bedside: whether a computer beside the caregiver is paired.
    """

    def __init__(
        self, home: Household, wall: Callable[[float], datetime], bedside: Callable[[], bool] = lambda: False
    ) -> None:
        self.home = home
        self._bedside = bedside
        self._wall = wall

    @property
    def ladder(self) -> Ladder:
        """The ladder as it is climbed."""
        settings = self.home.settings
        second = bool(settings.names.second) or any(turn.second for turn in settings.rota)
        return ladder_of(settings.ladder, second, self._bedside())

    def duty(self, now: float) -> Duty:
        """Who is on duty at a clock reading."""
        settings = self.home.settings
        return duty_at(settings.rota, settings.names.caregiver, settings.names.second, self._wall(now))
