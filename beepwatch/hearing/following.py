"""Which tones are under way: tracks opened where the search finds a line, followed, told of while they last, closed."""

from dataclasses import replace
from math import log10

import numpy as np

from beepwatch.events import Heard, Sounding, SteadyTone

from .background import Background
from .baseband import STEP_SECONDS
from .cusum import advance
from .faint import CERTAIN, LONGEST_DOUBT, SHORT_DOUBT, SOON, goes_on, line_before, sounds_now
from .finish import Found, Stretch, collect, envelope, fitted, harmonics_of, pieces
from .fit import gathered
from .glide import glides
from .kin import WAIT, relatives
from .known import Known
from .looks import line_like
from .nulls import fades
from .opening import open_track
from .search import Candidate, Search
from .spectrum import BIN_HZ, BINS, HOP, HOP_SECONDS, LOW_BIN, RATE, Floats
from .stream import Stream
from .tails import Tails
from .track import CHUNK, GUARD, JOIN, Track, can_wait, coarse_steps, go_on, put_off
from .verdict import EVIDENCE

HIGHEST = 5050.0
"""Hz: the highest tone looked for."""
UNHEARD_SHARE = 0.9
"""Share of half the sound's own rate up to which tones are heard (3.6 kHz at 8 kHz): its filter ends there."""
STEADY = 60.0
"""Seconds after which a tone is a hum and no beep."""
MOST_TRACKS = 48
"""Tracks followed at once; a chord of 40 notes has more, and none of them is a beep."""
CLEAR = 8.0
"""Level over noise from which a tone is looked through for silences: weaker ones cannot show any (`pulses.MISSED`)."""
FAINT, LASTING = 12.0, 2.0
"""Level over noise under which the end of a tone is asked for a second time, in its own phase (-18.5 dB for a tone in
white noise; lucky frames show one of -26 dB so); clear tones of so many seconds are asked whether they are back."""
TOLD = 1.5 * EVIDENCE
"""Power beyond noise, summed over its frames, under which a shorter faint one would hardly be told alone: there is no
harm if it ends too early (`looks.LEAST_LINE`)."""
LEAST_FADE, LONGEST_FADE = 0.2, 0.85
"""Seconds from which a clear shorter one is asked whether it fades in a null of the room, and until which it is then
waited for (judgement: most of a breath-long beep)."""
BEHIND = 1.0
"""Seconds by which the end that fits a tone under way best may lie behind the last frame: a null of the room is waited
for as long (LONGEST_FADE); of what has ended before the track was only not closed yet."""
RECENT = 750
"""Steps (3 s) in which a silence is looked for: after as much tone the longest gap is allowed anyway."""
FAINTEST, LEAST_GATHERED = 1.0, 0.55
"""Level over noise (-29.5 dB for a tone in white noise) up to which a track is asked each 8 s whether it is noise, and
nats a second that a tone gathers at least. Measured: in an hour of noise 23 of 32 such tracks have less after 8 s, 30
after 16, and some went on for 100 s; of 100 beeps of 10 s 99 are heard at -28 dB as without it, 47 of 50 at -30."""
FAINT_HUM = 1.5
"""Level over noise under which a lasting line is taken for the noise's own colour and not told."""


