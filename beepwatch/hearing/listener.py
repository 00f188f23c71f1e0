"""Hearing as a whole: samples in; beeps, tones under way, hums and the noise out.

Pure: it owns no clock and does no input or output. All decisions fall at whole frames and refer to nothing later, so
any split of the samples into pushes gives the same events, and each says at which sample it could be known.
"""

from dataclasses import replace
from math import log10

import numpy as np

from beepwatch.events import Beep, Heard, Noise, Sounding, SteadyTone

from .baseband import KEPT_SECONDS, Audio
from .doubt import Doubt
from .faint import CERTAIN, LONGEST_DOUBT, goes_on, line_before, sounds_now
from .finish import Found, Stretch, bursts, collect, envelope, fitted, line_like, pieces
from .floor import BLOCK, FIRST, NoiseFloor, coherence_share
from .known import Known
from .ours import Ours
from .rows import Rows
from .search import Candidate, Search
from .sounders import Waiting, fundamental, order, together
from .spectrum import (
    BAND_BINS,
    BANDS,
    BIN_HZ,
    BINS,
    FRAME,
    HOP,
    HOP_SECONDS,
    LOW_BIN,
    RATE,
    WINDOW_POWER,
    Floats,
    Mask,
    bin_frequency,
    frame_end,
    power_rows,
)
from .tails import Tails
from .track import CHUNK, GUARD, JOIN, Track, advance, coarse_steps, go_on, open_track, put_off

HIGHEST = 5050.0
"""Hz: the highest tone looked for."""
UNHEARD_SHARE = 0.9
"""Share of half the sound's own rate up to which tones are heard (3.6 kHz at 8 kHz): its filter ends there."""
STEADY = 60.0
"""Seconds after which a tone is a hum and no beep."""
UNKNOWN_ONSET = 25.0
"""Seconds from the start within which a tone that was there already must end to be told as a beep."""
RELATIVES = 6
"""Frames (0.38 s) that a burst waits for a partial of the same sounder to end."""
MOST_TRACKS = 48
"""Tracks followed at once; a chord of 40 notes has more, and none of them is a beep."""
UNHEARD_POWER = 0.5e-12
"""Noise power taken at least, -120 dBFS: digital silence would make every SNR infinite."""
CLEAR = 8.0
"""Level over noise from which a tone is looked through for silences: weaker ones cannot show any (`pulses.MISSED`)."""
FAINT, LASTING = 8.0, 2.0
"""Level over noise under which the end of a tone of so many seconds is asked for a second time, in its own phase."""
RECENT = 750
"""Steps (3 s) in which a silence is looked for: after as much tone the longest gap is allowed anyway."""
FAINT_HUM = 1.5
"""Level over noise under which a lasting line is taken for the noise's own colour and not told."""
IN_BAND = 2 * BINS / FRAME / WINDOW_POWER
"""Variance in the bins kept, over their mean power (Parseval): the noise is at least that."""
EDGES = tuple(bin_frequency((band + 1) * BAND_BINS) for band in range(BANDS))
"""Hz: the upper edge of each band."""
STALE = 30
"""Blocks (a minute) without a moment free of tones after which the noise is read from the quieter moments with them."""
SAME_LINE = 0.01
"""Relative: two bursts at one time this near are one (tracks hold 5 bins on each side, 1.4 % of 2.7 kHz)."""


