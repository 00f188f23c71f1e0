"""What a fitted burst is like: the figures by which a buzzer differs from a voice, a whistle or an instrument.

Each figure is freed of what noise adds on the mean and then moved towards a buzzer's value by twice (levels: three
times) its own standard error, so that near the limit of hearing nothing is thrown away for looking impure.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import log10, sqrt

import numpy as np
from scipy import fft

from beepwatch.events import Character

from .baseband import STEP, STEP_NOISE, STEP_SECONDS, turning
from .beside import OF_TWO, but_one
from .burst import Burst
from .drift import Envelope
from .floor import band_level
from .ranks import cuts
from .rows import Rows
from .spectrum import BAND_BINS, BIN_HZ, BINS, HOP, LOW_BIN, Complexes, Doubles, Floats, Mask

TRIM = 3
"""Steps (12 ms) left off at both edges: a sounder's ramps take up to 10 ms (measured on one synthetic set)."""
NEAR_BINS = (5, 45)
"""35 to 350 Hz: where a voice has its next harmonic and a buzzer has nothing."""
NONE_DB = 30.0
"""Said where noise hides what might be there."""
RATIOS = (1, 2, 3, 4, 5, 6, 1 / 2, 1 / 3, 2 / 3, 3 / 2)
"""Frequencies over the tone's at which a peak is the sounder's own."""
ALONE_DB = 10 * log10(OF_TWO)
RELATED_HZ = 45.0
"""Hz from such a ratio within which a peak is."""
FREQUENCIES = (np.arange(BINS) + LOW_BIN) * BIN_HZ
PURE, FLAT_DB, STEADY_HZ = 0.9, 7.0, 0.5
"""Least purity, and most flatness and wander, of a tone that may be one of two: those of 95 % of beeps (measured in
rooms and under talk and music), wander somewhat more."""
LONG_ENOUGH = 100
"""Steps (0.4 s) from which a wander is judged: the quarters of a shorter beep end in its own ramps."""
BESIDE_ERRORS = 3.5
"""Standard errors taken off the power beside a burst: 2 refused one in sixty of -26 dB, where 38 steps of noise alone
show 0.8 of the tone so often (gamma of 38, theory; measured: 10 s beeps)."""
FAINT = 0.2
"""Power over noise in one step under which a few per cent of error of the noise estimate would count."""
NOISE_ERROR = 0.08
"""Standard error of one bin's noise estimate: a median of 15 means of 32 half overlapping frames (theory)."""
LATEST = 40
"""Frames (2.6 s) of a long burst that its surroundings are judged by."""
LINE = 4.0
"""Floor of a bin over its band's from which it is a line."""
SETTLING, DYING, MIDDLE = 75, 50, 50
"""Steps: 0.3 s in which a warm-up and a room settle, 0.2 s that hold the end and the room's tail, and the least (0.2 s)
that must be left between them."""
LOUDER = 1.6
"""Power (2 dB) of both ends over the middle that tells of a null (judgement)."""
VALLEY_STEPS = 12
"""48 ms."""


@dataclass(frozen=True, slots=True)
class Inside:
    """The burst without its edges, its drift taken out: u and weight of shape (n,), of the strongest channel."""

    u: Complexes
    weight: Doubles

    def power(self) -> tuple[float, float]:
        """(mean power without noise, its standard error); both in the units of |u|^2."""
        n, v = len(self.u), float(np.add.reduce(self.weight))
        mean = (float(np.add.reduce(np.square(np.abs(self.u)) * self.weight)) - n * STEP_NOISE) / v
        each = n * STEP_NOISE / v
        return mean, sqrt((2 * max(mean, 0.0) * each + each**2) / n)

    def coherent(self) -> tuple[float, float]:
        """(power of the mean without noise, its energy in noise units)."""
        v = float(np.add.reduce(self.weight))
        energy = float(np.abs(np.add.reduce(self.u * self.weight)) ** 2) / v
        return (energy - 1) / v, energy

    def level(self) -> float:
        """Power of the tone: coherent over pieces of 0.4 s, so that an error of the noise estimate does not count."""
        count = max(1, round(len(self.u) * STEP_SECONDS / 0.4))
        steady = sum(piece.coherent()[0] * len(piece.u) for piece in self.pieces(count)) / len(self.u)
        mean, error = self.power()
        return max(steady, mean - 2 * error, 1e-30) if mean * float(self.weight.mean()) > FAINT else max(steady, 1e-30)

    def pieces(self, count: int) -> list["Inside"]:
        """`count` parts of nearly equal length."""
        return [Inside(self.u[a:b], self.weight[a:b]) for a, b in pairwise(cuts(len(self.u), count).tolist())]


