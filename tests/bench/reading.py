"""The matcher's running hypotheses, read as it goes: those far below the bound that wakes as well."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from beepwatch.events import AlarmEvent, Changed, Heard, Raised
from beepwatch.patterns import Matcher, chains, folded, tones
from beepwatch.patterns.batteries import Batteries
from beepwatch.patterns.bursts import Line
from beepwatch.patterns.episodes import RETURN, Episode
from beepwatch.patterns.matcher import LEAST
from beepwatch.patterns.memory import RATIOS, Note, fold
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Profile, Steady, packaged
from beepwatch.patterns.tones import LongBeep
from tests.bench.nights import by_time

LOWEST = 14.0
"""Nats below the bound at which a hypothesis is no longer read."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One hypothesis at one time."""

    at: float
    pattern: str
    frequency: float
    excess: float
    """Its evidence over the bound, nats."""
    limit: float
    """The bound, nats."""
    known: bool


class Read(Matcher):
    """A matcher whose running hypotheses are kept."""

    def __init__(self, tone: float | None) -> None:
        super().__init__(tone)
        self.readings: list[Reading] = []
        long = tuple(profile for profile in packaged() if isinstance(profile, LongTone))
        self._batteries = _ReadBatteries(long, self._steady[0], self._book, self._judge)
        self._batteries.readings = self.readings

    def hear(self, event: Heard) -> list[AlarmEvent]:
        """As ever; and how sure the alarms that are open have become since."""
        out = super().hear(event)
        for one in out:
            if isinstance(one, Raised | Changed):
                self._told(one.at, next((e for e in self._book.open if e.number == one.alarm.number), None))
        return out

    def _told(self, at: float, episode: Episode | None) -> None:
        if episode is not None and not isinstance(episode.profile, Steady):
            weighed = episode.weighed
            excess, name = weighed.ratio - weighed.limit, episode.profile.name
            self.readings.append(Reading(at, name, episode.frequency, excess, weighed.limit, weighed.known))

    def _keep(self, profile: Profile, note: Note, ratio: float, known: bool) -> None:
        beep = note.beep
        limit = self._judge.limit(profile, beep.frequency, beep.known, known)
        self.readings.append(Reading(beep.known, profile.name, beep.frequency, ratio - limit, limit, known))

    def _raise_breaths(self, profile: Breaths, notes: Sequence[Note]) -> list[AlarmEvent]:
        beep = notes[-1].beep
        known = self._judge.known(profile, beep.frequency, beep.known)
        if self._judge.allowed(profile, beep.frequency, known):
            quiet = self._judge.quiet(beep.frequency, beep.known)
            limit = self._judge.limit(profile, beep.frequency, beep.known, known)
            setting = chains.Setting(known, quiet, self._memory.accompanied)
            least = LEAST - 1 if known and self._judge.exact(beep.frequency, beep.known) else LEAST
            chain = chains.breaths(profile, notes, least, limit - LOWEST, setting)
            if chain and self._judge.allowed(profile, chains.fundamental(chain, notes), known):
                self._keep(profile, notes[-1], chain.ratio, known)
        return super()._raise_breaths(profile, notes)

    def _raise_bursts(self, profile: Bursts, note: Note, tried: Sequence[Line]) -> list[AlarmEvent]:
        found = folded.groups(profile, tried, note)
        if found and self._judge.allowed(profile, note.beep.frequency, known=False):
            self._keep(profile, note, found.ratio, known=False)
        return super()._raise_bursts(profile, note, tried)


class _ReadBatteries(Batteries):
    readings: list[Reading]

    def _judged(self, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        known = self._judge.known(profile, whole.frequency, now)
        if self._judge.allowed(profile, whole.frequency, known):
            ratio = tones.weigh(self._tones.repeats(profile, whole))
            ratio -= 0.0 if known else sum(d.price(whole.frequency) for d in profile.doubt if d.of == "tone")
            limit = self._judge.limit(profile, whole.frequency, now, known)
            self.readings.append(Reading(now, profile.name, whole.frequency, ratio - limit, limit, known))
        return super()._judged(profile, whole, now)


def readings(events: Sequence[Heard], tone: float | None) -> list[Reading]:
    """What a fresh matcher has of these."""
    matcher = Read(tone)
    for event in sorted(events, key=by_time):
        matcher.hear(event)
    return matcher.readings


def by_hypothesis(told: Sequence[Reading]) -> list[list[Reading]]:
    """Readings, each hypothesis' together."""
    lines: list[list[Reading]] = []
    for one in told:
        mine = next((old for old in lines if _continues(old[-1], one)), None)
        if mine is None:
            lines.append([one])
        else:
            mine.append(one)
    return lines


def ratios(events: Sequence[Heard], pattern: str) -> Iterator[list[float]]:
    """The evidence S, nats, of each hypothesis of one pattern in these events, untaught, reading by reading."""
    told = readings(events, None)
    for line in by_hypothesis([one for one in told if one.pattern == pattern]):
        yield [one.excess + one.limit for one in line]


def _continues(old: Reading, new: Reading) -> bool:
    near = fold(new.frequency, old.frequency, 0.01, RATIOS) is not None
    return near and old.pattern == new.pattern and old.known == new.known and new.at - old.at < RETURN
