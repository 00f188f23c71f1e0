"""What a fitted burst is like: the figures by which a buzzer differs from a voice, a whistle or an instrument.

Each figure is freed of what noise adds on the mean and then moved towards a buzzer's value by twice (levels: three
times) its own standard error, so that near the limit of hearing nothing is thrown away for looking impure.
"""

from dataclasses import dataclass
from math import inf
from statistics import median

import numpy as np
from scipy import fft

from beepwatch.events import Character

from .baseband import STEP_NOISE, STEP_SECONDS, turning
from .body import FAINT, Inside
from .burst import Burst
from .drift import SHORT, Envelope
from .rows import Rows
from .surroundings import surroundings
from .verdict import BENT_LONG, NULLED, SOFT, STRICT

TRIM = 3
"""Steps (12 ms) left off at both edges: a sounder's ramps take up to 10 ms (measured on one synthetic set)."""
PURE, FLAT_DB, STEADY_HZ = 0.9, 7.0, 0.5
"""Least purity, and most flatness and wander, of a tone that may be one of two: those of 95 % of beeps (measured in
rooms and under talk and music), wander somewhat more."""
LONG_ENOUGH = 100
"""Steps (0.4 s) from which a wander is judged: the quarters of a shorter beep end in its own ramps."""
BESIDE_ERRORS = 3.5
"""Standard errors taken off the power beside a burst: 2 refused one in sixty of -26 dB, where 38 steps of noise alone
show 0.8 of the tone so often (gamma of 38, theory; measured: 10 s beeps)."""
LONG_PIECES = 8
"""Pieces of a burst (4.5 s and more) from which their median counts."""
NOISE_ERROR = 0.08
"""Standard error of one bin's noise estimate: a median of 15 means of 32 half overlapping frames (theory)."""
SETTLING, DYING, MIDDLE = 75, 50, 50
"""Steps: 0.3 s in which a warm-up and a room settle, 0.2 s that hold the end and the room's tail, and the least (0.2 s)
that must be left between them."""
LONG, LONG_SETTLING, LONG_DYING = 1500, 375, 125
"""Steps (6 s) of a burst in which a warm-up may take so many (1.5 s) to drift into a null, and whose end may be placed
so late (0.5 s less DYING) after a loud decay (judgement)."""
OUTSHONE = 10.0
"""Power just before or after so long a burst, over its own, from which that is no hum that goes on: in a null of the
room its own build-up and decay are 20 dB louder (judgement)."""
LOUDER = 1.6
"""Power (2 dB) of both ends over the middle that tells of a null (judgement)."""
HOLDS = 12.0
"""Energy in the middle from which it holds the tone (noise has as much once in 160 000, theory): else these are two
sounds with nothing between."""
QUARTERS = np.arange(4) - 1.5
"""Middles of a beep's quarters, in quarters from its own."""
PLACES = 17
"""At which a drift is looked at."""
VALLEY_STEPS = 12
"""48 ms."""


@dataclass(frozen=True, slots=True)
class Steady:
    """A burst's inside, the channel that it is of, and how steady it is."""

    body: Inside
    channel: int
    purity: float
    flatness: float
    smooth: float = 0.0
    """Share of its power that lies on a smooth curve, `Inside.smooth`; 0 where that is not asked."""


def inside(whole: Envelope, burst: Burst, channel: int) -> Inside:
    """The steady part of a burst, with its tail; at least four steps of it."""
    end = round(burst.end + burst.tail)
    a, b = round(burst.begin) + TRIM, end - TRIM
    if b - a < 4:
        a, b = round(burst.begin), max(end, round(burst.begin) + 4)
    part = whole.part(a, b)
    body = Inside(burst.drift.unwind(part)[channel], part.weight[channel])
    return _settled(body, *((LONG_SETTLING, LONG_DYING) if len(body.u) >= LONG else (SETTLING, DYING)))


def middle_of(body: Inside, settling: int = SETTLING, dying: int = DYING) -> Inside | None:
    """What lies after the room's build-up and before its decay, of so many steps; None where too little does."""
    if len(body.u) < settling + dying + MIDDLE:
        return None
    return Inside(body.u[settling:-dying], body.weight[settling:-dying])


def _settled(body: Inside, settling: int, dying: int) -> Inside:
    """The middle alone where both ends are louder: a null of the room lets its own build-up and decay stand out."""
    middle = middle_of(body, settling, dying)
    if middle is None:
        return body
    energy = np.abs(body.u) ** 2 * body.weight
    level = float(energy[settling:-dying].mean())
    boxes = np.convolve(energy, np.ones(VALLEY_STEPS) / VALLEY_STEPS, mode="valid")
    bound = LOUDER * level + 3 * STEP_NOISE * float(np.sqrt((1 + 2 * level) / VALLEY_STEPS))
    loud = min(float(boxes[:settling].max()), float(boxes[-dying:].max())) > bound
    return middle if loud and middle.gathered() > HOLDS else body