def inside(whole: Envelope, burst: Burst, channel: int) -> Inside:
    """The steady part of a burst; at least four steps of it."""
    a, b = round(burst.begin) + TRIM, round(burst.end) - TRIM
    if b - a < 4:
        a, b = round(burst.begin), max(round(burst.end), round(burst.begin) + 4)
    part = whole.part(a, b)
    body = Inside(burst.drift.unwind(part)[channel], part.weight[channel])
    return _settled(body) if b - a >= SETTLING + DYING + MIDDLE else body


def _settled(body: Inside) -> Inside:
    """The middle alone where both ends are louder: a null of the room lets its own build-up and decay stand out."""
    energy = np.abs(body.u) ** 2 * body.weight
    middle = Inside(body.u[SETTLING:-DYING], body.weight[SETTLING:-DYING])
    level = float(energy[SETTLING:-DYING].mean())
    boxes = np.convolve(energy, np.ones(VALLEY_STEPS) / VALLEY_STEPS, mode="valid")
    bound = LOUDER * level + 3 * STEP_NOISE * float(np.sqrt((1 + 2 * level) / VALLEY_STEPS))
    loud = min(float(boxes[:SETTLING].max()), float(boxes[-DYING:].max())) > bound
    return middle if loud else body


def purity(body: Inside) -> float:
    """Share of the power that is the steady tone, in pieces of up to 0.6 s; lifted by twice its error, at most 1.

    In a beep of several pieces each has its own frequency: a drift over 10 s says nothing against a buzzer.
    """
    count = max(1, round(len(body.u) * STEP_SECONDS / 0.6))
    power, error = body.power()
    error = float(np.hypot(error, NOISE_ERROR / body.weight.mean()))
    if power <= 2 * error or power * float(body.weight.mean()) < FAINT:
        return 1.0
    own = body.pieces(count) if count < 4 else [_unturned(piece) for piece in body.pieces(count)]
    steady = sum(max(p.coherent()[0], 0.0) * len(p.u) for p in own) / len(body.u)
    return float(min(1.0, steady / power * (1 + 2 * error / power)))


def _unturned(piece: Inside) -> Inside:
    """The piece with the frequency of its strongest line taken out."""
    size = 1 << (4 * len(piece.u) - 1).bit_length()
    power = np.abs(fft.fft(piece.u * piece.weight, size))
    cycle = int(np.argmax(power)) / size
    return Inside(piece.u * turning(-2 * np.pi * cycle * np.arange(len(piece.u), dtype=np.float64)), piece.weight)


def flatness(body: Inside) -> float:
    """dB between the strongest and the weakest quarter beyond three standard errors."""
    quarters = [piece.power() for piece in body.pieces(4)]
    strong, weak = max(quarters), min(quarters)
    upper, lower = strong[0] - 1.5 * strong[1], max(weak[0], 0.0) + 1.5 * weak[1]
    return float(max(0.0, 10 * np.log10(max(upper, 1e-30) / max(lower, 1e-30))))


def wander(body: Inside) -> float:
    """Hz, rms of the quarters' frequencies round a straight line, beyond what noise explains (Rife & Boorstyn 1974)."""
    found = []
    for piece in body.pieces(4):
        half = len(piece.u) // 2
        first, second = piece.pieces(2)
        if half < 2:
            return 0.0
        turn = np.angle((second.u * second.weight).sum() * np.conj((first.u * first.weight).sum()))
        energy = max(piece.coherent()[1] - 1, 0.5)
        seconds = len(piece.u) * STEP_SECONDS
        found.append((turn / (np.pi * seconds), 0.45 / (seconds * np.sqrt(energy))))
    hertz = np.array([f for f, _ in found])
    rest = hertz - np.polyval(np.polyfit(np.arange(4), hertz, 1), np.arange(4))
    noise = float(np.mean([e**2 for _, e in found]))
    return float(np.sqrt(max(0.0, np.mean(rest**2) * 2 - 4 * noise)))


