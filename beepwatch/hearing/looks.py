"""Cheap looks at a track: is it one line, and alone? A fit of its burst costs ten times as much."""

from math import sqrt

import numpy as np
from scipy import fft

from .baseband import STEP_NOISE, STEP_SECONDS
from .beside import OF_TWO, but_one
from .drift import Envelope
from .pulses import HALF, SMOOTH
from .rows import Rows
from .spectrum import BINS, HOP_SECONDS, Doubles
from .surroundings import LINE, LONG
from .track import CHUNK, Sight, Track
from .verdict import EVIDENCE, SHORTEST, TAUGHT_GAIN

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
GLIDING = 2
"""Frames in which a tone that glides by 200 Hz/s keeps to four bins."""
STARTS = np.arange(0, LOOKED_AT, GLIDING)
"""Frames with which its parts begin."""
LEAST_ENERGY = EVIDENCE - 5.0
"""Least energy in them: better edges than the track's add little to it (measured: 1.2 s at -22 dB has 47 or more)."""
LEAST_LINE, LEAST_TAUGHT = 1.4 * EVIDENCE, 1.4 * (EVIDENCE - TAUGHT_GAIN)
"""Power beyond noise of a line, summed over its frames, under which its burst cannot have evidence enough; and of one
opened near the known tone. It is twice the burst's energy, as frames overlap by half (theory; measured of beeps near
the limit of hearing: 1.55 to 2.3), over the channels, whose mean is looked at."""
NARROW = 0.55
"""Least share of the power within +-7 bins that lies in a pure tone's pair; a centred Hann line has 0.83 (theory)."""


def line_like(track: Track, rows: Rows, stop: int) -> bool:
    """A cheap first look at the frames before `stop`: is it a line, and alone, or a glide, a chord, a voice, a hiss?"""
    seen = sight(track, rows, stop)
    if seen[0] >= stop or track.level <= 0:  # its frames hold less than noise has: only a splash opened it
        return False
    if track.judged is None or track.judged[0] != seen:
        track.judged = (seen, _one_line(track, rows, seen[0], stop) or _mostly(track, rows, seen[0]))
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


def sight(track: Track, rows: Rows, stop: int) -> Sight:
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
    least = (LEAST_TAUGHT if track.near_known else LEAST_LINE) / rows.channels
    if line < least and stop - track.start <= LOOKED_AT:
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
