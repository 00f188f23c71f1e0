"""Long tones to alarms: raised at their end, or while a known tone still sounds; renamed, superseded."""

from dataclasses import dataclass
from functools import partial
from math import inf, log

from beepwatch.events import AlarmEvent, Beep, Changed, Ended, Noise, Raised, Sounding, SteadyTone
from beepwatch.patterns import evidence, explain, tones
from beepwatch.patterns.beat import WITH
from beepwatch.patterns.episodes import Book, Episode
from beepwatch.patterns.judge import Judge
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Steady
from beepwatch.patterns.tones import LongBeep, LongTones, fits

CUT_OFF = 12.0
"""A tone that listening joined on its way and that went on for so long is no 10 s tone, s (judgement)."""
REMNANT = 4.0
"""A shorter remnant of such a tone says nothing, s (judgement)."""
REFITTED = 1.5
"""The onset of a tone under way and that of the beep it became differ by less, s (judgement)."""
ASKED = 0.1
"""A tone under way is told as it passes `over` by its onset as then known; this may have moved since, s (judgement)."""
OFF_TONE = 2.0
"""Nats that a tone under way costs which is over 1 % off the taught one (judge.OWN): one sounder strays less, and one
told tone in seven may be further off (judgement). So the end of one fainter than evidence.LOUD is waited for; a louder
one is named at once."""
ON_TONE = log(3.0)
"""Nats that a faint tone which has ended gains just on the taught one (judge.OWN): of what else is faint and within
judge.TAUGHT a third lies there (theory: it lies anywhere)."""
LONG = 8.0
"""A tone that was told while it sounded is at least so long in the end, s."""
LATEST = 1.0
"""Hearing tells a tone's end within this, s."""
BRIDGED = 0.4
"""A pause of up to so many seconds may be bridged by hearing, and a long tone and a breath's beep become one."""
SUPERSEDED = 0.03
"""The same device: tones that agree to this, as a taught one must."""


@dataclass(frozen=True, slots=True)
class _Waiting:
    """The remnant of a long tone: named the shorter pattern unless the longer one repeats before `due`."""

    due: float
    profile: LongTone
    whole: LongBeep
    weighed: evidence.Weighed