def spread(body: Inside, hertz: float) -> float:
    """p10 to p90 of frequency over pieces of 0.5 s, over `hertz`; 0 for bursts under 2 s or in noise."""
    count = int(len(body.u) * STEP_SECONDS / 0.5)
    if count < 4:
        return 0.0
    places, errors = [], []
    for piece in body.pieces(count):
        first, second = piece.pieces(2)
        turn = np.angle((second.u * second.weight).sum() * np.conj((first.u * first.weight).sum()))
        places.append(turn / (np.pi * 0.5))
        errors.append(0.45 / (0.5 * np.sqrt(max(piece.coherent()[1] - 1, 0.5))))
    low, high = np.quantile(places, [0.1, 0.9])
    return float(max(0.0, (high - low) - 5.0 * float(np.median(errors))) / hertz)


def valley(body: Inside) -> float:
    """dB of the deepest 48 ms dip below the lower of its two sides; 0 where noise would hide it."""
    if len(body.u) < 3 * VALLEY_STEPS:
        return 0.0
    kernel = np.ones(VALLEY_STEPS) / VALLEY_STEPS
    noise = np.convolve(STEP_NOISE / body.weight, kernel, mode="valid")
    power = np.convolve(np.abs(body.u) ** 2, kernel, mode="valid") - noise
    if np.median(power / noise) * VALLEY_STEPS < 30:
        return 0.0
    left = np.maximum.accumulate(power)
    right = np.maximum.accumulate(power[::-1])[::-1]
    dip = np.minimum(left, right) / np.maximum(power, 3 * noise / np.sqrt(VALLEY_STEPS))
    return float(max(0.0, 10 * np.log10(max(float(dip.max()), 1.0))))


def beside(whole: Envelope, burst: Burst, channel: int, level: float) -> tuple[float, float]:
    """Power at the tone just before and just after over `level` (|u|^2), less BESIDE_ERRORS, not below 0."""
    out = []
    for a, b in ((burst.begin - 50, burst.begin - 12), (burst.end + 12, burst.end + 50)):
        part = whole.part(round(a), round(b))
        if part.z.shape[1] < 10 or level <= 0:
            out.append(0.0)
            continue
        near = Inside(burst.drift.unwind(part)[channel], part.weight[channel])
        power, error = near.power()
        out.append(float(max(0.0, (power - BESIDE_ERRORS * error) / level)))
    return out[0], out[1]


def _frames(rows: Rows, burst: Burst) -> tuple[int, int]:
    """First and last frame that lie in the burst; of a long one only the last, as it may drift across many bins."""
    first = int(np.ceil((burst.begin * STEP) / HOP - 0.5))
    last = min(int(np.floor((burst.end * STEP) / HOP - 1.5)), rows.end - 1)
    return max(first, rows.begin, last - LATEST), last


