"""A rehearsal's alarm: the taught beep, made again as a sound, through a recogniser of its own. Pure.

The sound stays in memory. Played aloud it could be taken for the device by whoever hears it, and by beepwatch itself.
"""

from datetime import datetime, timedelta

import numpy as np

from beepwatch.errors import InputError
from beepwatch.events import Alarm, Changed, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.settings.sounder import Sounder
from beepwatch.synthesis import Tone

WAKING_HOURS = (9, 20)
"""Hours of the day (from, before) in which a rehearsal needs nobody's choice (judgement)."""
MONTH = timedelta(days=28)
"""Between two rehearsals at least: an alarm that often proves a drill is answered as often as it proves true
(Bliss 1995)."""
LEVEL, NOISE = -30.0, -70.0
"""dBFS of the beeps and of the room round them: loud and quiet, for the waking is tried and not the hearing."""
RHYTHMS = ((4.0, 5.0, 6), (15.0, 3600.0, 1), (40.0, 60.0, 2))
"""(longest beep in s, s from beep to beep, beeps) of the device's alarms: each breath, each hour, each minute (as the
instructions of one family's device have it; common practice, no source)."""


def alarm_of(one: Sounder) -> Alarm:
    """What the recogniser makes of the taught beep in its alarm's rhythm. Raises InputError where it names nothing."""
    recognizer = Recognizer(tone=one.now)
    sound = _sound(one)
    events = [event for at in range(0, len(sound), RATE) for event in recognizer.push(sound[at : at + RATE])]
    events += recognizer.flush()
    named = [event.alarm for event in events if isinstance(event, Raised | Changed)]
    if not named:
        raise InputError(f"the taught beep {one.name} is taken for no alarm: teach it again with `beepwatch teach`")
    return named[-1]


def due(last: datetime | None, now: datetime) -> datetime | None:
    """When the next rehearsal may be, where it may not be now."""
    return last + MONTH if last is not None and now < last + MONTH else None


def at_night(now: datetime) -> bool:
    """Whether `now` (local) is outside the waking hours."""
    return not WAKING_HOURS[0] <= now.hour < WAKING_HOURS[1]


def _sound(one: Sounder) -> "np.typing.NDArray[np.float32]":
    """float32, shape (n,), `RATE` Hz: the beeps of the shortest rhythm that the beep fits in."""
    _, period, count = next((row for row in RHYTHMS if one.length <= row[0]), RHYTHMS[-1])
    harmonics = tuple(level if isinstance(level, float) else -60.0 for level in one.harmonics)
    step = min(period, 60.0)
    n = round((2.0 + count * (step + one.length)) * RATE)
    told = np.random.default_rng(1).normal(0.0, 10 ** (NOISE / 20) / np.sqrt(2), n)
    for number in range(count):
        told += Tone(2.0 + number * step, one.length, one.now, LEVEL, harmonics, ramp=0.01).at(0, n, RATE)
    return np.clip(told, -1, 1).astype(np.float32)