def purity(body: Inside) -> float:
    """Share of the power that is the steady tone, in pieces of up to 0.6 s; lifted by twice its error, at most 1.

    In a beep of several pieces each has its own frequency: a drift over 10 s says nothing against a buzzer. Of a long
    one no piece counts for more than the median does: a room may make a tone that warms up far louder than it is later.
    """
    count = max(1, round(len(body.u) * STEP_SECONDS / 0.6))
    power, error = body.power()
    error = float(np.hypot(error, NOISE_ERROR / body.weight.mean()))
    if power <= 2 * error or power * float(body.weight.mean()) < FAINT:
        return 1.0
    own = body.pieces(count) if count < 4 else [_unturned(piece) for piece in body.pieces(count)]
    share = [len(piece.u) / len(body.u) for piece in own]
    if count >= LONG_PIECES:
        each = [piece.power()[0] for piece in own]
        typical = max(median(each), error)
        share = [one * min(1.0, typical / max(its, typical)) for one, its in zip(share, each, strict=True)]
        power = sum(one * its for one, its in zip(share, each, strict=True))
        if power <= 2 * error:
            return 1.0
    steady = sum(max(piece.coherent()[0], 0.0) * one for piece, one in zip(own, share, strict=True))
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


def steadiness(body: Inside, channel: int, seconds: float) -> Steady:
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
    slope = float(QUARTERS @ hertz) / float(QUARTERS @ QUARTERS)
    rest = hertz - hertz.mean() - slope * QUARTERS
    noise = float(np.mean([e**2 for _, e in found]))
    return float(np.sqrt(max(0.0, np.mean(rest**2) * 2 - 4 * noise)))


def _share(body: Inside, burst: Burst) -> float:
    """Of the burst that its inside is: a null turns the phase by half a turn, more Hz the shorter the quarters are."""
    return min(1.0, len(body.u) / (burst.end - burst.begin))


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


def moved(burst: Burst) -> float:
    """Hz between the highest and the lowest frequency that its drift passes through."""
    hertz = burst.drift.hertz(np.linspace(burst.begin, burst.end, PLACES))
    return float(np.maximum.reduce(hertz) - np.minimum.reduce(hertz))


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
    """Power at the tone just before and just after over `level` (|u|^2), less BESIDE_ERRORS, not below 0.

    0 too where a long burst is outshone by it (OUTSHONE).
    """
    out = []
    end = burst.end + burst.tail
    for a, b in ((burst.begin - 50, burst.begin - 12), (end + 12, end + 50)):
        part = whole.part(round(a), round(b))
        if part.z.shape[1] < 10 or level <= 0:
            out.append(0.0)
            continue
        near = Inside(burst.drift.unwind(part)[channel], part.weight[channel])
        power, error = near.power()
        share = max(0.0, (power - BESIDE_ERRORS * error) / level)
        out.append(0.0 if share > OUTSHONE and burst.end - burst.begin >= LONG else share)
    return out[0], out[1]


def describe(
    whole: Envelope, burst: Burst, rows: Rows, hertz: float, steady: Steady, *, frame: int
) -> tuple[Character, float, bool]:
    """(character, power |u|^2 of the tone, whether another sounder was left out of its character), asked at `frame`."""
    body = steady.body
    level = body.level()
    before, after = beside(whole, burst, steady.channel, level)
    own = steady.purity, steady.flatness, wander(body) * _share(body, burst) if len(body.u) >= LONG_ENOUGH else 0.0
    pure = len(body.u) >= LONG_ENOUGH and own[0] >= PURE and own[1] <= FLAT_DB and own[2] <= STEADY_HZ
    neighbours, company, paired = surroundings(rows, burst, whole.tone, frame, pure=pure)
    middle = middle_of(body)
    settled = None if middle is None else purity(middle)
    if steady.smooth >= NULLED.purity and neighbours >= NULLED.neighbours and company >= NULLED.company:
        inner = None if middle is None or settled is None else max(settled, middle.smooth())
        if inner is None or inner >= NULLED.purity:  # not so where the middle is a pause
            own, settled = (max(own[0], steady.smooth), own[1], 0.0), inner
    character = Character(
        *own, neighbours, company, before, after, valley=valley(body), spread=spread(body, hertz), settled=settled,
        moved=moved(burst),
    )  # fmt: skip
    return character, level, paired