class Hearing:
    """The listening state of one stream of samples at RATE Hz."""

    def __init__(
        self,
        channels: int = 1,
        tone: float | None = None,
        bandwidth: float = RATE / 2,
        asked: tuple[float, ...] = (13.0, 23.0),
        length: float | None = None,
        *,
        ours: Ours | None = None,
    ) -> None:
        """Listen to `channels` channels.

        tone: Hz, the device's tone where it is known (to 3 %). bandwidth: Hz up to which the sound holds anything (half
        the rate of its source, at most 8000). asked: seconds at which a tone still under way is reported.
        length: s of the device's breath-long beep, where it was taught with the tone. ours: when our own sound is in
        the room; it may be told so between two pushes.
        """
        self.channels, self.asked = channels, asked
        self._ours = Ours() if ours is None else ours
        self.known = None if tone is None else Known(tone, length)
        top = HIGHEST if bandwidth >= RATE / 2 else min(HIGHEST, UNHEARD_SHARE * bandwidth)
        self._highest = int(top / BIN_HZ) - LOW_BIN + 1
        self._floors: list[NoiseFloor] = []
        self._quiet = np.full(channels, UNHEARD_POWER)
        self._share: Floats = np.full(BANDS, 1 / channels, np.float32)
        """Looks that the channels are worth over their number, by band; copies of one until it is measured."""
        self._shares = 0
        self._stale = 0
        self._serial = 0
        self._origin = 0
        self._restart()

    def _restart(self) -> None:
        """Begin counting frames anew, after a gap or at the start."""
        self._audio = Audio(self.channels)
        self._rows = Rows(self.channels)
        self._search = Search(self.channels, 0, self._highest)
        self._search.look_near(None if self.known is None else self.known.bins)
        self._free_from = np.zeros(BINS, np.int64)
        self._tails = Tails()
        self._faint_from = np.zeros(BINS, np.int64)
        self._frame = 0
        self._tracks: list[Track] = []
        self._closings: list[Track] = []
        self._waiting: list[Waiting] = []
        self._recent: list[Waiting] = []
        self._ratios: Floats = np.empty((self.channels, BLOCK, BINS), np.float32)
        self._gains: Floats = np.empty((self.channels, BLOCK, BANDS), np.float32)
        """Those of the block under way, by channel."""
        self._out: list[tuple[int, Heard]] = []
        self._fitted: list[tuple[int, int, Found, tuple[int, ...]]] = []
        self._freeing: list[tuple[int, slice, int, bool]] = []
        self._near: list[Found] = []
        """Bursts near the known tone of the last KEPT_SECONDS."""
        self._closed_at: dict[int, int] = {}
        self._sounded: list[Found] = []
        self._doubt = Doubt()

    def know(self, tone: float | None, length: float | None = None) -> None:
        """From the next frame on listen for this beep; what is under way goes on."""
        self.known = None if tone is None else Known(tone, length)
        self._search.look_near(None if self.known is None else self.known.bins)

    @property
    def position(self) -> int:
        """Samples of stream time so far, lost ones included."""
        return self._origin + self._audio.end

    def push(self, samples: Floats) -> list[Heard]:
        """Hear float32 samples of shape (channels, n), full scale +-1, all finite; return what became known."""
        events: list[Heard] = []
        begin = 0
        while begin < samples.shape[1]:
            border = frame_end(self._frame - self._frame % BLOCK + BLOCK - 1)
            stop = begin + max(border - self._audio.end, HOP)
            self._audio.push(samples[:, begin:stop])
            events += self._work()
            begin = stop
        return events

    def skip(self, count: int) -> list[Heard]:
        """Pass over `count` lost samples: what sounded before them is ended, and frames begin anew."""
        events = self.flush()
        self._origin += count
        return events

    def flush(self) -> list[Heard]:
        """End everything that still sounds; hearing may go on afterwards as after a gap."""
        end = self._audio.end
        if end == 0:
            return []
        fill = 3 * HOP - (end % HOP)
        self._audio.push(np.zeros((self.channels, max(fill, (FIRST * HOP + HOP) - end)), np.float32))
        events = self._work()
        for track in self._tracks:
            if not track.hum:
                track.ended = track.least_frame if track.ended is None else track.ended
                track.closed = self._frame - 1
                self._closings.append(track)
        self._tracks = []
        events += self._settle(self._frame, final=True)
        events = [_not_after(event, (self._origin + end) / RATE) for event in events]
        self._origin += end
        self._restart()
        return events

    # -- frames ---------------------------------------------------------------------------------------------------

    def _work(self) -> list[Heard]:
        events: list[Heard] = []
        while True:
            ready = (self._audio.end - (HOP * 2)) // HOP + 1 - self._frame
            if not self._floors and ready < FIRST:
                return events
            count = min(ready, BLOCK - self._frame % BLOCK)
            if count <= 0:
                return events
            events += self._hear(count)

    def _hear(self, count: int) -> list[Heard]:
        """Take in the next `count` frames, all of one block."""
        first, stop = self._frame, self._frame + count
        ratio = self._normalise(first, count)
        self._frame = stop
        faint = [track for track in self._tracks if track.faint]
        for track in self._tracks:
            if not track.faint:
                self._follow(track, stop)
        taken, splashed = self._rows.held(first, stop), self._rows.splashed(first, stop)
        candidates = self._search.push(
            ratio, first, self._free_from, taken, splashed,
            faint_from=self._faint_from, pairs_from=self._tails.begin,
        )  # fmt: skip
        for candidate in candidates:
            self._consider(candidate, stop, faint)
        for track in faint:
            self._follow(track, stop)
        self._set_free(stop)
        self._tracks = [t for t in self._tracks if t.closed is None]
        events = self._settle(stop)
        if stop % BLOCK == 0:
            events.append(self._learn(stop))
        return events

    def _normalise(self, first: int, count: int) -> Floats:
        """Ratio of power to noise of the next frames, all channels' mean; rows and block are kept."""
        power = [power_rows(channel) for channel in self._audio.view(first * HOP, frame_end(first + count - 1))]
        if not self._floors:
            self._floors = [NoiseFloor(rows[:FIRST]) for rows in power]
        at = first % BLOCK
        ratios, gains = self._ratios[:, at : at + count], self._gains[:, at : at + count]
        for channel, floor in enumerate(self._floors):
            ratios[channel], gains[channel] = floor.normalise(power[channel])
        alive = [r for r, floor in zip(ratios, self._floors, strict=True) if floor.alive] or [ratios[0]]
        ratio: Floats = alive[0]
        if len(alive) > 1:
            spread = np.repeat(np.sqrt(self._share * (self.channels / len(alive))), BAND_BINS)
            ratio = 1 + (np.mean(alive, axis=0) - 1) * np.minimum(spread, 1).astype(np.float32)
        self._rows.push(ratio, gains, [floor.floor for floor in self._floors], self._share)
        if first == 0 and self._quiet[0] == UNHEARD_POWER:
            self._quiet = np.maximum(np.quantile(self._energies(0, FIRST), 0.2, axis=1), UNHEARD_POWER)
        return ratio

    def _energies(self, first: int, stop: int) -> Floats:
        """Variance of the sound in the later half of each frame first <= t < stop, (channels, n)."""
        hops = self._audio.view((first + 1) * HOP, (stop + 1) * HOP).reshape(self.channels, stop - first, HOP)
        energies: Floats = np.einsum("ctn,ctn->ct", hops, hops) / HOP - np.square(hops.sum(axis=2) / HOP)
        return energies

    def _learn(self, stop: int) -> Noise:
        """At a block's end: let floors and the quiet level follow the room, and tell the noise."""
        ratios, gains = self._ratios, self._gains
        self._ratios, self._gains = np.empty_like(ratios), np.empty_like(gains)
        energies = self._energies(stop - BLOCK, stop)
        if self.channels > 1:
            share = coherence_share(ratios)
            self._share = share if self._shares == 0 else 0.75 * self._share + 0.25 * share
            self._shares += 1
        busy = self._busy(stop)
        for channel, floor in enumerate(self._floors):
            floor.learn(ratios[channel], gains[channel], busy)
        toned = self._rows.held(stop - BLOCK, stop).copy()
        for track in self._tracks:
            if track.hum:
                toned[:, max(track.pair - 1, 0) : track.pair + 3] = False
        calm = energies[:, ~toned.any(axis=1)]
        self._stale = 0 if calm.shape[1] >= 4 else self._stale + 1
        if self._stale == 0:
            self._quiet = np.maximum(np.sort(calm, axis=1)[:, calm.shape[1] // 2], UNHEARD_POWER)
        elif self._stale > STALE:
            self._quiet = np.maximum(np.quantile(energies, 0.2, axis=1), UNHEARD_POWER)
        return self._noise(stop, gains)

    def _busy(self, stop: int) -> Mask:
        """Where tones sounded in the block before the one that ends with frame `stop`, shape (BLOCK, BINS)."""
        first = stop - 2 * BLOCK
        busy = np.zeros((BLOCK, BINS), np.bool_)
        for track in self._tracks:
            if not (track.hum or track.faint) and track.seconds(stop) > 0.3 and line_like(track, self._rows, stop):
                wide = max(4, track.reach // 2)
                busy[max(track.start - 1 - first, 0) :, max(track.pair - wide, 0) : track.pair + wide + 2] = True
        for found in self._sounded:
            k = round(found.hertz / BIN_HZ) - LOW_BIN
            begin, end = int(found.onset * RATE / HOP) - 2, int(found.end * RATE / HOP) + 2
            busy[max(begin - first, 0) : max(end - first, 0), max(k - 4, 0) : k + 5] = True
        self._sounded = [found for found in self._sounded if found.end * RATE > (stop - BLOCK) * HOP]
        return busy

    def _noise(self, stop: int, gains: Floats) -> Noise:
        """Noise of each band over the last block, of the quietest channel alive."""
        floors = np.stack([floor.floor for floor in self._floors]).reshape(self.channels, BANDS, BAND_BINS).mean(axis=2)
        middle = np.partition(gains, gains.shape[1] // 2, axis=1)[:, gains.shape[1] // 2]
        power = (floors * middle * (2 / WINDOW_POWER)).min(axis=0)
        levels = 10 * np.log10(np.maximum(power, UNHEARD_POWER))
        bands = tuple(zip(EDGES, np.round(levels, 1).tolist(), strict=True))
        return Noise(self._seconds(stop - 1), bands)

    # -- tracks ---------------------------------------------------------------------------------------------------

    def _consider(self, candidate: Candidate, stop: int, faint: list[Track]) -> None:
        """Open a track at a candidate unless its bin is another's; faint ones are followed no further than to it."""
        frame, bin_ = candidate.frame, candidate.bin
        for one in faint:
            self._follow(one, frame + 1)
        self._set_free(frame)
        earliest = int((self._faint_from if candidate.faint else self._free_from)[bin_])
        if frame - candidate.length + 1 < earliest:
            earliest = frame - candidate.length + 1
            if candidate.length > 2 or candidate.faint or not self._tails.passed(self._rows, frame, bin_):
                return
        if self._rows.taken(frame, bin_, splashed=candidate.length <= 2, faint=candidate.faint):
            return
        crowded = len(self._tracks) >= MOST_TRACKS
        others = (t for t in self._tracks if not t.faint and (t.closed is None or t.closed >= frame))
        if crowded and sum(1 for _ in others) >= MOST_TRACKS:
            return
        track = open_track(self._rows, frame, bin_, candidate.length, earliest)
        if track is None or not self._give_way(faint, track, frame):
            return
        self._serial += 1
        track.serial, track.faint = self._serial, candidate.faint
        self._tracks.append(track)
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
            self._closed_at[one.serial] = frame
        return True

    def _follow(self, track: Track, stop: int) -> None:
        """Follow a track to frame `stop`, looking at it at its chunk borders."""
        if track.closed is not None:
            return
        while track.next < stop and track.closed is None:
            advance(track, self._rows, stop)
            if track.closed is not None:
                self._ask_again(track)
            whole = (track.next - track.start) % CHUNK == 0
            if track.closed is None and whole and track.next - track.start >= 2 * CHUNK:
                self._look(track)
        if track.closed is not None:
            if not track.dropped:
                self._free(track)
            self._closed_at[track.serial] = track.told_at
            if not track.hum and not track.dropped:
                self._closings.append(track)

    def _ask_again(self, track: Track) -> None:
        """Was the end of a long tone only its noise, or is it back just now? Wait until that can be told."""
        frame, last = track.next - 1, track.last
        passed_over = track.hum or track.dropped or track.seconds(last) < LASTING
        if passed_over or not line_like(track, self._rows, last + 1):
            return
        collect(track, self._rows, self._audio, frame + 1)
        whole = envelope(track)
        if track.strength(self._rows) >= FAINT:
            if sounds_now(whole, track.level / float(self._rows.noise_at(frame, frame + 1, track.pair)[0])):
                put_off(track, JOIN + 3 * HOP_SECONDS)
            return
        begin, end = coarse_steps(track, last)
        before = line_before(whole, max(begin, whole.first, track.cut), end)
        if before is None:
            return
        track.rate = max(track.rate, before.rate)
        if not put_off(track, min(CERTAIN / track.rate, LONGEST_DOUBT)) and goes_on(
            whole, replace(before, rate=track.rate), end
        ):
            go_on(track)

    def _free(self, track: Track) -> None:
        """Once it has closed, let its bins be searched again, in frames after the tone and its loud tail."""
        closed = track.next - 1
        noise = float(self._rows.noise_at(closed, closed + 1, track.pair)[0])
        tail = log10(max(track.level / max(noise, 1e-30) / 80, 1.0)) / 6
        bins = slice(max(track.pair - GUARD - 1, 0), track.pair + GUARD + 3)
        self._freeing.append((closed, bins, track.last + 2 + int(tail / HOP_SECONDS), track.faint))
        self._tails.follow(closed, bins, track.last + 2, track.level / max(noise, 1e-30))

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
        due = track.told < len(self.asked) and track.seconds(frame) >= self.asked[track.told]
        steady, clear = track.seconds(frame) > STEADY, track.strength(self._rows) > CLEAR
        border = (frame + 1 - track.start) % (16 * CHUNK) == 0
        if (
            track.hum
            or not (due or steady or (clear and track.dipped) or border)
            or not line_like(track, self._rows, track.next)
        ):
            return
        collect(track, self._rows, self._audio, track.next)
        if steady:
            self._tell_steady(track)
            return
        if clear and track.dipped:
            self._tell_pulses(track, frame)
            track.dipped = False
        while track.told < len(self.asked) and track.seconds(frame) >= self.asked[track.told]:
            self._tell_sounding(track, frame, track.told_at)
            track.told += 1

    def _tell_steady(self, track: Track) -> None:
        """From now on it is a hum, which the floor may learn."""
        if track.cut == 0 and track.strength(self._rows) > FAINT_HUM:
            whole = envelope(track)
            last = whole.first + whole.z.shape[1]
            recent = Stretch(whole.part(last - RECENT, last), last - RECENT, last - 1)
            found = fitted(track, self._rows, recent, self._known(track.tone))
            if found is not None:
                known = track.told_at
                onset = self._seconds_at(track.start * HOP + HOP)
                self._out.append((known, SteadyTone(onset, found.hertz, found.level, self._seconds(known))))
        track.hum, track.faint, track.chunks = True, False, []

    def _tell_pulses(self, track: Track, frame: int) -> None:
        """Close the pulses that a silence has ended while the track goes on."""
        whole = envelope(track)
        begin, end = coarse_steps(track, frame - 1)
        begin, end = max(begin, float(track.cut), float(whole.first)), min(end, whole.first + whole.z.shape[1] - 1.0)
        parts = pieces(whole, max(begin, end - RECENT), end, final=False)
        for i, (a, b, low, high) in enumerate(parts[:-1]):
            first, wall = (begin, whole.first) if i == 0 else (a, low)
            stretch = Stretch(whole.part(max(wall, track.cut), high), first, b)
            found = fitted(track, self._rows, stretch, self._known(track.tone))
            if found is not None:
                self._fitted.append((track.told_at, track.serial, found, ()))
        if len(parts) > 1:
            track.cut = parts[-1][2]

    def _tell_sounding(self, track: Track, frame: int, known: int) -> None:
        if track.cut:
            return
        whole = envelope(track)
        begin, end = coarse_steps(track, frame)
        last = whole.first + whole.z.shape[1] - 1.0
        found = fitted(
            track, self._rows, Stretch(whole, max(begin, whole.first), min(end, last)), self._known(track.tone)
        )
        if found is None:
            return
        onset = self._seconds_at(0) + found.onset
        self._out.append(
            (known, Sounding(onset, self._seconds(frame) - onset, found.hertz, found.level, self._snr(found),
                             self._seconds(known), not found.at_start, found.character))
        )  # fmt: skip

    def _known(self, hertz: float) -> Known | None:
        """The beep that is listened for, if `hertz` is near it."""
        return self.known if self.known is not None and self.known.near(hertz) else None

    # -- what is told ---------------------------------------------------------------------------------------------

    def _settle(self, stop: int, final: bool = False) -> list[Heard]:
        """Fit what closed before frame `stop`, tell what waits for nothing more, and return all in order of time."""
        for track in sorted(self._closings, key=lambda t: (t.closed or 0, t.serial)):
            self._finish(track)
        self._closings = []
        for frame, _, found, relatives in sorted(self._fitted, key=lambda item: item[:2]):
            self._hold_back(found, frame, relatives)
        self._fitted = []
        dues = [(w.frame if final else self._due(w, stop), w) for w in self._waiting]
        for due, waiting in sorted(((d, w) for d, w in dues if d is not None), key=lambda item: item[0]):
            self._tell(waiting, due)
        self._waiting = [w for due, w in dues if due is None]
        told = sorted(self._out, key=lambda item: (item[0], _order(item[1])))
        self._out = []
        horizon = (stop - 40) * HOP_SECONDS
        self._recent = [w for w in self._recent if w.found.end > horizon]
        if len(self._closed_at) > 1024:
            self._closed_at = {s: f for s, f in self._closed_at.items() if f > stop - 64}
        return [event for _, event in told]

    def _finish(self, track: Track) -> None:
        frame, last = track.told_at, track.last
        if track.seconds(last) > STEADY or not line_like(track, self._rows, min(last + 1, self._rows.end)):
            return
        collect(track, self._rows, self._audio, frame + 1)
        for found in bursts(track, self._rows, self._known(track.tone)):
            if found.at_start and found.duration > UNKNOWN_ONSET:
                continue
            self._fitted.append((frame, track.serial, found, self._relatives(track, frame)))

    def _relatives(self, track: Track, frame: int) -> tuple[int, ...]:
        """Tracks still under way after `frame` that began with this one at a multiple or a part of its tone."""
        return tuple(
            other.serial
            for other in (*self._tracks, *self._closings)
            if other is not track
            and (other.closed is None or other.told_at > frame)
            and other.opened <= frame
            and (order(other.tone, track.tone) or order(track.tone, other.tone))
        )

    def _hold_back(self, found: Found, frame: int, relatives: tuple[int, ...]) -> None:
        if self._known(found.hertz) is not None and self._told_before(found):
            return
        known = self._known(found.hertz) is not None
        found = self._ours.apart(found, self._seconds_at(0), known)
        sounder = self._doubt.sounder(found, known)
        self._sounded.append(found)
        self._waiting.append(Waiting(found, sounder, frame, frame + RELATIVES, relatives))

    def _told_before(self, found: Found) -> bool:
        """Was it told already of a faint track, which hides nothing from the ordinary search?"""
        self._near = [old for old in self._near if old.end > found.end - KEPT_SECONDS]
        if any(together(found, old) and abs(found.hertz / old.hertz - 1) < SAME_LINE for old in self._near):
            return True
        self._near.append(found)
        return False

    def _due(self, waiting: Waiting, stop: int) -> int | None:
        """Frame at which a held-back burst can be told, None while it is not before `stop`."""
        ends = [waiting.frame]
        for track in self._tracks:
            if track.serial in waiting.relatives:
                ends.append(waiting.due)
        ends += [self._closed_at[s] for s in waiting.relatives if s in self._closed_at]
        due = min(max(ends), waiting.due)
        return due if due < stop else None

    def _tell(self, waiting: Waiting, frame: int) -> None:
        others = [w for w in (*self._waiting, *self._recent) if w is not waiting and w.frame <= frame]
        self._recent.append(waiting)
        found = fundamental(waiting, others)
        if found is None or not waiting.sounder:
            return
        beep = Beep(
            self._seconds_at(0) + found.onset, found.duration, found.hertz, found.level, self._snr(found),
            self._seconds(frame), not found.at_start, found.character,
        )  # fmt: skip
        self._out.append((frame, beep))

    def _snr(self, found: Found) -> float:
        stop = min(max(int(found.onset * RATE / HOP) - 1, self._rows.begin + 1), self._rows.end)
        before = self._rows.noise(max(stop - 8, self._rows.begin), stop, 0, BINS)[found.channel]
        in_band = np.median(before.mean(axis=1)) * IN_BAND
        return found.level - 10 * log10(2 * max(float(self._quiet[found.channel]), float(in_band)))

    def _seconds_at(self, sample: int) -> float:
        return (self._origin + sample) / RATE

    def _seconds(self, frame: int) -> float:
        """Stream time at which `frame` is complete."""
        return self._seconds_at(frame_end(frame))


def _order(event: Heard) -> tuple[float, float]:
    """Order of events that became known at the same frame."""
    if isinstance(event, Noise):
        return (event.at, 0.0)
    return (event.onset, event.frequency)


def _not_after(event: Heard, end: float) -> Heard:
    """The event, known no later than the end of the sound."""
    if isinstance(event, Noise):
        return replace(event, at=min(event.at, end))
    return replace(event, known=min(event.known, end))
