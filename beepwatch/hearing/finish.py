"""From a track to the bursts in it: its baseband, its pulses, their fit and their character."""

from dataclasses import dataclass, replace
from math import inf, log10

import numpy as np

from beepwatch.events import Character

from .baseband import MARGIN, STEP, STEP_SECONDS, Audio, demodulate, weights
from .beside import narrowed, nearest_line, reach
from .burst import Burst
from .carried import carried
from .character import describe, inside, steadiness
from .drift import Envelope
from .fit import fit_burst
from .glide import curved, glides, path, straightened
from .known import Known
from .looks import one_line, sight
from .nulls import Harmonics
from .pulses import GLIDING_GAP, SHORTEST_GAP, silences
from .rows import Rows
from .spectrum import BIN_HZ, BINS, HOP, LOW_BIN, RATE, WINDOW_POWER, Doubles, bin_frequency, frame_end
from .switched import switched
from .track import GUARD, Track, coarse_steps
from .verdict import BENT, NULLED, SOFT, alone, enough, within

LOOK_BACK = 120
"""Steps (0.48 s) of baseband kept before a track's first frame."""
FAINT_LOOK_BACK = 1250
"""The same (5 s) for tones first seen by a sum over a second or more, and for faint ones: their first frame is that
uncertain."""
FAINT_LEVEL = 4.0
"""Level over noise of a faint one."""
EIGHTHS = np.arange(9) / 8
LONGEST_LOOK = 26
"""Seconds of sound that are always kept still: the longest battery tone, 23 s, told up to 3 s after its end, has its
onset in them."""
OFF_HERTZ = 115.0
"""A line further from the local oscillator lies outside the baseband (+-125 Hz)."""
OFF_LINE = (GUARD + 1) * BIN_HZ
"""A line further (47 Hz) from where a faint track was opened and where it is now is another's: noise holds it, and
a louder tone that was nearer would have ended it (`cusum.OUTSHINES`)."""
OFF_TUNE = 0.5
"""Share of the distance to a line that is kept out by which the local oscillator may be off: the baseband is narrowed
to that much, and a louder tone may have come into the bins of one that was there before."""
LOWEST = 390.0
"""Hz: tones below have too few bins beside them to tell them from the hum of a house (400 Hz is asked)."""


