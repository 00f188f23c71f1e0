"""What else sounds while a burst does: other lines near it, and peaks that are no part of the same sounder."""

from math import log10

import numpy as np

from .baseband import STEP
from .beside import OF_TWO, but_one
from .burst import Burst
from .floor import BLOCK, band_level
from .rows import Rows
from .spectrum import BAND_BINS, BIN_HZ, BINS, HOP, HOP_SECONDS, LOW_BIN, Doubles, Floats, Mask

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
LATEST = 40
"""Frames (2.6 s) of a long burst whose surroundings are judged at a time."""
LONG = 13.0
"""Seconds from which a tone is judged by most of it, not by its end: shorter ones are held notes as often (measured: in
34 h of recordings one more note of 11 s was then taken for a sounder's, tests/bench/unseen.py)."""
MOVES = 25.0
"""Hz (three bins) that a tone moves, from which its line is taken out frame by frame."""
LINE = 4.0
"""Floor of a bin over its band's from which it is a line."""


def _stretches(rows: Rows, burst: Burst, frame: int) -> list[tuple[int, int]]:
    """First and last frames, up to `frame`, of the parts of a burst that are judged by themselves, the latest first.

    A long one may cross many bins, and only some of it may have company; of one under LONG the latest part is judged.
    """
    first = max(int(np.ceil((burst.begin * STEP) / HOP - 0.5)), rows.since(frame))
    last = min(int(np.floor((burst.end * STEP) / HOP - 1.5)), frame)
    if burst.seconds < LONG:
        return [(max(first, last - LATEST), last)]
    return [(max(first, end - LATEST), end) for end in range(last, first - 1 + LATEST // 2, -LATEST)] or [(first, last)]


def surroundings(rows: Rows, burst: Burst, tone: float, frame: int, *, pure: bool = False) -> tuple[float, float, bool]:
    """(neighbours, company) in dB, see `Character`, and whether another sounder was left out; of a long burst's parts
    those of the middle one, by how alone it is there, so that what sounds for less than half of it counts for nothing.

    tone: Hz of the baseband's local oscillator. frame: the one at which this is asked.
    pure: it is a steady tone, so that one other that is as pure may be another sounder, if there is nothing else.
    """
    parts = _stretches(rows, burst, frame)
    found = [_around(rows, burst, (first, last), tone, frame, pure=pure) for first, last in parts]
    return sorted(found, key=lambda one: min(one[:2]))[len(found) // 2]


def _around(
    rows: Rows, burst: Burst, span: tuple[int, int], tone: float, frame: int, *, pure: bool
) -> tuple[float, float, bool]:
    """The same in the frames from the first to the last of `span`."""
    first, last = span
    if last < first:
        return NONE_DB, NONE_DB, False
    power = rows.ratio(first, last + 1) * rows.noise(first, last + 1, 0, BINS)[0]
    mean: Floats = power.mean(axis=0, dtype=np.float32)
    middle = np.array([(first + last + 2) / 2 * HOP / STEP])
    hertz = tone + float(burst.drift.hertz(middle)[0])
    frames = max(1, int(burst.seconds / HOP_SECONDS) - 1)
    k = min(max(round(hertz / BIN_HZ - LOW_BIN), 0), BINS - 1)
    line = float(mean[max(k - 1, 0) : k + 2].max())
    if _moved(burst, span) > MOVES:
        line, mean = _still(power, tone + burst.drift.hertz((np.arange(first, last + 1) + 1.0) * HOP / STEP), k)
    floor = np.repeat(band_level(mean[None])[0], BAND_BINS)
    hidden = (1 + 3 / np.sqrt(frames)) * 4 * float(floor[k])
    others = np.where(_lasting(rows, burst, frame), np.float32(0), mean)
    around = _neighbours(others, k, line, hidden), _company(others, floor, line, hertz)
    if not pure or min(around) >= ALONE_DB:
        return *around, False
    rest = _without_another(others, hertz)
    if rest is None:
        return *around, False
    beyond = _neighbours(rest, k, line, hidden), _company(rest, floor, line, hertz)
    return (*beyond, True) if min(beyond) >= ALONE_DB else (*around, False)


def _moved(burst: Burst, span: tuple[int, int]) -> float:
    """Hz between the highest and the lowest of the tone's frequencies in the frames from the first to the last."""
    hertz = burst.drift.hertz(np.linspace(span[0] + 1.0, span[1] + 1.0, 5) * HOP / STEP)
    return float(hertz.max() - hertz.min())


def _still(power: Floats, hertz: Doubles, k: int) -> tuple[float, Floats]:
    """Of a tone that glides, frame by frame, through `hertz` (n,): (mean power of its line, mean of `power` (n, BINS)
    with that line in bin k alone)."""
    own = np.clip(np.round(hertz / BIN_HZ - LOW_BIN).astype(np.int64), 0, BINS - 1)
    rest, all_ = power.copy(), np.arange(len(power))
    line = float(np.max([power[all_, np.clip(own + off, 0, BINS - 1)] for off in (-1, 0, 1)], axis=0).mean())
    for off in range(-NEAR_BINS[0], NEAR_BINS[0] + 1):
        rest[all_, np.clip(own + off, 0, BINS - 1)] = 0.0
    mean: Floats = rest.mean(axis=0, dtype=np.float32)
    mean[k] = line
    return line, mean


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


def _lasting(rows: Rows, burst: Burst, frame: int) -> Mask:
    """Bins of hums: lines that the floor has learnt, and tones that had gone on for seconds when the burst began."""
    begin = min(max(int(burst.begin * STEP / HOP), rows.since(frame + BLOCK)), frame)
    noise = rows.noise(begin, begin + 1, 0, BINS)[0]
    learnt = noise[0] > LINE * np.repeat(band_level(noise)[0], BAND_BINS)
    lasting: Mask = learnt | rows.lasting(begin)
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
