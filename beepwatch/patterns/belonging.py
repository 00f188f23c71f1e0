"""Whether a beep belongs to an alarm that is open, and whether it is one whole beep of it."""

from beepwatch.events import Beep
from beepwatch.patterns.episodes import Episode
from beepwatch.patterns.profiles import Bursts, LongTone

STRETCH = 1.6
"""A further beep of an open alarm may differ in length by this factor."""


def belongs(episode: Episode, beep: Beep) -> bool:
    """Whether an open alarm explains a beep: its tone, and no longer than its beeps may be."""
    profile = episode.profile
    if isinstance(profile, LongTone) or not episode.near(beep.frequency):
        return False
    if isinstance(profile, Bursts):
        group = sum(gap[1] for gap in profile.gaps) + profile.pulse[1] * (len(profile.gaps) + 1)
        return beep.duration <= 1.2 * group
    return beep.duration <= STRETCH * episode.duration


def is_whole(episode: Episode, beep: Beep) -> bool:
    """Whether a sound of an open alarm is one beep of it, and not a fragment or several run together."""
    usual = episode.duration
    if not usual / STRETCH <= beep.duration <= usual * STRETCH:
        return False
    apart = 0.0 if isinstance(episode.profile, Bursts) else 0.5 * (episode.period or 0.0)
    return beep.onset - episode.newest >= apart
