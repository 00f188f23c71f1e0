"""Whether a beep belongs to an alarm that is open, and whether it is one whole beep of it."""

import math
from collections.abc import Sequence

from beepwatch.events import Beep
from beepwatch.patterns import bursts
from beepwatch.patterns.episodes import Episode
from beepwatch.patterns.memory import WIDTH
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone

STRETCH = 1.6
"""A further beep of an open alarm may differ in length by this factor."""
APART = 0.8
"""The next beep begins this share of its length after the last one's onset, at least: the same beep heard at another
harmonic begins with it (judgement)."""

IN_STEP = 0.1
"""Pulses of an open alarm that ran together at another harmonic begin so near to the group's due time, s (judgement: as
much as a room may lengthen a pulse). Of a breath's beeps one in 20 to 60 comes so near by chance: nothing is hidden."""


def owner_of(episodes: Sequence[Episode], beep: Beep) -> Episode | None:
    """The open alarm that explains a beep; of several on one tone that whose beeps are most nearly as long."""
    own = [episode for episode in episodes if belongs(episode, beep)]
    return min(own, key=lambda episode: abs(math.log(beep.duration / episode.duration)), default=None)


def is_breath(owner: Episode | None, beep: Beep) -> bool:
    """Whether it is one whole beep of an open alarm of breaths, and so no piece of a long tone beside it."""
    return owner is not None and isinstance(owner.profile, Breaths) and is_whole(owner, beep)


def belongs(episode: Episode, beep: Beep) -> bool:
    """Whether an open alarm explains a beep: its tone, and no longer than its beeps may be."""
    profile = episode.profile
    if isinstance(profile, LongTone) or not episode.near(beep.frequency):
        return False
    if isinstance(profile, Bursts):
        pulse = beep.duration <= STRETCH * episode.duration
        main = abs(beep.frequency / episode.frequency - 1.0) <= 2 * WIDTH  # at a harmonic it may be another sounder
        due = main or episode.off_beat(beep.onset) <= IN_STEP
        return pulse or (due and bursts.run_together(profile, episode.duration, beep.duration))
    return beep.duration <= STRETCH * episode.duration


def is_whole(episode: Episode, beep: Beep) -> bool:
    """Whether a sound of an open alarm is one beep of it, and not a fragment or several run together.

    At another harmonic than usual it must come when a beep is due: else it is a note that happens to lie there.
    """
    usual = episode.duration
    if not usual / STRETCH <= beep.duration <= usual * STRETCH:
        return False
    if isinstance(episode.profile, Bursts):
        return beep.onset >= episode.newest
    in_step = episode.on_tone(beep.frequency) or episode.on_beat(beep.onset)
    return in_step and beep.onset - episode.newest >= APART * usual
