"""The matcher: beeps in, alarms out. One object a stream; everything in it is bounded and causal."""

import math
from collections.abc import Sequence

from beepwatch.events import (
    AlarmEvent,
    Beep,
    Changed,
    Ended,
    Heard,
    Noise,
    Raised,
    Sounding,
    SteadyTone,
)
from beepwatch.hearing.ours import Ours
from beepwatch.patterns import bursts, chains, evidence, explain, folded
from beepwatch.patterns.batteries import Batteries
from beepwatch.patterns.belonging import is_breath, is_whole, owner_of
from beepwatch.patterns.episodes import Book, Episode
from beepwatch.patterns.judge import Finding, Judge, urgency
from beepwatch.patterns.memory import KEEP, KIN, WIDTH, Memory, Note, simple
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Profile, Steady, packaged
from beepwatch.patterns.walks import TIGHT

LEAST = 3
"""Beeps before lead-disconnect is named; one fewer on a known tone, but not on a multiple of it: those are three times
as many tones for something else to have."""
SWALLOWS = 2.6
"""A tone longer than any breath's beep swallows those of the same sounder, s."""
NOISE_EVERY = 6.0
"""While hearing listens it tells the room's noise each 2 s or so; beyond this it did not hear (judgement), s."""
BREAK = 1.0
"""Evidence that a beep in pieces costs, nats (judgement)."""


