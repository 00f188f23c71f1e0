"""Episodes: one alarm from its first beep to its end, and the book of those that are open or just over."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median, median_low

from beepwatch.events import Alarm, Beep, Noise, Priority
from beepwatch.patterns import evidence, explain
from beepwatch.patterns.beat import LATELY, Beat
from beepwatch.patterns.memory import KIN, MULTIPLES, TOGETHER, fold, simple
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Profile, Steady

AUDIBLE = -16.0
"""SNR in 0-8 kHz below which an alarm's beeps may go unheard, dB (judgement: hearing's limit is near -20 dB)."""
RETURN = 600.0
"""The same pattern and tone within 10 minutes of its last beep goes on as one alarm, s (judgement)."""
SAME = 0.01
"""Beeps of one alarm agree in tone to this, modulo the ratios of memory.py; it follows a slow drift."""
RECENT = 64
"""Beeps that the medians of tone and level are taken over; of length LATELY (beat.py)."""
ANEW = 4
"""Sounds alike in a row that are no whole beep as it was: so it beeps now (judgement)."""
ALIKE = 1.35
"""Lengths of these differ by less than this factor, as in a chain."""
SHADOW = 0.6
"""Share of a tone's beeps that begin with another's where they are of one sounder, some of either unheard (judgement:
WITH lets one in five of another device's do so, four of six once in 60, and each further beep is asked anew)."""
SETTLED = 7.0
"""How far above its bound the evidence of an open alarm may grow, nats: 0.1 % of doubt stay (judgement)."""
HUM = 70.0
"""A tone under way is told to have ended, or to be a hum, before it has lasted this long, s."""
LATE = 1.0
"""How long after a beep's end hearing may tell of it, s."""


class Episode:
    """One alarm as it goes on. Times in s of stream time."""

    def __init__(self, number: int, profile: Profile, priority: Priority, raised: float, weighed: evidence.Weighed):
        self.number = number
        self.profile = profile
        self.priority = priority
        self.raised = raised
        self.weighed = weighed
        self.onset = math.inf
        self.last = -math.inf
        self.beeps = 0
        self.groups = 0
        self.ended: float | None = None
        self.sounding: float | None = None
        """Onset of the tone that is still under way."""
        self.remark: str | None = None
        self.reason: str | None = None
        """A whole sentence in place of the usual one."""
        self.told = False
        """Whether it was said that the room is too loud."""
        self._beat = Beat()
        self._durations: deque[float] = deque(maxlen=LATELY)
        self._odd: deque[Beep] = deque(maxlen=ANEW)
        self._tones: deque[float] = deque(maxlen=RECENT)
        self._frequency: float | None = None
        self._levels: deque[float] = deque(maxlen=RECENT)
        self._held = 0.0
        self._deaf: float | None = None
        self._swallowed = 0.0
        self.swallowing: float | None = None
        """Onset of a long tone of the same sounder that is under way: no beep of this alarm can be heard."""
        self._told_of = -math.inf

    # -- what was heard

    def add(self, onset: float, end: float, frequency: float, level: float) -> None:
        """One more beep (a pulse, for bursts)."""
        self.onset = min(self.onset, onset)
        self.beeps += 1
        self._odd.clear()
        self._durations.append(end - onset)
        self._tones.append(frequency)
        self._frequency = None
        self._levels.append(level)
        self.heard_until(end)
        if not isinstance(self.profile, Bursts):
            self.mark(onset)

    def mark(self, onset: float) -> None:
        """The onset of a beep, or of a group: what the period is measured between."""
        self.groups += self._beat.mark(onset)

    def beeps_anew(self, beep: Beep) -> bool:
        """Take note of a sound of a breath's alarm that is no whole beep of it; whether it now beeps like this.

        Then the beeps are as long, and as far apart, as the last ANEW of such sounds.
        """
        self._odd.append(beep)
        if not isinstance(self.profile, Breaths) or not _are_breaths(self.profile, self._odd):
            return False
        self._durations.clear()
        self._beat.forget()
        for one in list(self._odd):
            self.add(one.onset, one.end, one.frequency, one.level)
        return True

    def replace_last(self, onset: float, end: float, frequency: float, level: float) -> None:
        """The newest beep went on, or was a part only: its figures are now these."""
        self.onset = min(self.onset, onset)
        self._durations[-1], self._tones[-1], self._levels[-1] = end - onset, frequency, level
        self._frequency = None
        self._beat.move_last(onset)
        self.heard_until(end)

    def heard_until(self, end: float) -> None:
        """A beep of this alarm ended at `end`: the silence is counted from there."""
        self.last = max(self.last, end)
        self.ended, self.told, self.remark = None, False, None
        self._held, self._swallowed = 0.0, 0.0
        if self._deaf is not None:
            self._deaf = max(self._deaf, end)

    def believe(self, ratio: float) -> None:
        """Add evidence, up to SETTLED above the bound."""
        old = self.weighed
        self.weighed = replace(old, ratio=max(old.ratio, min(old.ratio + ratio, old.limit + SETTLED)))

    # -- figures

    @property
    def frequency(self) -> float:
        """Median tone, Hz: of a sounder heard at several harmonics, that at which it was heard most often."""
        if self._frequency is None:  # worked out once a beep
            often: list[float] = max(self._harmonics(), key=len)
            self._frequency = median_low(often)
        return self._frequency

    @property
    def duration(self) -> float:
        """Median length of its beeps, s."""
        return median(self._durations)

    @property
    def period(self) -> float | None:
        """s from onset to onset, missed beeps divided out."""
        return self._beat.period

    @property
    def newest(self) -> float:
        """Onset of its newest beep or group."""
        newest = self._beat.newest
        return self.onset if newest is None else newest

    def near(self, frequency: float, tolerance: float = SAME) -> bool:
        """Whether a tone is this alarm's."""
        if isinstance(self.profile, Bursts):  # short pulses have uncertain tones, and many harmonics
            return fold(frequency, self.frequency, max(tolerance, 2 * SAME), KIN) is not None
        tones = (self._tones[-1], self.frequency)  # one beep may be heard by a harmonic only, the next by another
        return any(fold(frequency, tone, tolerance) is not None for tone in tones)

    def on_tone(self, frequency: float) -> bool:
        """Whether this is the very tone that it is heard at, and no harmonic of it."""
        return fold(frequency, self.frequency, SAME, (1.0,)) is not None

    def or_harmonic(self, frequency: float) -> bool:
        """Whether this is the tone that it is heard at, or a harmonic of it; what lies below is another's."""
        return any(fold(frequency, tone, SAME, MULTIPLES) is not None for tone in (self._tones[-1], self.frequency))

    def on_beat(self, onset: float) -> bool:
        """Whether a beep may be due at `onset`."""
        return self._beat.due(onset)

    def harmonic(self, frequency: float, onsets: Sequence[float]) -> bool:
        """Whether beeps that began at `onsets` are its own at another harmonic: most of them began with its beeps.

        Of groups few may have been heard whole: it is enough that most are in step with these.
        """
        shared, of = self._beat.shared(onsets)
        with_its_own = shared > max(1, of // 2)
        if not isinstance(self.profile, Bursts):
            return with_its_own and fold(frequency, self.frequency, SAME, KIN) is not None
        in_step = sum(self._beat.in_step(onset, TOGETHER) for onset in onsets) > max(1, len(onsets) // 2)
        return (with_its_own or in_step) and simple(frequency, self.frequency)

    def shadow(self, onsets: Sequence[float]) -> bool:
        """Whether most beeps that began at `onsets`, three or more, began with its own, at whatever tone.

        An overload or a poor converter makes such tones, and not each of them is heard. The newest does not count: it
        may be told before its own.
        """
        shared, of = self._beat.shared(onsets[:-1])
        return shared >= max(2, SHADOW * of)

    def off_beat(self, onset: float) -> float:
        """s by which `onset` is off the beat."""
        return self._beat.off(onset)

    # -- silence

    def silence(self) -> float:
        """Seconds after its last beep's end at which it is over, were a beep heard all the time."""
        profile = self.profile
        if isinstance(profile, LongTone):
            wait = profile.due * profile.period[1] + profile.length[1] + LATE
            return max(LATE, wait - (self.last - self.newest))
        return max(profile.silence.periods * (self.period or 0.0), profile.silence.seconds)

    def due(self) -> float:
        """Stream time of its next step (`step` in the matcher): over, or too loud to tell; inf while neither can."""
        nominal = self.last + self.silence() + self._swallowed
        least = self._told_of
        for onset in (self.sounding, self.swallowing):
            if onset is not None:
                least = max(least, onset + HUM)
        if not self.told:
            return max(nominal, least)
        return math.inf if self._deaf is not None else max(nominal + self._held, least)

    @property
    def unheard(self) -> bool:
        """Whether a beep may have gone unheard since the last one."""
        return self._held > 0.0 or self._deaf is not None

    def noise(self, noise: Noise, covered: bool = False) -> None:
        """The room's loudness at `noise.at`: time in which a beep would not be heard does not count as silence.

        covered: something that is no noise may have hidden it.
        """
        self._undeafen(noise.at)
        loud = covered or median(self._levels) - noise.near(self.frequency) < AUDIBLE
        self._deaf = max(noise.at, self.last) if loud else None

    def lost(self, start: float, end: float) -> None:
        """Nothing was heard from `start` to `end`."""
        if self._deaf is None:
            self._held += max(0.0, end - max(start, self.last))
        self._told_of = max(self._told_of, end)

    def swallow(self, onset: float, end: float, known: float) -> None:
        """A long tone of the same sounder sounded, known at `known`: no beep of this alarm could."""
        self.swallowing = None
        self._swallowed += max(0.0, end - max(onset, self.last))
        self._told_of = known

    def _undeafen(self, now: float) -> None:
        if self._deaf is not None:
            self._held += max(0.0, now - max(self._deaf, self.last))

    # -- the frozen value

    def alarm(self) -> Alarm:
        """The alarm as it stands."""
        return Alarm(
            number=self.number,
            pattern=self.profile.name,
            priority=self.priority,
            onset=self.onset,
            raised=self.raised,
            ended=self.ended,
            last=self.last,
            beeps=self.beeps,
            duration=self.duration,
            period=self.period,
            frequency=self.frequency,
            confidence=evidence.confidence(self.weighed.ratio - self.weighed.limit, self.weighed.known),
            why=self._why(),
        )

    def _why(self) -> str:
        said = self.reason or self._sentence()
        return f"{said}; {self.remark}" if self.remark else said

    def _heard_at(self) -> list[float]:
        """The tones of its beeps, Hz, lowest first: one, unless they were heard at several harmonics, at most three."""
        if max(self._tones) <= min(self._tones) * (1 + 2 * SAME):
            return [self.frequency]
        most = sorted(self._harmonics(), key=len)[-3:]
        often = sorted(median_low(tones) for tones in most if 10 * len(tones) >= len(self._tones))
        return often or [self.frequency]

    def _harmonics(self) -> list[list[float]]:
        """The tones of its beeps, Hz, lowest first, those of one harmonic together."""
        found: list[list[float]] = []
        for tone in sorted(self._tones):
            if found and tone <= found[-1][-1] * (1 + 2 * SAME):
                found[-1].append(tone)
            else:
                found.append([tone])
        return found

    def _sentence(self) -> str:
        figures = (self.duration, self.period, self._heard_at())
        if isinstance(self.profile, Bursts):
            return explain.grouped(self.groups, len(self.profile.gaps) + 1, *figures)
        return explain.repeated(self.beeps, *figures, rate=isinstance(self.profile, Breaths))


def _are_breaths(profile: Breaths, line: Sequence[Beep]) -> bool:
    """Whether ANEW sounds are alike, as long and as far apart as breaths are."""
    lengths = [one.duration for one in line]
    fits = len(line) == ANEW and profile.length[0] <= min(lengths) and max(lengths) <= ALIKE * min(lengths)
    return fits and all(
        profile.period[0] <= young.onset - old.onset <= profile.period[1] and young.onset - old.end >= profile.pause
        for old, young in pairwise(line)
    )


class Book:
    """All episodes that are open, and those that ended so lately that they may go on."""

    def __init__(self) -> None:
        self.open: list[Episode] = []
        self._over: deque[Episode] = deque(maxlen=32)
        self._count = 0

    def start(self, profile: Profile, priority: Priority, raised: float, weighed: evidence.Weighed) -> Episode:
        """A new episode with the next number."""
        self._count += 1
        episode = Episode(self._count, profile, priority, raised, weighed)
        self.open.append(episode)
        return episode

    def find(self, name: str, frequency: float) -> Episode | None:
        """The open alarm of a pattern and tone."""
        return next((e for e in self.open if e.profile.name == name and e.near(frequency)), None)

    def twin(self, name: str, frequency: float, onsets: Sequence[float]) -> Episode | None:
        """The open alarm of a pattern whose sounder made these beeps too, at a harmonic that `near` does not tell."""
        return next((e for e in self.open if e.profile.name == name and e.harmonic(frequency, onsets)), None)

    def shadowed(self, profile: Profile, onsets: Sequence[float]) -> bool:
        """Whether an open alarm of this pattern has each of these beeps too; of any pattern where this is `unknown`."""
        alike = (e for e in self.open if e.profile.name == profile.name or isinstance(profile, Steady))
        return any(e.shadow(onsets) for e in alike)

    def reopen(self, name: str, frequency: float, onset: float) -> Episode | None:
        """The alarm of a pattern and tone that ended within RETURN of `onset`: it is open again."""
        for episode in self._over:
            if episode.profile.name == name and episode.near(frequency) and onset - episode.last <= RETURN:
                self._over.remove(episode)
                self.open.append(episode)
                return episode
        return None

    def close(self, episode: Episode, remark: str | None = None) -> Alarm:
        """End an episode at its last beep."""
        episode.ended, episode.remark, episode.sounding = episode.last, remark, None
        self.open.remove(episode)
        if remark is None:
            self._over.append(episode)
        return episode.alarm()

    def device_tone(self, frequency: float, now: float) -> bool:
        """Whether a device's alarm is open on this tone, or was within RETURN; or one of which this is a harmonic."""
        lately = [episode for episode in self._over if now - episode.last <= RETURN]
        return any(e.profile.calls == "device" and e.or_harmonic(frequency) for e in (*self.open, *lately))