@dataclass(frozen=True, slots=True)
class Found:
    """A burst with all that a beep needs; times in seconds since the stream's (re)start."""

    onset: float
    duration: float
    hertz: float
    level: float
    channel: int
    character: Character
    evidence: float
    at_start: bool
    paired: bool = False
    """It stands alone but for a hum or one other pure tone."""

    @property
    def end(self) -> float:
        """Seconds."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Stretch:
    """Baseband that a burst may use, and the steps at which it begins and ends at about."""

    part: Envelope
    begin: float
    end: float


def collect(track: Track, rows: Rows, audio: Audio, stop_frame: int) -> None:
    """Bring the sound up to the end of the frame before `stop_frame` down to the track's baseband."""
    seen = sight(track, rows, stop_frame)
    if track.measured is None or track.measured[0] != seen:
        track.measured = (seen, nearest_line(rows, seen[0], stop_frame, track.swept(seen[0])))
    apart = track.measured[1]
    if apart < track.apart:
        track.apart, track.chunks = apart, []
    strongest = _strongest(track, rows, stop_frame) if track.apart < inf else track.tone
    if abs(strongest - track.tone) > OFF_TUNE * track.apart:
        track.apart, track.chunks = apart, []
        track.tune(strongest, stop_frame - 1)
    elif not track.chunks:
        track.tune(0.5 * (track.tone + bin_frequency(track.pair + 0.5)), stop_frame - 1)
    margin = MARGIN + reach(track.apart)
    back = (frame_end(max(track.opened, stop_frame - 1)) - LONGEST_LOOK * RATE) // STEP
    if not track.chunks or track.chunk_next < back:
        faint = track.opened - track.start >= 16 or track.strength(rows) < FAINT_LEVEL
        before = FAINT_LOOK_BACK if faint else LOOK_BACK
        track.chunks = []
        track.chunk_first = track.chunk_next = max(track.start * HOP // STEP - before, back, margin)
    end = frame_end(stop_frame - 1) // STEP - margin
    if end <= track.chunk_next:
        return
    begin, track.chunk_next = track.chunk_next, end
    sound = audio.view((begin - margin) * STEP, (end + margin) * STEP)
    z = narrowed(demodulate(sound, begin - margin + MARGIN, track.tone), track.apart)
    track.chunks.append((z, weights(_step_noise(rows, track.pair, begin, end, stop_frame))))


def _strongest(track: Track, rows: Rows, stop: int) -> float:
    """Hz of the bin, from its local oscillator to where it is now, that held most power in its frames before `stop`."""
    first, tuned = max(track.start, rows.since(track.told_at)), int(track.tone / BIN_HZ) - LOW_BIN
    low, high = max(min(track.pair, tuned), 0), min(max(track.pair, tuned) + 2, BINS)
    power = np.add.reduce(rows.ratio(first, stop)[:, low:high] * rows.noise(first, stop, low, high)[0], axis=0)
    return bin_frequency(low + int(power.argmax()))


def _step_noise(rows: Rows, pair: int, begin: int, end: int, stop_frame: int) -> Doubles:
    """Noise variance of the sound at each step, (channels, n): the mean of the two frames that overlap it most."""
    low = max(rows.since(stop_frame), begin * STEP // HOP - 1)
    hops = np.arange(begin, end) * STEP // HOP - low
    pairs = rows.noise(low, stop_frame, pair, pair + 2)
    noise = (pairs[:, :, 0].astype(np.float64) + pairs[:, :, 1]) / 2
    if len(noise) > 1:
        noise /= rows.share(low, stop_frame, pair)
    mean: Doubles = noise.take(hops - 1, axis=1, mode="clip") + noise.take(hops, axis=1, mode="clip")
    mean *= 0.5 / WINDOW_POWER
    return mean


def envelope(track: Track) -> Envelope:
    """All baseband collected so far."""
    if len(track.chunks) > 1:
        z = np.concatenate([z for z, _ in track.chunks], axis=1)
        weight = np.concatenate([w for _, w in track.chunks], axis=1)
        track.chunks = [(z, weight)]
    return Envelope(*track.chunks[0], track.chunk_first, track.tone)


def harmonics_of(track: Track, audio: Audio) -> Harmonics:
    """Of a track, over what was collected of it in the last LONGEST_LOOK seconds."""
    return Harmonics(audio, track.tone, track.chunk_next - LONGEST_LOOK * RATE // STEP)


def pieces(
    whole: Envelope, harmonics: Harmonics, about: tuple[float, float], final: bool, *, gliding: bool, before: float = 0
) -> list[tuple[float, float, int, int]]:
    """Pulses between the two steps `about`: (begin, end, first step it may use, step after the last).

    before: steps that the first had lasted already.
    """
    (begin, end), stop = about, whole.first + whole.z.shape[1]
    least = GLIDING_GAP if gliding else SHORTEST_GAP
    gaps = silences(whole.part(int(begin), int(end) + 1), harmonics, final, least, int(before))
    starts = [begin, *(float(b) for _, b in gaps)]
    ends = [*(float(a) for a, _ in gaps), end]
    walls = [whole.first, *((a + b) // 2 for a, b in gaps), stop]
    return [(a, b, walls[i], walls[i + 1]) for i, (a, b) in enumerate(zip(starts, ends, strict=True))]


def bursts(track: Track, rows: Rows, audio: Audio, known: Known | None) -> list[Found]:
    """The bursts of a track that has ended, fitted and described."""
    whole = envelope(track)
    begin, end = coarse_steps(track, track.last)
    begin = max(begin, float(track.cut), float(whole.first))
    if not one_line(whole.part(int(begin), int(end) + 1), known is not None):
        return []
    found = []
    harmonics = harmonics_of(track, audio)
    parts = pieces(whole, harmonics, (begin, end), final=True, gliding=glides(track, begin))
    for a, b, low, high in parts:
        if b - a < 4:
            continue
        stretch = Stretch(whole.part(max(low, track.cut), high), a, b)
        one = fitted(track, rows, stretch, known, looked_at=len(parts) == 1, harmonics=harmonics)
        if one is not None:
            found.append(one)
    return found


def fitted(
    track: Track, rows: Rows, stretch: Stretch, known: Known | None, *,
    looked_at: bool = False, harmonics: Harmonics | None = None,
) -> Found | None:  # fmt: skip
    """Fit and describe one burst; None without evidence.

    known: the beep that is listened for, if it is near. looked_at: it is one line, as far as a cheap look tells.
    harmonics: those that may show where it begins and ends.
    """
    part = stretch.part
    if not looked_at and not one_line(part.part(int(stretch.begin), int(stretch.end) + 1), known is not None):
        return None
    burst = _fit(track, rows, stretch, None if known is None else known.length)
    if not enough(burst, known is not None):
        return None
    hertz = track.tone + float(np.add.reduce(burst.drift.hertz(burst.begin + EIGHTHS * (burst.end - burst.begin)))) / 9
    if not _own(track, rows, hertz) or not LOWEST <= hertz <= bin_frequency(BINS - 5):
        return None
    channel = _loudest(part, burst)
    steady = steadiness(inside(part, burst, channel), channel, burst.seconds)
    spoilt = steady.purity < SOFT.purity or steady.flatness > BENT.flatness
    if spoilt and steady.smooth < NULLED.purity:
        return None
    character, power, paired = describe(part, burst, rows, hertz, steady, frame=track.told_at)
    if spoilt and not within(character, NULLED):
        return None
    level = 10 * log10(4 * power)
    begin, end = burst.begin, burst.end
    if alone(character, NULLED):
        begin, end = switched(part, burst, (stretch.begin, stretch.end), channel)
        if harmonics is not None:
            begin, end = carried(part, harmonics, replace(burst, begin=begin, end=end))
    return Found(
        begin * STEP / RATE,
        (end - begin) * STEP_SECONDS,
        hertz,
        level,
        channel,
        character,
        burst.evidence,
        track.at_start and track.cut == 0,
        paired or track.apart < inf,
    )


def _own(track: Track, rows: Rows, hertz: float) -> bool:
    """Is what was fitted the track's own line, and not another one in its baseband, as a faint track may have?"""
    if abs(hertz - track.tone) > OFF_HERTZ:
        return False
    opened, now = track.tone_at(-1), bin_frequency(track.pair + 0.5)
    near = min(opened, now) - OFF_LINE <= hertz <= max(opened, now) + OFF_LINE
    return near or track.strength(rows) >= FAINT_LEVEL


def _fit(track: Track, rows: Rows, stretch: Stretch, length: float | None) -> Burst:
    """Fit one burst, what it glided taken out first; length: s, where it is known."""
    course = path(track, rows, stretch.begin, stretch.end) if track.glides else None
    if course is None:
        return fit_burst(stretch.part, stretch.begin, stretch.end, length)
    return curved(fit_burst(straightened(stretch.part, course), stretch.begin, stretch.end, length), course)


def _loudest(part: Envelope, burst: Burst) -> int:
    """Channel with the most evidence."""
    if len(part.z) == 1:
        return 0
    body = part.part(round(burst.begin), round(burst.end))
    mean = (burst.drift.unwind(body) * body.weight).sum(axis=1)
    return int(np.argmax(np.abs(mean) ** 2 / body.weight.sum(axis=1)))