class Batteries:
    """The alarms that are one long tone."""

    def __init__(self, profiles: tuple[LongTone, ...], unknown: Steady | None, book: Book, judge: Judge) -> None:
        self._profiles = tuple(sorted(profiles, key=lambda profile: -profile.length[0]))
        self._unknown = unknown
        self._book = book
        self._judge = judge
        self._tones = LongTones()
        self._waiting: list[_Waiting] = []

    def due(self) -> float:
        """Stream time at which a remnant is decided on; inf when none waits."""
        return min((waiting.due for waiting in self._waiting), default=float("inf"))

    def step(self) -> list[AlarmEvent]:
        """Decide on the remnant that is due."""
        waiting = min(self._waiting, key=lambda waiting: waiting.due)
        self._waiting.remove(waiting)
        return self._raise(waiting.profile, (waiting.whole,), waiting.due, waiting.weighed)

    def noise(self, noise: Noise) -> None:
        """How loud the room is: a long tone has to stand out of it as long as it sounds."""
        self._tones.noise(noise)

    # -- a tone that has ended

    def beep(self, beep: Beep) -> list[AlarmEvent]:
        """A beep ended: perhaps a long tone, or a piece of one."""
        wholes = self._tones.hear(beep)
        self._waiting = [w for w in self._waiting if not any(_outgrew(whole, w.whole) for whole in wholes)]
        under_way = self._under_way(beep.frequency)
        if under_way is not None and _ends(under_way, beep):
            return self._finish(under_way, LongBeep((beep,)), beep.known)
        for profile in self._profiles:
            fitting = [whole for whole in wholes if _length_fits(profile, whole)]
            if fitting:  # a breath's beep just before is no piece of it, where it fits better alone
                return self._name(profile, min(fitting, key=partial(tones.off_length, profile)), beep.known)
        if wholes:
            self._wait(wholes[0], beep.known)
        return []

    def _name(self, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        for name in (profile.name, *profile.supersedes):
            episode = self._book.find(name, whole.frequency)
            if episode is not None and whole.onset < episode.last:
                return self._grown(episode, profile, whole, now)
        longer = [p for p in self._profiles if profile.name in p.supersedes]
        above = next((e for p in longer if (e := self._book.find(p.name, whole.frequency))), None)
        if above is not None:  # a broken piece of the longer tone: it goes on, its figures stay
            above.heard_until(whole.end)
            return [Changed(now, above.alarm())]
        return self._again(profile, whole, now) or self._judged(profile, whole, now)

    def _again(self, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        """A further tone of an alarm that is open, or was lately."""
        episode = self._book.find(profile.name, whole.frequency)
        episode = episode or self._book.reopen(profile.name, whole.frequency, whole.onset)
        if episode is None:
            return []
        _add(episode, whole)
        episode.reason = None
        episode.believe(tones.REPEATED if episode.beeps < 4 else 0.0)
        return [Changed(now, episode.alarm())]

    def _judged(self, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        if self._shadowed(profile, whole.onset) or self._of_pulses(whole):
            return []
        known = self._judge.known(profile, whole.frequency, now)
        if not self._judge.allowed(profile, whole.frequency, known):
            return []
        line = self._tones.repeats(profile, whole)
        limit = self._judge.limit(profile, whole.frequency, now, known)
        self._tones.keep(whole)
        ratio = tones.weigh(line)
        if len(line) == 1 and self._tones.lasted(profile, whole.frequency, whole.onset):
            ratio += tones.REPEATED
        if max(piece.snr for piece in whole.pieces) < evidence.FAINT and self._judge.own(whole.frequency, (1.0,)):
            ratio += ON_TONE
        if not known:
            ratio -= tones.doubt(profile, whole, quiet=self._judge.quiet(whole.frequency, now))
        weighed = evidence.Weighed(ratio, limit, known)
        if not weighed.enough:
            return []
        if profile.over is None and whole.pieces[-1].character.after > tones.GOES_ON:
            due = whole.end + tones.HOLE[1] + LATEST  # it goes on: it may become the longer tone
            self._waiting = [*self._waiting[-7:], _Waiting(due, profile, whole, weighed)]
            return []
        return self._raise(profile, line, now, weighed)

    def _shadowed(self, profile: LongTone, onset: float) -> bool:
        """Whether an open alarm of this pattern has begun a tone with this one: an overload makes such tones."""
        return any(e.profile.name == profile.name and abs(e.newest - onset) <= WITH[0] for e in self._book.open)

    def _of_pulses(self, whole: LongBeep) -> bool:
        """Whether it is pieces of the tone of an open counted alarm, whose pulses ran together amid music."""
        return len(whole.pieces) > 1 and any(
            isinstance(e.profile, Bursts) and e.near(whole.frequency) for e in self._book.open
        )

    def _raise(
        self, profile: LongTone, line: tuple[LongBeep, ...], now: float, weighed: evidence.Weighed
    ) -> list[AlarmEvent]:
        episode = self._book.start(profile, profile.priority, now, weighed)
        for whole in line:
            _add(episode, whole)
        self._waiting = [w for w in self._waiting if not episode.near(w.whole.frequency)]
        return [Raised(now, episode.alarm()), *self._supersede(profile, episode, now)]

    def _supersede(self, profile: LongTone, episode: Episode, now: float) -> list[AlarmEvent]:
        old = [
            other
            for other in self._book.open
            if other.profile.name in profile.supersedes and other.near(episode.frequency, SUPERSEDED)
        ]
        return [Ended(now, self._book.close(other, explain.superseded(profile.name))) for other in old]

    def _grown(self, episode: Episode, profile: LongTone, whole: LongBeep, now: float) -> list[AlarmEvent]:
        """The newest tone of an open alarm was only the first piece of a longer one."""
        if whole.onset > episode.newest + 1.0:  # a part of what is already one tone
            episode.heard_until(whole.end)
            return []
        was = episode.profile.name
        episode.replace_last(whole.onset, whole.end, whole.frequency, whole.pieces[-1].level)
        if was == profile.name:
            return [Changed(now, episode.alarm())]
        episode.profile, episode.priority, episode.reason = profile, profile.priority, None
        return [Changed(now, episode.alarm(), was), *self._supersede(profile, episode, now)]

    def _wait(self, whole: LongBeep, now: float) -> None:
        """A tone that listening joined on its way: it may be the rest of either pattern."""
        if whole.onset_known or not self._profiles or not REMNANT <= whole.duration < CUT_OFF:
            return
        profile, longest = self._profiles[-1], self._profiles[0]
        known = self._judge.known(profile, whole.frequency, now)
        limit = self._judge.limit(profile, whole.frequency, now, known)
        weighed = evidence.Weighed(whole.ratio, limit, known)
        if weighed.enough and self._judge.allowed(profile, whole.frequency, known):
            due = whole.end + longest.period[1] + longest.length[1] + 1.0
            self._waiting = [*self._waiting[-7:], _Waiting(due, profile, whole, weighed)]

    # -- a tone under way

    def sounding(self, event: Sounding) -> list[AlarmEvent]:
        """A tone passed an asked length: early naming of a known one, or the loss of its name."""
        self._tones.under_way(event)
        episode = self._under_way(event.frequency)
        if episode is not None:
            return self._overdue(episode, event)
        for profile in self._profiles:
            early, over = profile.early, profile.over
            if early is not None and early - tones.SOONER <= event.lasted and (over is None or event.lasted < over):
                return self._early(profile, event, event.lasted - early)
        return []

    def _early(self, profile: LongTone, event: Sounding, late: float) -> list[AlarmEvent]:
        """late: s from the length that was asked for to the one at which the tone was told."""
        episode = self._book.find(profile.name, event.frequency)
        known = self._judge.exact(event.frequency, event.known)
        if episode is None and known:
            episode = self._book.reopen(profile.name, event.frequency, event.onset)
        if episode is not None:
            return self._on(episode, event)
        if self._shadowed(profile, event.onset):
            return []
        limit = self._judge.limit(profile, event.frequency, event.known, known)
        drone = self._tones.drone(event.frequency, event.onset, event.onset + event.lasted, event.level)
        ratio = evidence.long_tone(event.character, self._tones.snr(event), drone)
        ratio += self._tones.repeated(profile, event) or evidence.under_way(event.character, late)
        if self._judge.taught(event.frequency, (1.0,)) and not self._judge.own(event.frequency):
            ratio -= OFF_TONE
        weighed = evidence.Weighed(ratio, limit, known)
        if not (known and weighed.enough):
            return []
        episode = self._book.start(profile, profile.priority, event.known, weighed)
        episode.add(event.onset, event.onset + event.lasted, event.frequency, event.level)
        episode.sounding = event.onset
        episode.reason = explain.lasting(event.lasted, event.frequency)
        return [Raised(event.known, episode.alarm()), *self._supersede(profile, episode, event.known)]

    def _on(self, episode: Episode, event: Sounding) -> list[AlarmEvent]:
        episode.add(event.onset, event.onset + event.lasted, event.frequency, event.level)
        episode.sounding = event.onset
        return [Changed(event.known, episode.alarm())]

    def _overdue(self, episode: Episode, event: Sounding) -> list[AlarmEvent]:
        episode.replace_last(event.onset, event.onset + event.lasted, event.frequency, event.level)
        profile = episode.profile
        if not isinstance(profile, LongTone) or event.lasted < self._longest(profile, event.frequency) - ASKED:
            return []
        return self._rename(episode, event.lasted, event.known)

    def _longest(self, profile: LongTone, frequency: float) -> float:
        """s past which a tone is no longer the profile's; a breath's beep may have run into both of its ends."""
        open_ones = (e for e in self._book.open if isinstance(e.profile, Breaths) and e.near(frequency))
        breath = next((e.duration + BRIDGED for e in open_ones), 0.0)
        return inf if profile.over is None else profile.over + 2 * breath

    def _rename(self, episode: Episode, lasted: float, now: float) -> list[AlarmEvent]:
        """Past `over` a first tone loses its name; an alarm that was heard before keeps it."""
        if self._unknown is None or episode.beeps > 1:
            return [Changed(now, episode.alarm())]
        was = episode.profile.name
        taught = self._judge.taught(episode.frequency)
        episode.profile = self._unknown
        episode.priority = self._unknown.taught if taught else self._unknown.priority
        episode.reason = explain.too_long(lasted, episode.frequency)
        return [Changed(now, episode.alarm(), was)]

    def _finish(self, episode: Episode, whole: LongBeep, now: float) -> list[AlarmEvent]:
        """The tone under way has ended."""
        episode.sounding = None
        episode.replace_last(whole.onset, whole.end, whole.frequency, whole.pieces[-1].level)
        profile = episode.profile
        if isinstance(profile, LongTone):
            if whole.duration > self._longest(profile, whole.frequency):
                return self._rename(episode, whole.duration, now)
            episode.reason = None
        return [Changed(now, episode.alarm())]

    def steady_tone(self, event: SteadyTone) -> list[AlarmEvent]:
        """A tone became a hum: what it was named is over, or was never a battery alarm."""
        episode = self._under_way(event.frequency)
        if episode is None:
            return []
        episode.sounding = None
        episode.heard_until(event.known)
        return self._rename(episode, event.known - event.onset, event.known)

    def _under_way(self, frequency: float) -> Episode | None:
        return next((e for e in self._book.open if e.sounding is not None and e.near(frequency)), None)


def _ends(episode: Episode, beep: Beep) -> bool:
    """Whether a beep is the tone that was under way: its onset may have been worked out anew."""
    onset = episode.sounding
    return onset is not None and abs(beep.onset - onset) <= REFITTED and beep.duration >= LONG


def _outgrew(whole: LongBeep, part: LongBeep) -> bool:
    """Whether a tone that waits for its name was but a part."""
    return whole.onset <= part.onset and whole.end > part.end


def _length_fits(profile: LongTone, whole: LongBeep) -> bool:
    if whole.onset_known:
        return fits(whole.duration, profile.length)
    return profile.early is not None and CUT_OFF <= whole.duration <= profile.length[1]


def _add(episode: Episode, whole: LongBeep) -> None:
    episode.add(whole.onset, whole.end, whole.frequency, whole.pieces[-1].level)
