"""A household's routines, from its settings. Pure."""

from beepwatch.care.routine import BATTERY, EXIT_SITE, Routine
from beepwatch.settings.model import Settings


def routines_of(settings: Settings) -> tuple[Routine, ...]:
    """The main battery, the exit site, then the family's own in their order."""
    care = settings.care
    battery = Routine(
        BATTERY, "The change of the main battery", hours=care.battery_hours, hours_a_day=care.hours_a_day,
        ahead=care.battery_ahead, armed=care.battery == "yes",
    )  # fmt: skip
    site = Routine(EXIT_SITE, "Exit-site care", days=care.exit_site_days, armed=care.exit_site == "yes")
    own = (
        Routine(
            one.name, one.title or one.name, days=one.days, ahead=one.lead, supply=one.lead > 0,
            armed=one.clinic == "yes",
        )
        for one in settings.routine
    )  # fmt: skip
    return (battery, site, *own)