class Following:
    """The tracks of one stream since its (re)start."""

    def __init__(self, stream: Stream, background: Background, bandwidth: float, asked: tuple[float, ...]) -> None:
        """bandwidth: Hz up to which the sound holds anything. asked: seconds at which a tone under way is reported."""
        top = HIGHEST if bandwidth >= RATE / 2 else min(HIGHEST, UNHEARD_SHARE * bandwidth)
        self._stream, self._background, self._asked = stream, background, asked
        self._search = Search(background.channels, 0, int(top / BIN_HZ) - LOW_BIN + 1)
        self._known: Known | None = None
        self._free_from = np.zeros(BINS, np.int64)
        self._faint_from = np.zeros(BINS, np.int64)
        self._freeing: list[tuple[int, slice, int, bool]] = []
        self._tails = Tails()
        self._serial = 0
        self.tracks: list[Track] = []
        """Those under way."""
        self._gone: list[Track] = []
        """Those that have closed in the frames last heard, dropped ones too."""
        self.closings: list[Track] = []
        """Those that have closed and are not fitted yet."""
        self.closed_at: dict[int, int] = {}
        """Frames at which tracks closed, by serial number."""
        self.fitted: list[tuple[int, int, Found, tuple[int, ...], int]] = []
        """(frame at which it is known, serial number, burst, those of its relatives, frames it waits for these)."""
        self.out: list[tuple[int, Heard]] = []
        """(frame, what became known at it)."""

    def know(self, known: Known | None) -> None:
        """From the next frame on listen for this beep."""
        self._known = known
        self._search.look_near(None if known is None else known.bins)

    def hear(self, ratio: Floats, first: int, stop: int) -> None:
        """Follow and look for tones through frames first <= t < stop, of power over noise `ratio`, (n, BINS)."""
        faint = [track for track in self.tracks if track.faint]
        for track in self.tracks:
            if not track.faint:
                self._follow(track, stop)
        taken, splashed = self._stream.rows.held(first, stop), self._stream.rows.splashed(first, stop)
        candidates = self._search.push(
            ratio, first, self._free_from, taken, splashed,
            faint_from=self._faint_from, pairs_from=self._tails.begin,
        )  # fmt: skip
        for candidate in candidates:
            self._consider(candidate, stop, faint)
        for track in faint:
            self._follow(track, stop)
        self._set_free(stop)
        self._gone = [t for t in self.tracks if t.closed is not None]
        self.tracks = [t for t in self.tracks if t.closed is None]

    def end(self, stop: int) -> None:
        """The stream ends before frame `stop`: so do all tones but hums."""
        for track in self.tracks:
            if not track.hum:
                track.ended = track.least_frame if track.ended is None else track.ended
                track.closed = stop - 1
                self.closings.append(track)
        self._gone, self.tracks = self.tracks, []

    def known(self, hertz: float) -> Known | None:
        """The beep that is listened for, if `hertz` is near it."""
        return self._known if self._known is not None and self._known.near(hertz) else None

    def _consider(self, candidate: Candidate, stop: int, faint: list[Track]) -> None:
        """Open a track at a candidate unless its bin is another's; faint ones are followed no further than to it."""
        frame, bin_ = candidate.frame, candidate.bin
        for one in faint:
            self._follow(one, frame + 1)
        self._set_free(frame)
        earliest = int((self._faint_from if candidate.faint else self._free_from)[bin_])
        if frame - candidate.length + 1 < earliest:
            earliest = frame - candidate.length + 1
            brief = candidate.loud or (candidate.length <= 2 and not candidate.faint)
            if not brief or not self._tails.passed(self._stream.rows, earliest + 1, bin_):
                return
        if self._stream.rows.taken(frame, bin_, splashed=candidate.length <= 2, faint=candidate.faint):
            return
        if candidate.loud and not self._stream.rows.splashed(frame, frame + 1)[0, bin_]:
            return
        crowded = len(self.tracks) >= MOST_TRACKS
        others = (t for t in self.tracks if not t.faint and (t.closed is None or t.closed >= frame))
        if crowded and sum(1 for _ in others) >= MOST_TRACKS:
            return
        track = open_track(self._stream.rows, frame, bin_, candidate.length, earliest)
        if track is None or not self._give_way(faint, track, frame):
            return
        self._serial += 1
        track.serial, track.faint = self._serial, candidate.faint
        track.near_known = self.known(track.tone) is not None
        self.tracks.append(track)
        self._follow(track, frame + 1 if track.faint else stop)
        if track.faint:
            faint.append(track)

    def _give_way(self, faint: list[Track], fresh: Track, frame: int) -> bool:
        """Drop the faint tracks in the way of a new one; False where one of them has told of itself already."""
        near = [one for one in faint if one.closed is None and abs(one.pair - fresh.pair) <= GUARD]
        if any(one.told or one.cut for one in near):
            return False
        for one in near:
            one.closed, one.dropped = frame, True
            self.closed_at[one.serial] = frame
        return True

    def _follow(self, track: Track, stop: int) -> None:
        """Follow a track to frame `stop`, looking at it at its chunk borders."""
        if track.closed is not None:
            return
        while track.next < stop and track.closed is None:
            advance(track, self._stream.rows, stop)
            if track.closed is not None:
                self._ask_again(track)
            whole = (track.next - track.start) % CHUNK == 0
            if track.closed is None and whole and track.next - track.start >= 2 * CHUNK:
                self._look(track)
        if track.closed is not None:
            if not track.dropped:
                self._free(track)
            self.closed_at[track.serial] = track.told_at
            if not track.hum and not track.dropped:
                self.closings.append(track)

    def _ask_again(self, track: Track) -> None:
        """Was the end only a fade or its noise, or is it back just now? Wait until that can be told."""
        frame, last = track.next - 1, track.last
        strength, short = track.strength(self._stream.rows), track.seconds(last) < LASTING
        untold = short and strength < FAINT and strength * track.count < TOLD
        passed_over = track.hum or track.dropped or track.outshone or untold or track.seconds(last) < LEAST_FADE
        if passed_over or not line_like(track, self._stream.rows, last + 1):
            return
        collect(track, self._stream.rows, self._stream.audio, frame + 1)
        whole = envelope(track)
        if strength >= FAINT and short:
            self._wait_out_null(track)
            return
        if strength >= FAINT:
            if sounds_now(whole, track.level / self._stream.rows.noise_in(frame, track.pair)):
                put_off(track, JOIN + 3 * HOP_SECONDS)
            return
        begin, end = coarse_steps(track, last)
        before = line_before(whole, max(begin, whole.first, track.cut), end)
        if before is None:
            return
        track.rate = max(track.rate, before.rate)
        certain, longest = (CERTAIN, LONGEST_DOUBT) if track.seconds(last) > LASTING else (SOON, SHORT_DOUBT)
        if not put_off(track, min(certain / track.rate, longest)) and goes_on(
            whole, replace(before, rate=track.rate), end
        ):
            go_on(track)
        elif short and track.closed is not None:
            self._wait_out_null(track)

    def _wait_out_null(self, track: Track) -> None:
        """Wait for a short one whose end may be a null of the room."""
        harmonics, (_, border) = harmonics_of(track, self._stream.audio), coarse_steps(track, track.last)
        if can_wait(track, LONGEST_FADE) and fades(envelope(track), harmonics, int(border)):
            put_off(track, LONGEST_FADE)

    def _free(self, track: Track) -> None:
        """Once it has closed, let its bins be searched again, in frames after the tone and its loud tail."""
        closed = track.next - 1
        noise = self._stream.rows.noise_in(closed, track.pair)
        tail = log10(max(track.level / max(noise, 1e-30) / 80, 1.0)) / 6
        bins = slice(max(track.pair - GUARD - 1, 0), track.pair + GUARD + 3)
        self._freeing.append((closed, bins, track.last + 2 + int(tail / HOP_SECONDS), track.faint))
        self._tails.follow(closed, bins, track.last + 2, track.level)

    def _set_free(self, frame: int) -> None:
        """Apply what tracks that closed up to `frame` said of their bins."""
        if not self._freeing:
            return
        self._tails.set(frame)
        for closed, bins, first, faint in self._freeing:
            if closed <= frame:
                self._faint_from[bins] = np.maximum(self._faint_from[bins], first)
                if not faint:
                    self._free_from[bins] = np.maximum(self._free_from[bins], first)
        self._freeing = [item for item in self._freeing if item[0] > frame]

    def _look(self, track: Track) -> None:
        """At a chunk border: tell finished pulses, lengths passed, and hums."""
        frame = track.next - 1
        due = track.told < len(self._asked) and track.seconds(frame) >= self._asked[track.told]
        steady, clear = track.seconds(frame) > STEADY, track.strength(self._stream.rows) > CLEAR
        border = (frame + 1 - track.start) % (16 * CHUNK) == 0
        if (
            track.hum
            or not (due or steady or (clear and track.dipped) or border)
            or not line_like(track, self._stream.rows, track.next)
        ):
            return
        collect(track, self._stream.rows, self._stream.audio, track.next)
        if border and self._drop_noise(track, frame):
            return
        if steady:
            self._tell_steady(track)
            return
        if clear and track.dipped:
            self._tell_pulses(track, frame)
            track.dipped = False
        while track.told < len(self._asked) and track.seconds(frame) >= self._asked[track.told]:
            if not self._tell_sounding(track, frame, track.told_at):
                return  # asked again at the next look
            track.told += 1

    def _drop_noise(self, track: Track, frame: int) -> bool:
        """Drop a faint track that gathers less than any tone that is told; its bins are searched anew from here on."""
        if track.ended is not None or track.cut or track.strength(self._stream.rows) > FAINTEST:
            return False
        whole = envelope(track)
        begin, end = coarse_steps(track, frame)
        begin, end = max(begin, whole.first), min(end, whole.first + whole.z.shape[1] - 1.0)
        if gathered(whole, begin, end) > LEAST_GATHERED * (end - begin) * STEP_SECONDS:
            return False
        track.ended, track.closed, track.dropped = frame, frame, True
        self._free(track)
        return True

    def _tell_steady(self, track: Track) -> None:
        """From now on it is a hum, which the floor may learn."""
        if track.cut == 0 and track.strength(self._stream.rows) > FAINT_HUM:
            whole = envelope(track)
            last = whole.first + whole.z.shape[1]
            recent = Stretch(whole.part(last - RECENT, last), last - RECENT, last - 1)
            found = fitted(track, self._stream.rows, recent, self.known(track.tone))
            if found is not None:
                known = track.told_at
                onset = self._stream.seconds_at(track.start * HOP + HOP)
                self.out.append((known, SteadyTone(onset, found.hertz, found.level, self._stream.seconds(known))))
        track.hum, track.faint, track.chunks = True, False, []

    def _tell_pulses(self, track: Track, frame: int) -> None:
        """Close the pulses that a silence has ended while the track goes on."""
        whole = envelope(track)
        begin, end = coarse_steps(track, frame - 1)
        begin, end = max(begin, float(track.cut), float(whole.first)), min(end, whole.first + whole.z.shape[1] - 1.0)
        harmonics = harmonics_of(track, self._stream.audio)
        recent = max(begin, end - RECENT)
        gliding, before = glides(track, recent), recent - begin
        parts = pieces(whole, harmonics, (recent, end), final=False, gliding=gliding, before=before)
        for i, (a, b, low, high) in enumerate(parts[:-1]):
            first, wall = (begin, whole.first) if i == 0 else (a, low)
            stretch = Stretch(whole.part(max(wall, track.cut), high), first, b)
            found = fitted(track, self._stream.rows, stretch, self.known(track.tone))
            if found is not None:
                self.fitted.append((track.told_at, track.serial, found, (), WAIT))
        if len(parts) > 1:
            track.cut = parts[-1][2]

    def _tell_sounding(self, track: Track, frame: int, known: int) -> bool:
        """Tell of a tone under way, if it is one; False where it seems to have ended, though its track goes on."""
        if track.cut:
            return True
        whole = envelope(track)
        begin, end = coarse_steps(track, frame)
        last = whole.first + whole.z.shape[1] - 1.0
        found = fitted(
            track, self._stream.rows, Stretch(whole, max(begin, whole.first), min(end, last)), self.known(track.tone)
        )
        if found is None:
            return True
        if self._stream.seconds_at(0) + found.end < self._stream.seconds(frame) - BEHIND:
            return False
        onset, snr = self._stream.seconds_at(0) + found.onset, self._background.snr(found, frame)
        self.out.append(
            (known, Sounding(onset, self._stream.seconds(frame) - onset, found.hertz, found.level, snr,
                             self._stream.seconds(known), not found.at_start, found.character))
        )  # fmt: skip
        return True

    def relatives(self, track: Track, frame: int) -> tuple[Track, ...]:
        """Tracks still under way after `frame` that may be of one sounder with it."""
        return relatives(track, (*self.tracks, *self._gone), frame)