class Matcher:
    """Names alarms from what hearing tells.

    tone: Hz of the household's own device, known to within 3 %; None while it is not taught.
    profiles: the patterns to name; the packaged ones unless told otherwise.
    ours: when our own sound is in the room.
    Events come in order of the stream time at which they became known, never before a time that `tick` was told.
    Alarms are stamped with the time of the event, or of the due time, that decided them: how often `tick` is called
    changes nothing but how soon an end is told.
    """

    def __init__(
        self, tone: float | None = None, profiles: Sequence[Profile] | None = None, ours: Ours | None = None
    ) -> None:
        self._ours = Ours() if ours is None else ours
        chosen = sorted(packaged() if profiles is None else profiles, key=urgency)
        self._memory = Memory()
        self._book = Book()
        self._judge = Judge(tone, self._book, self._memory)
        self._breaths = tuple(p for p in chosen if isinstance(p, Breaths))
        self._bursts = tuple(p for p in chosen if isinstance(p, Bursts))
        self._steady = tuple(p for p in chosen if isinstance(p, Steady))
        self._counted = bursts.Counted(self._bursts)
        self._pulse = bursts.ALIKE * max((profile.pulse[1] for profile in self._bursts), default=0.0)
        unknown = self._steady[0] if self._steady else None
        long_tones = tuple(p for p in chosen if isinstance(p, LongTone))
        self._batteries = Batteries(long_tones, unknown, self._book, self._judge)
        self._noise: Noise | None = None

    # -- the doors

    def know(self, tone: float | None) -> None:
        """From now on this is the tone of the household's device; alarms that are open stay so."""
        self._judge.know(tone)

    def hear(self, event: Heard) -> list[AlarmEvent]:
        """Take one event; return what it makes known, the most urgent alarm first."""
        now = event.at if isinstance(event, Noise) else event.known
        out = self.tick(now)
        self._mind_the_gap(now)
        match event:
            case Beep():
                made = self._beep(event)
            case Sounding():
                made = self._sounding(event)
            case SteadyTone():
                made = self._steady_tone(event)
            case Noise():
                made = self._hear_noise(event)
        return out + sorted(made, key=_order)

    def tick(self, now: float) -> list[AlarmEvent]:
        """Stream time is `now`: return what fell due up to now, each stamped with its due time."""
        out: list[AlarmEvent] = []
        now = min(now, self._heard_until())
        while True:
            episode = min(self._book.open, key=Episode.due, default=None)
            over = math.inf if episode is None else episode.due()
            remnant = self._batteries.due()
            if min(over, remnant) > now:
                return out
            if remnant < over:
                out += self._batteries.step()
            elif episode is not None:
                out.append(self._silent(episode, over))

    def flush(self, now: float) -> list[AlarmEvent]:
        """The stream is over at `now`: what fell due. What is open stays open: it went on to the end."""
        return self.tick(now)

    def _heard_until(self) -> float:
        """Stream time up to which the room is known to have been heard; inf where no noise is ever told."""
        return math.inf if self._noise is None else self._noise.at + NOISE_EVERY

    def _mind_the_gap(self, now: float) -> None:
        """Where the room's noise was not told for a while, nothing was heard: that silence ends no alarm."""
        heard = self._heard_until()
        if now > heard:
            for episode in self._book.open:
                episode.lost(heard, now)
            self._noise = None

    # -- silence

    def _silent(self, episode: Episode, due: float) -> AlarmEvent:
        if episode.unheard and not episode.told:
            episode.told, episode.remark = True, explain.LOUD
            return Changed(due, episode.alarm())
        return Ended(due, self._book.close(episode))

    def _hear_noise(self, noise: Noise) -> list[AlarmEvent]:
        self._noise = noise
        self._batteries.noise(noise)
        for episode in self._book.open:
            episode.noise(noise, self._covered(episode, noise.at))
        return []

    def _covered(self, episode: Episode, now: float) -> bool:
        """Whether our own sound may just have hidden a tone: a long one has to outlast several of its rounds."""
        return isinstance(episode.profile, LongTone) and self._ours.during(now - NOISE_EVERY, now) is not None

    # -- tones under way

    def _sounding(self, event: Sounding) -> list[AlarmEvent]:
        if self._memory.pulsed(event.frequency, event.onset, event.level):
            return []
        for episode in self._breaths_on(event.frequency):
            episode.swallowing = event.onset
        return self._batteries.sounding(event)

    def _steady_tone(self, event: SteadyTone) -> list[AlarmEvent]:
        for episode in self._breaths_on(event.frequency):
            episode.swallow(event.onset, event.known, event.known)
        return self._batteries.steady_tone(event)

    def _breaths_on(self, frequency: float) -> list[Episode]:
        return [e for e in self._book.open if isinstance(e.profile, Breaths | Steady) and e.near(frequency)]

    # -- beeps

    def _beep(self, beep: Beep) -> list[AlarmEvent]:
        if beep.duration >= SWALLOWS:
            for episode in self._breaths_on(beep.frequency):
                episode.swallow(beep.onset, beep.end, beep.known)
        note = Note(beep, evidence.sounder(beep.character))
        self._memory.add(note)
        owner = owner_of(self._book.open, beep)
        out = [] if note.pulses >= 2 or is_breath(owner, beep) else self._batteries.beep(beep)  # 2: the echo of pulses
        if owner is not None:
            out += self._add(owner, note)
        else:
            self._memory.meter(beep)
        own = owner is not None and isinstance(owner.profile, Breaths)
        if own and beep.duration <= self._pulse:  # a smoke alarm may have the device's tone
            out += self._raise_counted(note, folded.lines(self._pulses(note), note))
        if owner is None or isinstance(owner.profile, Steady):
            out += self._raise(note, owner)
            whole = self._memory.joined(beep)
            if whole is not None and not out:
                out += self._raise_whole(Note(whole, note.score - BREAK, joined=True))
        return out

    def _raise_whole(self, note: Note) -> list[AlarmEvent]:
        """The same for a beep that came in pieces."""
        self._memory.add(note)
        found = self._raise_counted(note, folded.lines(self._pulses(note), note))
        if found:
            return found
        if self._counted.explains(note):
            return []
        notes = self._on_tone(note)
        return [event for breaths in self._breaths for event in self._raise_breaths(breaths, notes)]

    def _add(self, episode: Episode, note: Note) -> list[AlarmEvent]:
        """One more sound of an open alarm; a fragment of its beep only tells that it goes on."""
        beep, profile = note.beep, episode.profile
        if not is_whole(episode, beep):
            episode.heard_until(beep.end)
            return [Changed(beep.known, episode.alarm())] if episode.beeps_anew(beep) else []
        episode.add(beep.onset, beep.end, beep.frequency, beep.level)
        if isinstance(profile, Bursts):
            heard = bursts.pulses(profile, bursts.clusters(profile, bursts.line(self._pulses(note)), 1)[-1])
            if bursts.whole(profile, heard):
                episode.mark(heard[0].beep.onset)
        episode.believe(evidence.REPEAT if note.score > 0 else 0.0)
        return [Changed(beep.known, episode.alarm())]

    def _on_tone(self, note: Note) -> list[Note]:
        """All sounds of the note's tone by onset, the note last."""
        notes = self._memory.on_tone(note.beep.frequency, WIDTH, note.beep.onset - KEEP)
        return [other for other in notes if other.beep.onset < note.beep.onset] + [note]

    def _pulses(self, note: Note) -> list[Note]:
        """All sounds of the note's sounder by onset, at whatever harmonic they were heard."""
        return self._memory.on_tone(note.beep.frequency, WIDTH, note.beep.onset - KEEP, KIN)

    # -- new alarms

    def _raise(self, note: Note, owner: Episode | None) -> list[AlarmEvent]:
        """New alarms that this beep decides: counted groups first, since they explain single beeps too."""
        tried = folded.lines(self._pulses(note), note)
        self._counted.hear(tried[-1])
        found = self._raise_counted(note, tried)
        if found:
            return found
        notes = self._on_tone(note)
        if self._counted.explains(note):
            return []
        out = [event for breaths in self._breaths for event in self._raise_breaths(breaths, notes)]
        if not out and owner is None:
            out = [event for steady in self._steady for event in self._raise_steady(steady, notes)]
        return out

    def _raise_counted(self, note: Note, tried: Sequence[bursts.Line]) -> list[AlarmEvent]:
        return next((found for one in self._bursts if (found := self._raise_bursts(one, note, tried))), [])

    def _raise_bursts(self, profile: Bursts, note: Note, tried: Sequence[bursts.Line]) -> list[AlarmEvent]:
        beep = note.beep
        if not self._judge.allowed(profile, beep.frequency, known=False):
            return []
        found = folded.groups(profile, tried, note)
        if found is None:
            return []
        limit = self._judge.limit(profile, beep.frequency, beep.known, known=False)
        pulses = [one.beep for burst in found.bursts for one in burst]
        if self._memory.goes_on_beside(pulses) or self._overtones(profile, pulses):
            return []
        price = evidence.PARTNER_COUNTED if self._memory.two_tone(pulses) else 0.0
        if not (profile.skipped or self._judge.quiet(beep.frequency, beep.known)):
            price += TIGHT.missed * found.unheard  # amid music, as for breaths, where the cycle may be of any length
        weighed = evidence.Weighed(found.ratio + price, limit)
        if not weighed.enough:
            return []
        groups = [[note.beep for note in burst] for burst in found.bursts]
        priority = profile.priority
        return self._begin(Finding(profile, priority, groups, weighed, beep.known, found.onsets))

    def _overtones(self, profile: Bursts, pulses: Sequence[Beep]) -> bool:
        """Whether pulses are the harmonics of another counted signal, which has its name already."""
        tone = pulses[-1].frequency
        named = [e.frequency for e in self._book.open if isinstance(e.profile, Bursts) and e.profile is not profile]
        others = [own for own in named if simple(own, tone) and abs(own / tone - 1.0) > WIDTH]
        return any(self._memory.begin_with(pulses, own) for own in others)

    def _raise_breaths(self, profile: Breaths, notes: Sequence[Note]) -> list[AlarmEvent]:
        beep = notes[-1].beep
        known = self._judge.known(profile, beep.frequency, beep.known)
        if not self._judge.allowed(profile, beep.frequency, known):
            return []
        if not profile.length[0] <= beep.duration <= profile.length[1]:
            return []
        quiet = self._judge.quiet(beep.frequency, beep.known)
        least = LEAST - 1 if known and self._judge.exact(beep.frequency, beep.known) else LEAST
        limit = self._judge.limit(profile, beep.frequency, beep.known, known)
        setting = chains.Setting(known, quiet, self._memory.accompanied)
        chain = chains.breaths(profile, notes, least, limit, setting)
        if chain is None:
            return []
        tone = chains.fundamental(chain, notes)  # known or not: half of a known tone is another sounder's
        if not self._judge.allowed(profile, tone, known) or (
            known and not self._judge.known(profile, tone, beep.known)
        ):
            return []
        beeps = [[n.beep] for n in chain.notes]
        weighed = evidence.Weighed(chain.ratio, limit, known)
        return self._begin(Finding(profile, profile.priority, beeps, weighed, beep.known))

    def _raise_steady(self, profile: Steady, notes: Sequence[Note]) -> list[AlarmEvent]:
        beep = notes[-1].beep
        taught = self._judge.own(beep.frequency)
        least = profile.beeps_known if taught else profile.beeps
        chain = chains.steady(profile, notes, least, self._memory.accompanied)
        if chain is None or not self._judge.allowed(profile, beep.frequency, taught):
            return []
        limit = self._judge.limit(profile, beep.frequency, beep.known, known=taught)
        weighed = evidence.Weighed(chain.ratio, limit, taught)
        if not weighed.enough:
            return []
        priority = profile.taught if taught else profile.priority
        beeps = [[n.beep] for n in chain.notes]
        return self._begin(Finding(profile, priority, beeps, weighed, beep.known))

    def _begin(self, found: Finding) -> list[AlarmEvent]:
        """Raise an alarm on its beeps so far, or go on with the one it continues."""
        first, newest, profile = found.groups[0][0], found.groups[-1][-1], found.profile
        old = self._book.find(profile.name, newest.frequency)
        onsets = [group[0].onset for group in found.groups]
        old = old or self._book.twin(profile.name, newest.frequency, onsets)
        if old is None and self._book.shadowed(profile, onsets):
            return []
        old = old or self._book.reopen(profile.name, newest.frequency, first.onset)
        episode = old or self._book.start(profile, found.priority, found.now, found.weighed)
        for number, group in enumerate(found.groups):
            fresh = [beep for beep in group if old is None or beep.onset >= episode.last]
            for beep in fresh:
                episode.add(beep.onset, beep.end, beep.frequency, beep.level)
            if isinstance(profile, Bursts):
                episode.mark(found.onsets[number])
        if self._noise is not None:
            episode.noise(self._noise)
        said = Raised(found.now, episode.alarm()) if old is None else Changed(found.now, episode.alarm())
        return [said, *self._explained(episode, found.now)]

    def _explained(self, episode: Episode, now: float) -> list[AlarmEvent]:
        """An unknown beeping of this tone now has its name."""
        unknown = [
            e
            for e in self._book.open
            if isinstance(e.profile, Steady) and e is not episode and e.near(episode.frequency)
        ]
        return [Ended(now, self._book.close(e, explain.superseded(episode.profile.name))) for e in unknown]


def _order(event: AlarmEvent) -> int:
    """An end before what took its place, then the most urgent first."""
    return -1 if isinstance(event, Ended) else ("high", "medium", "low").index(event.alarm.priority)
