"""From a track to the bursts in it: its baseband, its pulses, their fit and their character."""

from dataclasses import dataclass
from math import inf, log10, sqrt

import numpy as np
from scipy import fft

from beepwatch.events import Character

from .baseband import MARGIN, STEP, STEP_NOISE, STEP_SECONDS, Audio, demodulate, weights
from .beside import OF_TWO, but_one, narrowed, nearest_line, reach
from .body import Inside
from .burst import Burst
from .character import HOLDS, LONG_ENOUGH, TRIM, Steady, describe, flatness, inside, middle_of, purity
from .drift import SHORT, Envelope
from .fit import fit_burst
from .glide import curved, glides, path, straightened
from .known import Known
from .nulls import Harmonics
from .pulses import GLIDING_GAP, HALF, SHORTEST_GAP, SMOOTH, silences
from .rows import Rows
from .spectrum import BIN_HZ, BINS, HOP, HOP_SECONDS, LOW_BIN, RATE, WINDOW_POWER, Doubles, bin_frequency, frame_end
from .surroundings import LINE, LONG
from .track import CHUNK, GUARD, Sight, Track, coarse_steps
from .verdict import BENT, BENT_LONG, EVIDENCE, NULLED, SHORTEST, SOFT, STRICT, TAUGHT_GAIN, enough, within

