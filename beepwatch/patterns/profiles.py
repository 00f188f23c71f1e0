"""Profiles: what each pattern sounds like, one TOML file a pattern in `profiles/`, read once.

A profile is data only; four kinds of pattern exist, each with its finder: `breaths` (chains.py), `tone` (tones.py),
`bursts` (bursts.py) and `steady` (chains.py). Where a number comes from is said in its file.
"""

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError
from beepwatch.events import Priority

Span: TypeAlias = tuple[float, float]
"""Least and most, both inside."""


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a profile: a misspelt key is an error, never ignored."""


RASTER = 0.1
"""Of a pulse's time from onset to onset: the standards' tolerance (ISO 8201: 10 %)."""


ERROR = (0.01, 0.004, 0.06)
"""sd of hearing's error in a beep's length or onset, s: at 0 dB SNR and better, s more for each dB below, and at most
(measured in rooms, tests/bench/stages.py: half-second pulses 0.01-0.02 s at 0 dB, 0.045-0.06 s at -10 to -14 dB)."""


class Silence(_Part, frozen=True):
    """The alarm is over after max(periods x its period, seconds) without a beep that would have been heard."""

    periods: float
    seconds: float


class Tone(_Part, frozen=True):
    """Hz between which an untaught tone may carry the pattern."""

    lowest: float
    highest: float


class Tests(_Part, frozen=True):
    """How many tests a night everything else starts (evidence.py): with many foreign beeps about, with few,
    and on one known tone."""

    busy: float
    quiet: float
    known: float


class Doubt(_Part, frozen=True):
    """Evidence that an unlikely figure costs: nothing up to `free`, all of `cost` (nats) from `full` on.

    slowest: it holds for beeps that come at least so fast, one in so many s.
    """

    of: Literal["duty", "period", "length", "tone", "snr"]
    free: float
    full: float
    cost: float
    slowest: float = math.inf

    def price(self, value: float) -> float:
        """Nats that `value` costs, 0 to `cost`, straight between the two ends."""
        return self.cost * min(1.0, max(0.0, (value - self.free) / (self.full - self.free)))


@dataclass(frozen=True, slots=True)
class Figures:
    """What beeps that repeat came to. length, period: mean, s. tone: the lowest, Hz. snr: mean, dB. onsets: s."""

    length: float
    period: float
    tone: float
    snr: float
    onsets: Sequence[float]


class Clash(_Part, frozen=True):
    """Figures that another pattern's pulses have when they run together or go missing: they cost `cost` nats.

    What lies outside `length`, or off the raster, may be hearing's error: it takes off what a normal error of that size
    does (half its square over the variance).
    faint: dB SNR from which hearing would have told the pulses apart, so that nothing is to be feared.
    highest: Hz up to which the other pattern has its tone.
    raster: s of which all onsets are whole multiples apart, to RASTER of it; of any times when 0.
    """

    pattern: str
    length: Span
    period: Span
    cost: float
    faint: float = math.inf
    highest: float = math.inf
    raster: float = 0.0

    def price(self, heard: Figures) -> float:
        """Nats that beeps of these figures cost."""
        if heard.snr >= self.faint or heard.tone > self.highest:
            return 0.0
        if not self.period[0] <= heard.period <= self.period[1]:
            return 0.0
        error = min(ERROR[2], max(ERROR[0], ERROR[0] - ERROR[1] * heard.snr))
        beside = max(0.0, self.length[0] - heard.length, heard.length - self.length[1]) / error
        square = len(heard.onsets) * beside**2 + (self._off_raster(heard.onsets) / error) ** 2
        return max(0.0, self.cost - 0.5 * square)

    def _off_raster(self, onsets: Sequence[float]) -> float:
        """s by which the worst of the onsets is further from the raster than RASTER allows."""
        if not self.raster:
            return 0.0
        places = [(onset - onsets[0]) / self.raster for onset in onsets]
        return self.raster * max(0.0, max(abs(place - round(place)) for place in places) - RASTER)


class Fast(_Part, frozen=True):
    """Beeps that come faster than one each `period` s are named from the `beeps`-th on."""

    period: float
    beeps: int


class _Profile(_Part, frozen=True, tag_field="kind"):
    """What every pattern has: a name, the priority of IEC 60601-1-8, whose call it is."""

    name: str
    priority: Priority
    calls: Literal["device", "household", "other"]
    tone: Tone
    tests: Tests


class Breaths(_Profile, frozen=True, tag="breaths"):
    """Single beeps alike in length and tone that repeat as breaths do. Seconds."""

    length: Span
    period: Span
    pause: float
    silence: Silence
    fast: Fast
    doubt: tuple[Doubt, ...] = ()
    clash: tuple[Clash, ...] = ()


class LongTone(_Profile, frozen=True, tag="tone"):
    """One long tone, alone or repeated after a long period. Seconds.

    `early`: a known tone is named while it still sounds, once it has lasted this long; past `over` it loses the name.
    """

    length: Span
    period: Span
    due: int
    early: float | None = None
    over: float | None = None
    supersedes: tuple[str, ...] = ()
    doubt: tuple[Doubt, ...] = ()


class Bursts(_Profile, frozen=True, tag="bursts"):
    """Groups of pulses that are counted: `gaps` from a pulse's end to the next onset, `pauses` between groups; s."""

    pulse: Span
    gaps: tuple[Span, ...]
    pauses: tuple[Span, ...]
    slack: float
    bursts: int
    skipped: int
    silence: Silence


class Steady(_Profile, frozen=True, tag="steady"):
    """A regular beeping that fits nothing else. Seconds; `wander` relative."""

    length: Span
    period: Span
    beeps: int
    beeps_known: int
    wander: float
    taught: Priority
    silence: Silence


Profile: TypeAlias = Breaths | LongTone | Bursts | Steady


def read(text: str, origin: str) -> Profile:
    """One profile from TOML text; raises InputError, naming `origin`, for text that is no profile."""
    try:
        profile: Profile = msgspec.convert(tomllib.loads(text), Profile)
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise InputError(f"{origin} is not a profile of an alarm: {error}; compare it with its neighbours") from error
    return profile


def load(folder: Traversable) -> tuple[Profile, ...]:
    """Every *.toml of a folder, by name; raises InputError when one is bad or a name comes twice."""
    found = tuple(
        read(entry.read_text("utf-8"), entry.name)
        for entry in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if entry.name.endswith(".toml")
    )
    names = [profile.name for profile in found]
    if len(set(names)) < len(names):
        raise InputError(f"two profiles share a name among {', '.join(names)}: give each its own")
    return found


@cache
def packaged() -> tuple[Profile, ...]:
    """The profiles that come with the package."""
    return load(files("beepwatch.patterns") / "profiles")
