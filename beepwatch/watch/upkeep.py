"""What `watch` looks after beside hearing and waking: the microphone's place and level, power, disk, the speaker."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import msgspec
import numpy as np
import numpy.typing as npt

from beepwatch.events import Noise
from beepwatch.hearing.health import Health
from beepwatch.hearing.margin import margin_db
from beepwatch.hearing.technical import DISK, MARGIN
from beepwatch.hearing.usual import Change, Usual, level_of
from beepwatch.sources.soundserver import Whereabouts
from beepwatch.watch.conditions import Conditions
from beepwatch.watch.lastresort import LastResort
from beepwatch.watch.power import Power, power
from beepwatch.watch.selftest import SelfTest

EACH = 5.0
"""s between two looks at power and disk."""
KEEP = 600.0
"""s between two times that the usual level is written down."""
QUIET = -130.0
"""dBFS below which a level is none: the digital silence of a muted microphone has its own rule."""
NAME = "usual.json"
EVENING = 20
"""o'clock at which one that runs for days tries the second way (judgement: before most people sleep)."""


class _Kept(msgspec.Struct):
    """What is kept of a microphone from night to night."""

    microphone: str
    seconds: list[float]


@dataclass(frozen=True, slots=True)
class World:
    """What is looked at; tests give their own."""

    power: Callable[[], Power | None] = power
    free: Callable[[Path], float] = lambda folder: shutil.disk_usage(folder).free
    wall: Callable[[], datetime] = lambda: datetime.now().astimezone()


@dataclass(frozen=True, slots=True)
class Helpers:
    """Who else looks after something; each may be left out."""

    asleep: Callable[[], str | None] = lambda: None
    """Why the computer may go to sleep; None where it is held awake."""
    muted: Callable[[], bool] = lambda: False
    """Whether the loudspeaker is muted."""
    alone: Callable[[], bool] = lambda: False
    """Whether the second process has gone."""
    missing: Callable[[], str | None] = lambda: None
    """Names of bedside computers that have fallen silent."""
    trial: Callable[[], None] = lambda: None
    """Try the second way, softly."""
    test: SelfTest | None = None
    resort: LastResort | None = None
    closing: tuple[Callable[[], None], ...] = ()
    """What is to be ended with the listening."""


class Upkeep:
    """Looks after one microphone and the computer round it. Times are clock readings, s.

    expected: (tone in Hz, level in dBFS) of the beep taught at this microphone; None: the margin is not known.
    """

    def __init__(
        self,
        folder: Path,
        microphone: str,
        expected: tuple[float, float] | None = None,
        *,
        place: Whereabouts | None = None,
        world: World | None = None,
        helpers: Helpers | None = None,
    ) -> None:
        self._folder, self._microphone, self._expected = folder, microphone, expected
        self._place, self._world, self._helpers = place, world or World(), helpers or Helpers()
        self._tried = self._world.wall().date()
        self._usual = Usual(self._kept())
        self._noises: list[Noise] = []
        self._noted = 0.0
        self._next = self._keep_at = -float("inf")
        self.disk: str | None = None
        """Why the history will soon not fit, in words; None while there is room."""

    def expect(self, beep: tuple[float, float] | None) -> None:
        """From now on the margin is of this beep, as `expected`."""
        self._expected = beep

    def hear(self, samples: npt.NDArray[np.float32]) -> None:
        """A block of sound, shape (n, channels)."""
        if self._helpers.test is not None:
            self._helpers.test.hear(samples)

    def noise(self, noise: Noise) -> None:
        """How loud the room is, as hearing tells it each 2 s."""
        self._noises.append(noise)

    def look(self, now: float, health: Health, conditions: Conditions) -> None:
        """Report what is wrong; `Deafness` and `Alerts` tell of it."""
        if self._place is not None and self._place.at:
            health.placed(self._place.at, self._place.right)
        for noise in self._noises:
            self._judge(noise, now, conditions)
        self._noises.clear()
        if now >= self._next:
            self._next = now + EACH
            self._power(now, conditions)
            self._disk()
            self._ask(now, conditions)
        missing = self._helpers.missing()
        conditions.report("bedside-gone", missing is not None, now, missing or "")
        self._test(now, conditions)
        if self._helpers.resort is not None:
            self._helpers.resort.look(now)
        if now >= self._keep_at:
            self._keep_at = now + KEEP
            self.keep()

    def keep(self) -> None:
        """Write down how loud the room usually is; what cannot be written is learnt anew."""
        if not self._usual.learnt:
            return
        kept = msgspec.json.encode(_Kept(self._microphone, self._usual.state))
        try:
            fresh = self._folder / f"{NAME}.new"
            fresh.write_bytes(kept)
            fresh.replace(self._folder / NAME)
        except OSError:
            self._keep_at = 0.0

    def close(self) -> None:
        """The end."""
        self.keep()
        for close in self._helpers.closing:
            close()
        if self._place is not None:
            self._place.close()

    def _judge(self, noise: Noise, now: float, conditions: Conditions) -> None:
        level = level_of(noise)
        if not level > QUIET:
            return
        seconds = min(max(noise.at - self._noted, 0.0), 10.0) if self._noted else 0.0
        self._noted = noise.at
        change: Change | None = self._usual.heard(level, seconds)
        conditions.report("gain-dropped", change == "dropped", now)
        if self._expected is None:
            conditions.report("room-louder", change == "louder", now)
            return
        tone, usual = self._expected
        margin = margin_db(usual, noise.near(tone))
        conditions.report("margin-low", margin < MARGIN, now, f"now {margin:.0f} dB")

    def _ask(self, now: float, conditions: Conditions) -> None:
        helpers, wall = self._helpers, self._world.wall()
        asleep = helpers.asleep()
        conditions.report("may-sleep", asleep is not None, now, asleep or "")
        conditions.report("speaker-muted", helpers.muted(), now)
        conditions.report("guard-gone", helpers.alone(), now)
        if wall.hour >= EVENING and self._tried != wall.date():  # one that runs for days tries it each evening
            self._tried = wall.date()
            helpers.trial()

    def _test(self, now: float, conditions: Conditions) -> None:
        found = None if self._helpers.test is None else self._helpers.test.look(now, self._world.wall())
        if found is not None:
            conditions.report("speaker-not-heard", not found.ok, now, found.text)

    def _power(self, now: float, conditions: Conditions) -> None:
        found = self._world.power()
        wrong = found is not None and found.battery
        conditions.report("mains-lost", wrong, now, found.detail if found is not None else "")

    def _disk(self) -> None:
        try:
            free = self._world.free(self._folder)
        except OSError:
            return  # the journal tells it
        self.disk = f"{free / 1e6:.0f} MB are free" if free < DISK else None

    def _kept(self) -> list[float]:
        try:
            kept = msgspec.json.decode((self._folder / NAME).read_bytes(), type=_Kept)
        except (OSError, msgspec.DecodeError):
            return []
        return kept.seconds if kept.microphone == self._microphone else []
