"""What one sounder is like, measured over its beeps: tone, harmonics, steadiness, edges, length and level. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median, pstdev

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep

Floats = NDArray[np.float64]
LEAST = 3
"""Beeps that a sounder is learned from at least."""
HARMONICS = (2, 3, 4)
BORDER = 0.15
"""Share of a beep at each end that is not looked at for harmonics: the room builds up there (judgement)."""
CLEAR = 4.0
"""Power over the noise beside it from which a harmonic is told (6 dB; noise alone does it in 1 of 50 bins)."""
TOP = 0.45
"""Highest harmonic as a share of the rate: filters take the rest (judgement)."""
SMOOTH = 0.008
"""s of the running mean that an edge is read through; it adds 0.8 of itself to a rise from 10 to 90 %."""
PLAIN = 5.0
"""Amplitude over the noise's from which edges are told."""


@dataclass(frozen=True, slots=True)
class Snippet:
    """One beep's sound: one channel, shape (n,), `rate` Hz; the beep begins `before` s after its first sample."""

    samples: Floats
    rate: int
    before: float
    beep: Beep


@dataclass(frozen=True, slots=True)
class Learned:
    """Medians over the beeps."""

    tone: float
    """Hz."""
    spread: float
    """Standard deviation from beep to beep, relative."""
    steadiness: float | None
    """See `Character.purity`; None where only the history tells of the beeps."""
    harmonics: tuple[float | None, ...]
    """dB against the tone, of 2, 3 and 4 times it; None where hidden. Empty without sound."""
    rise: float | None
    """s from 10 to 90 %, room included; None where noise hides it."""
    fall: float | None
    length: float
    """s."""
    level: float
    """dBFS."""
    beeps: int
    period: float | None
    """s from onset to onset; None where they are too uneven."""


def learned(beeps: Sequence[Beep], snippets: Sequence[Snippet] = ()) -> Learned:
    """What these beeps of one sounder have in common; raises ValueError for fewer than LEAST."""
    if len(beeps) < LEAST:
        raise ValueError(f"{len(beeps)} beeps: at least {LEAST} are needed")
    tone = _tone(beeps)
    parts = [harmonics(one, tone) for one in snippets]
    edges = [edge_times(one, tone) for one in snippets]
    return Learned(
        tone=tone,
        spread=pstdev([beep.frequency for beep in beeps]) / tone,
        steadiness=fmean(beep.character.purity for beep in beeps) if snippets else None,
        harmonics=tuple(_middle([part[i] for part in parts]) for i in range(len(HARMONICS))) if parts else (),
        rise=_middle([rise for rise, _ in edges]),
        fall=_middle([fall for _, fall in edges]),
        length=median(beep.duration for beep in beeps),
        level=median(beep.level for beep in beeps),
        beeps=len(beeps),
        period=_period(beeps),
    )


def _tone(beeps: Sequence[Beep]) -> float:
    """The mean, each beep weighed by 1 / the variance that its SNR and length allow (Rife & Boorstyn 1974)."""
    weights = [beep.duration**3 * 10 ** (min(beep.snr, 0.0) / 10) for beep in beeps]
    return sum(w * beep.frequency for w, beep in zip(weights, beeps, strict=True)) / sum(weights)


def _middle(values: Sequence[float | None]) -> float | None:
    """The median of those that are known, where they are at least half of all."""
    known = [value for value in values if value is not None]
    return median(known) if known and 2 * len(known) >= len(values) else None


def _period(beeps: Sequence[Beep]) -> float | None:
    """Median of the times between onsets, where the middle half of them agrees to a quarter."""
    onsets = sorted(beep.onset for beep in beeps)
    steps = sorted(b - a for a, b in pairwise(onsets))
    low, high = steps[len(steps) // 4], steps[(3 * len(steps)) // 4]
    return median(steps) if high <= 1.25 * low else None


def harmonics(one: Snippet, tone: float) -> tuple[float | None, ...]:
    """dB of each harmonic against the tone, over the inside of the beep; None where noise or the rate hides it."""
    inside = BORDER * one.beep.duration
    first = round((one.before + inside) * one.rate)
    last = round((one.before + one.beep.duration - inside) * one.rate)
    piece = one.samples[max(first, 0) : last]
    if len(piece) < 0.05 * one.rate:
        return (None,) * len(HARMONICS)
    power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)))) ** 2
    base = _line(power, tone, one.rate, len(piece))
    if base is None:
        return (None,) * len(HARMONICS)
    found = (_line(power, tone * k, one.rate, len(piece)) if tone * k < TOP * one.rate else None for k in HARMONICS)
    return tuple(None if line is None else 10 * math.log10(line / base) for line in found)


def _line(power: Floats, hertz: float, rate: int, n: int) -> float | None:
    """Power of a line within 0.3 % of `hertz`, noise taken off; None under CLEAR times the noise beside it."""
    bin_hz = rate / n
    reach = max(3, math.ceil(0.003 * hertz / bin_hz))
    middle = round(hertz / bin_hz)
    near = power[max(middle - reach, 0) : middle + reach + 1]
    beside = np.concatenate([power[max(middle - 8 * reach, 0) : max(middle - 2 * reach, 1)],
                             power[middle + 2 * reach + 1 : middle + 8 * reach]])  # fmt: skip
    if not len(near) or not len(beside):
        return None
    noise = float(beside.mean()) * len(near)
    whole = float(near.sum())
    return whole - noise if whole > CLEAR * noise else None


def edge_times(one: Snippet, tone: float) -> tuple[float | None, float | None]:
    """(rise, fall) in s, from 10 to 90 % of the amplitude; None where noise hides it."""
    size = max(round(SMOOTH * one.rate), 1)
    turn = np.exp(-2j * np.pi * tone / one.rate * np.arange(len(one.samples)))
    summed = np.cumsum(np.concatenate([[0], one.samples * turn]))
    amplitude = np.abs(summed[size:] - summed[:-size]) / size
    begin, end = round(one.before * one.rate), round((one.before + one.beep.duration) * one.rate)
    length = end - begin
    inner = amplitude[begin + length // 4 : end - length // 4]
    outside = amplitude[: max(begin - 4 * size, 0)]
    if not len(inner) or not len(outside):
        return None, None
    plateau = float(np.median(inner))
    if plateau < PLAIN * float(np.median(outside)):
        return None, None
    rising = amplitude[max(begin - 4 * size, 0) : begin + length // 2]
    falling = amplitude[begin + length // 2 :][::-1]
    return _between(rising, plateau, one.rate), _between(falling, plateau, one.rate)


def _between(edge: Floats, plateau: float, rate: int) -> float | None:
    """s from the last time under 10 % of `plateau` to the first over 90 % after it, less the running mean's own."""
    over = np.flatnonzero(edge > 0.9 * plateau)
    if not len(over):
        return None
    under = np.flatnonzero(edge[: over[0]] < 0.1 * plateau)
    if not len(under):
        return None
    whole = float(over[0] - under[-1]) / rate
    return math.sqrt(max(whole**2 - (0.8 * SMOOTH) ** 2, 0.0))