LOOK_BACK = 120
"""Steps (0.48 s) of baseband kept before a track's first frame."""
FAINT_LOOK_BACK = 1250
"""The same (5 s) for tones first seen by a sum over a second or more, and for faint ones: their first frame is that
uncertain."""
FAINT_LEVEL = 4.0
"""Level over noise of a faint one."""
LOOKED_AT = 48
"""Frames (3 s): a tone may drift further in more."""
NEAR_BINS, FAR_BINS = 5, 45
"""35 to 350 Hz: where a voice has its next harmonic and a buzzer has nothing."""
ALONE = 2.5
"""Least power of the tone over the strongest line there (4 dB; the full measure, in `surroundings.py`, asks 5 or 8)."""
LINE_STEPS = 25
"""Steps (0.1 s) in which a tone that drifts by 100 Hz/s stays in phase to 0.8 rad (theory)."""
EVEN, SPLIT = 0.4, 0.2
"""Least share of the energy in their strongest lines, as cut best, and as cut at first: a border may halve a pulse.
Measured: of beeps in noise, rooms, speech and music and of 0.1 s pulses 98 % have over 0.59, of 75 ms pulses 99 % over
0.4; of what the fit throws away of speech 55 % have less."""
MOMENT = 0.5
"""Share of the energy in the loudest SHORTEST from which it is a click: in a room of T60 0.5 s one has 0.7 there, a
tone of 0.7 s in its null, 11 dB under its build-up of 30 ms, 0.36 (theory)."""
SHIFTS = (0, LINE_STEPS // 2)
SMOOTHING = np.ones(SMOOTH)
EIGHTHS = np.arange(9) / 8
GLIDING = 2
"""Frames in which a tone that glides by 200 Hz/s keeps to four bins."""
STARTS = np.arange(0, LOOKED_AT, GLIDING)
"""Frames with which its parts begin."""
LEAST_ENERGY = EVIDENCE - 5.0
"""Least energy in them: better edges than the track's add little to it (measured: 1.2 s at -22 dB has 47 or more)."""
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
LEAST_LINE = 1.4 * (EVIDENCE - TAUGHT_GAIN)
"""Power beyond noise of a line, summed over its frames, under which its burst cannot have evidence enough. It is twice
the burst's energy, as frames overlap by half (theory; measured of beeps near the limit of hearing: 1.55 to 2.3)."""
NARROW = 0.55
"""Least share of the power within +-7 bins that lies in a pure tone's pair; a centred Hann line has 0.83 (theory)."""


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


def line_like(track: Track, rows: Rows, stop: int) -> bool:
    """A cheap first look at the frames before `stop`: is it a line, and alone, or a glide, a chord, a voice, a hiss?"""
    sight = _sight(track, rows, stop)
    if sight[0] >= stop or track.level <= 0:  # its frames hold less than noise has: only a splash opened it
        return False
    if track.judged is None or track.judged[0] != sight:
        track.judged = (sight, _one_line(track, rows, sight[0], stop) or _mostly(track, rows, sight[0]))
    return track.judged[1]


def _one_line(track: Track, rows: Rows, first: int, stop: int) -> bool:
    return _steady(track, rows, first, stop) and _alone(track.swept(first), rows, first, stop)


def _mostly(track: Track, rows: Rows, stop: int) -> bool:
    """Was it so in more than half of a long track before frame `stop`? Something else may have joined in at its end."""
    if (stop - track.start) * HOP_SECONDS < LONG - LOOKED_AT * HOP_SECONDS:
        return False
    earliest = max(track.start, rows.since(track.told_at))
    stops = range(stop, earliest + LOOKED_AT - 1, -LOOKED_AT)
    return sum(_one_line(track, rows, one - LOOKED_AT, one) for one in stops) > (len(stops) + 1) / 2


def _sight(track: Track, rows: Rows, stop: int) -> Sight:
    """What a look at the track's last frames before `stop` depends on; the oldest of them may be kept no more."""
    first = max(track.start, stop - LOOKED_AT, rows.since(track.told_at))
    low, high = track.swept(first)
    near = rows.lasting(first)[max(low - FAR_BINS, 0) : high + FAR_BINS + 2]
    return first, stop, (low, high), near.tobytes()


def _steady(track: Track, rows: Rows, first: int, stop: int) -> bool:
    """Is it one line that holds what evidence takes, and most of the power about it?"""
    low, high = track.swept(first)
    near = np.minimum(rows.ratio(first, stop)[:, max(low - 6, 0) : high + 8], 1e6) - 1.0
    size = CHUNK if high == low else GLIDING
    parts = np.add.reduceat(near, STARTS[:: size // GLIDING][: -(-len(near) // size)], axis=0)
    pairs = parts[:, 1:] + parts[:, :-1]
    line = float(np.add.reduce(np.maximum.reduce(pairs[:, 2:] + pairs[:, :-2], axis=1)))
    if line < LEAST_LINE and stop - track.start <= LOOKED_AT:
        return False
    return line > NARROW * (float(np.add.reduce(near, axis=None)) - 3 * sqrt(near.size))


def _alone(swept: tuple[int, int], rows: Rows, first: int, stop: int) -> bool:
    """Has the tone in pairs `swept` of bins in frames first <= t < stop no other line near it, but one at most?"""
    low, high = max(swept[0] - FAR_BINS, 0), min(swept[1] + FAR_BINS + 2, BINS)
    floor, own = rows.noise(first, stop, low, high)[0], slice(swept[0] - low, swept[1] - low + 2)
    frames = rows.ratio(first, stop)[:, low:high] * floor
    power = np.add.reduce(frames, axis=0) / np.float32(stop - first)
    pair = float(np.maximum.reduce(power[own]))
    if swept[1] > swept[0]:  # its power is spread over all of them
        pair = float(np.add.reduce(np.maximum.reduce(frames[:, own], axis=1))) / (stop - first)
    hidden = rows.noise_in(stop - 1, swept[1]) * 4 * (1 + 3 / sqrt(stop - first))
    power[max(own.start - NEAR_BINS, 0) : own.stop + NEAR_BINS] = 0.0
    if float(np.maximum.reduce(power)) < max(hidden, pair / ALONE):
        return True
    middle = floor.shape[1] // 2
    power[(floor[0] > LINE * np.partition(floor[0], middle)[middle]) | rows.lasting(first)[low:high]] = 0.0
    if float(np.maximum.reduce(power)) < max(hidden, pair / ALONE):
        return True
    rest = but_one(power)
    return rest is not None and float(np.maximum.reduce(rest)) < max(hidden, pair / OF_TWO)


def one_line(body: Envelope, known: bool) -> bool:
    """A cheap second look: is it long enough, and one line in each 0.1 s? A voice glides, or has two that beat.

    The strongest line of each piece bounds what any fit with an even phase can gather (Cauchy-Schwarz). Pieces
    are cut in two ways, as a border would halve a pulse of 0.1 s.
    """
    n = body.z.shape[1]
    if n < LINE_STEPS // 2:
        return True
    power = np.add.reduce(np.square(np.abs(body.z)) * body.weight - STEP_NOISE, axis=0)
    energy = float(np.add.reduce(power))
    if _click(power, energy):
        return False
    for shift in SHIFTS:
        line = _lines(body, shift)
        if line > max(LEAST_ENERGY - (TAUGHT_GAIN if known else 0.0), EVEN * energy):
            return True
        if line < SPLIT * energy:
            return False
    return False


def _click(power: Doubles, energy: float) -> bool:
    """Is it shorter than any beep, and its loudest moment no mere build-up of a tone in a room's null?

    power: energy beyond noise of each step, (n,). energy: their sum.
    """
    smooth = np.convolve(power, SMOOTHING, mode="same")
    shortest = int(SHORTEST / STEP_SECONDS)
    if np.count_nonzero(smooth > HALF * np.maximum.reduce(smooth)) > shortest:
        return False
    loudest = np.partition(smooth, -shortest)[-shortest:]
    return float(np.add.reduce(loudest)) / SMOOTH > MOMENT * energy


def _lines(body: Envelope, shift: int) -> float:
    """Energy of the strongest lines of pieces of about LINE_STEPS, the first `shift` steps shorter."""
    n = body.z.shape[1]
    count = max(1, round((n + shift) / LINE_STEPS))
    size = -(-(n + shift) // count)
    padded, weight = np.zeros((len(body.z), count * size), np.complex128), np.zeros((len(body.z), count * size))
    padded[:, shift : shift + n], weight[:, shift : shift + n] = body.z * body.weight, body.weight
    shape = (len(body.z), count, size)
    lines = fft.fft(padded.reshape(shape), 2 * size, axis=2)
    power = np.square(lines.real)
    power += np.square(lines.imag)
    power /= np.maximum(np.add.reduce(weight.reshape(shape), axis=2, keepdims=True), 1e-300)
    return float(np.add.reduce(np.maximum.reduce(np.add.reduce(power, axis=0), axis=1)))


def collect(track: Track, rows: Rows, audio: Audio, stop_frame: int) -> None:
    """Bring the sound up to the end of the frame before `stop_frame` down to the track's baseband."""
    sight = _sight(track, rows, stop_frame)
    if track.measured is None or track.measured[0] != sight:
        track.measured = (sight, nearest_line(rows, sight[0], stop_frame, track.swept(sight[0])))
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
    parts = pieces(whole, harmonics_of(track, audio), (begin, end), final=True, gliding=glides(track, begin))
    for a, b, low, high in parts:
        if b - a < 4:
            continue
        stretch = Stretch(whole.part(max(low, track.cut), high), a, b)
        one = fitted(track, rows, stretch, known, looked_at=len(parts) == 1)
        if one is not None:
            found.append(one)
    return found


def fitted(track: Track, rows: Rows, stretch: Stretch, known: Known | None, *, looked_at: bool = False) -> Found | None:
    """Fit and describe one burst; None without evidence.

    known: the beep that is listened for, if it is near. looked_at: it is one line, as far as a cheap look tells.
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
    steady = _how_steady(inside(part, burst, channel), channel, burst.seconds)
    spoilt = steady.purity < SOFT.purity or steady.flatness > BENT.flatness
    if spoilt and steady.smooth < NULLED.purity:
        return None
    character, power, paired = describe(part, burst, rows, hertz, steady, frame=track.told_at)
    if spoilt and not within(character, NULLED):
        return None
    level = 10 * log10(4 * power)
    return Found(
        burst.begin * STEP / RATE,
        burst.seconds,
        hertz,
        level,
        channel,
        character,
        burst.evidence,
        track.at_start and track.cut == 0,
        paired or track.apart < inf,
    )


def _how_steady(body: Inside, channel: int, seconds: float) -> Steady:
    """How steady a burst of so many seconds is; of breath length, whether a null of the room may have bent it."""
    pure = purity(body)
    flat = flatness(body) if pure >= SOFT.purity else inf
    if (pure >= STRICT.purity and flat <= STRICT.flatness) or not BENT_LONG <= seconds < SHORT:
        return Steady(body, channel, pure, flat)
    middle = middle_of(body) if (len(body.u) + 2 * TRIM + 1) * STEP_SECONDS > seconds else None  # it may be one
    if middle is not None and len(middle.u) >= LONG_ENOUGH and middle.gathered() > HOLDS:
        smooth = middle.smooth()
        if smooth >= NULLED.purity:  # its build-up and decay may be far louder
            return Steady(middle, channel, purity(middle), flatness(middle), smooth)
    smooth = body.smooth()
    return Steady(body, channel, pure, flat if smooth < NULLED.purity else flatness(body), smooth)


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