def surroundings(rows: Rows, burst: Burst, tone: float, *, pure: bool = False) -> tuple[float, float, bool]:
    """(neighbours, company) in dB, see `Character`, and whether another sounder was left out.

    tone: Hz of the baseband's local oscillator.
    pure: it is a steady tone, so that one other that is as pure may be another sounder, if there is nothing else.
    """
    first, last = _frames(rows, burst)
    if last < first:
        return NONE_DB, NONE_DB, False
    mean: Floats = (rows.ratio(first, last + 1) * rows.noise(first, last + 1, 0, BINS)[0]).mean(
        axis=0, dtype=np.float32
    )
    middle = np.array([(first + last + 2) / 2 * HOP / STEP])
    hertz = tone + float(burst.drift.hertz(middle)[0])
    frames = max(1, int(burst.seconds / 0.064) - 1)
    k = min(max(round(hertz / BIN_HZ - LOW_BIN), 0), BINS - 1)
    line = float(mean[max(k - 1, 0) : k + 2].max())
    floor = np.repeat(band_level(mean[None])[0], BAND_BINS)
    hidden = (1 + 3 / np.sqrt(frames)) * 4 * float(floor[k])
    others = np.where(_lasting(rows, burst), np.float32(0), mean)
    around = _neighbours(others, k, line, hidden), _company(others, floor, line, hertz)
    if not pure or min(around) >= ALONE_DB:
        return *around, False
    rest = _without_another(others, hertz)
    if rest is None:
        return *around, False
    beyond = _neighbours(rest, k, line, hidden), _company(rest, floor, line, hertz)
    return (*beyond, True) if min(beyond) >= ALONE_DB else (*around, False)


def _neighbours(others: Floats, k: int, line: float, hidden: float) -> float:
    """dB of the tone's `line` over the strongest bin beside bin k; NONE_DB under power `hidden`."""
    low, high = NEAR_BINS
    beside = np.concatenate([others[max(k - high, 0) : max(k - low + 1, 0)], others[k + low : k + high + 1]])
    loud = float(beside.max()) if len(beside) else 0.0
    return NONE_DB if loud < hidden else float(min(10 * np.log10(line / loud), NONE_DB))


def _without_another(others: Floats, hertz: float) -> Floats | None:
    """The spectrum without the strongest other line and what belongs to it; None where that is no pure line."""
    rest = others.copy()
    low, _ = NEAR_BINS
    rest[np.abs(FREQUENCIES - hertz) < low * BIN_HZ] = 0
    apart = rest.copy()
    for ratio in RATIOS[1:]:
        apart[np.abs(FREQUENCIES - hertz * ratio) < RELATED_HZ] = 0
    if but_one(apart) is None:
        return None
    other = float(FREQUENCIES[int(np.argmax(apart))])
    for ratio in RATIOS:
        rest[np.abs(FREQUENCIES - other * ratio) < RELATED_HZ] = 0
    return rest


def _lasting(rows: Rows, burst: Burst) -> Mask:
    """Bins of hums: lines that the floor has learnt, and tones that had gone on for seconds when the burst began."""
    frame = min(max(int(burst.begin * STEP / HOP), rows.begin), rows.end - 1)
    noise = rows.noise(frame, frame + 1, 0, BINS)[0]
    learnt = noise[0] > LINE * np.repeat(band_level(noise)[0], BAND_BINS)
    lasting: Mask = learnt | rows.old(frame, frame + 1)[0]
    return lasting


def _company(mean: Floats, floor: Floats, tone: float, hertz: float) -> float:
    """dB of the tone over the strongest peak 11 dB above the bands' level that is no simple ratio of the tone."""
    other = mean > 12.6 * floor
    for ratio in RATIOS:
        other &= np.abs(FREQUENCIES - hertz * ratio) > RELATED_HZ
    other[1:-1] &= (mean[1:-1] >= mean[:-2]) & (mean[1:-1] > mean[2:])
    if not other[1:-1].any():
        return NONE_DB
    return float(min(NONE_DB, 10 * np.log10(tone / float(mean[1:-1][other[1:-1]].max()))))


def describe(whole: Envelope, burst: Burst, rows: Rows, hertz: float, channel: int) -> tuple[Character, float, bool]:
    """(character, power |u|^2 of the tone, whether another sounder was left out of its character) of a burst."""
    body = inside(whole, burst, channel)
    level = body.level()
    before, after = beside(whole, burst, channel, level)
    own = purity(body), flatness(body), wander(body) if len(body.u) >= LONG_ENOUGH else 0.0
    pure = len(body.u) >= LONG_ENOUGH and own[0] >= PURE and own[1] <= FLAT_DB and own[2] <= STEADY_HZ
    neighbours, company, paired = surroundings(rows, burst, whole.tone, pure=pure)
    character = Character(*own, neighbours, company, before, after, valley=valley(body), spread=spread(body, hertz))
    return character, level, paired
