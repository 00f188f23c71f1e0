"""Does a steady tone stay as it is? The one question that most microphones with a will of their own fail. Pure.

The test sound (`sounds.steady`) is quiet, then a tone of 10 s, then 5 s of it 20 dB weaker, then quiet. A plain
microphone gives back a level line with one step of 20 dB. Suppressors let the tone sink, automatic gain shrinks the
step or lifts the noise, a gate mutes the quiet, a radio or a busy machine leaves holes or jumps of phase.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from beepwatch.bedroom.bands import spectra
from beepwatch.bedroom.raw import runs

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]
STRONG, WEAK, STEP = 10.0, 5.0, 20.0
"""s, s and dB of the test tone: 10 s as the longest tone that comes once an hour, 20 dB to show a gain that adapts."""
SEARCH = (0.85, 1.18)
"""Times the expected tone between which it is looked for: 44.1 kHz taken for 48 kHz is 0.919 or 1.088."""
HOP, WINDOW = 0.01, 0.04
"""s of the level line; a Hann window of 40 ms passes +-50 Hz."""
EARLY = (0.3, 0.55)
"""s in which the tone's first level is read: a room near one of its nulls needs 0.3 s to settle (by 4 dB, measured),
and a suppressor needs 0.5 s to begin (measured)."""
SEEN = 12.0
"""dB over the noise at the tone from which it counts as there (judgement: noise alone peaks at 9)."""
SURE = 0.1
"""s for which it has to be there at the onset."""
FIRST = 15.0
"""dB below the loudest stretch at which an earlier one is no part of the tone: noise before a filter woke up."""
DIP = 10.0
"""dB below its neighbourhood at which the tone has a hole."""
WEAK_SEEN = 10.0
"""dB over the noise that the weak part needs: then its level is right to 0.5 dB."""
JUMP = 0.8
"""rad by which the phase jumps where samples were skipped (0.02 rad rms at 30 dB SNR, theory)."""
CLEAR = 20.0
"""dB over the noise that the phase needs."""


@dataclass(frozen=True, slots=True)
class Hold:
    """What became of the test tone."""

    frequency: float
    """Hz, measured."""
    level: float
    """dBFS in its first half second, once the room has settled."""
    snr: float
    """dB of that over the noise that passes the window, +-50 Hz."""
    fade: float
    """dB from there to its last 3 s; below 0 it grew."""
    step: float | None
    """dB from those to the weak part; None where that cannot be seen."""
    late: float
    """s of the strong part that are missing."""
    quiet: float
    """dBFS of the noise away from the tone, before it."""
    during: float
    after: float
    holes: int
    jumps: int


def hold(samples: Samples, rate: int, expected: float) -> Hold | None:
    """The tone in one channel, shape (n,), that holds the whole test sound; None where no tone is to be seen.

    expected: Hz. NaN (lost sound) counts as silence. Measures frequency by the slope of phase.
    """
    clean = np.nan_to_num(np.asarray(samples, dtype=np.float64))
    frequency = _line(clean, rate, expected)
    if frequency is None:
        return None
    frequency += _offset(_envelope(clean, rate, frequency))
    envelope = _envelope(clean, rate, frequency)
    level = _decibels(envelope)
    floor = float(np.quantile(level, 0.1)) + 3.0
    there = _there(level, floor)
    if not there:
        return None
    first, last = there[0][0], there[-1][1]
    begin, end = first * HOP, last * HOP
    noise = _noise(clean, rate, frequency, (begin, min(end, begin + STRONG), end))
    return _measured(frequency, envelope, floor, (first, last), noise)


def _there(level: Floats, floor: float) -> list[tuple[int, int]]:
    """(first, last + 1) frame of each stretch with the tone, from the first that is about as loud as any."""
    seen = [run for run in runs(level > max(floor + SEEN, -110.0)) if run[1] - run[0] >= SURE / HOP]
    peaks = [float(level[a:b].max()) for a, b in seen]
    loud = [i for i, peak in enumerate(peaks) if peak > max(peaks) - FIRST]
    return seen[loud[0] :] if loud else []


def _measured(
    frequency: float,
    envelope: NDArray[np.complex128],
    floor: float,
    where: tuple[int, int],
    noise: tuple[float, float, float],
) -> Hold:
    """All figures, the tone being there between two frames."""
    first, last = where
    level = _decibels(envelope)
    strong = slice(first, min(first + round(STRONG / HOP), last))
    part = level[strong]
    early = _median(part[round(EARLY[0] / HOP) : round(EARLY[1] / HOP)], float(np.max(part)))
    late = _median(level[first + round(7 / HOP) : first + round(9.8 / HOP)], early)
    weak = level[first + round((STRONG + 0.7) / HOP) : first + round((STRONG + WEAK - 0.3) / HOP)]
    missing = _missing(level[first:last], early)
    whole = slice(first, min(strong.stop, first + round((STRONG - missing) / HOP) - 5))
    heard = _median(weak, -200.0)
    return Hold(
        frequency, early, early - floor, early - late,
        late - heard if heard > floor + WEAK_SEEN else None,
        missing, *noise,
        _holes(level[whole], early), _jumps(envelope[whole], level[whole], floor),
    )  # fmt: skip


def _line(clean: Floats, rate: int, expected: float) -> float | None:
    """Hz of the strongest line that comes and goes near `expected`, to a bin of 4 Hz."""
    hertz, power = spectra(clean, rate, 0.25)
    near = (hertz > SEARCH[0] * expected) & (hertz < SEARCH[1] * expected)
    power = power[:, near] + 1e-14
    rise = power.max(axis=0) / np.quantile(power, 0.1, axis=0)
    best = int(np.argmax(np.where(rise > 10 ** (SEEN / 10), power.max(axis=0), 0)))
    crest = power[:, best].max() / np.median(power.max(axis=0))
    return float(hertz[near][best]) if rise[best] > 10 ** (SEEN / 10) and crest > 10 else None


def _envelope(clean: Floats, rate: int, frequency: float) -> NDArray[np.complex128]:
    """The tone's complex amplitude each HOP s: 1 is full scale."""
    hop = round(HOP * rate)
    window = np.hanning(round(WINDOW * rate) + 2)[1:-1]
    turned = clean * np.exp(-2j * np.pi * frequency * np.arange(len(clean)) / rate)
    return np.asarray(2 * fftconvolve(turned, window / window.sum(), mode="same")[::hop])


def _offset(envelope: NDArray[np.complex128]) -> float:
    """Hz by which the tone lies above the frequency that it was mixed with: turns where it is strongest."""
    size = np.abs(envelope)
    strong = size > 0.5 * np.quantile(size, 0.98)
    turn = envelope[1:] * np.conj(envelope[:-1])
    return float(np.median(np.angle(turn[strong[1:] & strong[:-1]]))) / (2 * np.pi * HOP)


def _noise(clean: Floats, rate: int, frequency: float, where: tuple[float, float, float]) -> tuple[float, float, float]:
    """dBFS of the noise away from the tone and its harmonics before, during and after it.

    where: s at which the tone begins, its strong part ends, and all of it ends.

    The 20th percentile over time of the median over bins: hiss that swells with each breath still has its pauses.
    """
    begin, end, last = where
    hertz, power = spectra(clean, rate, 0.064)
    away = (hertz > 200) & (hertz < min(7000.0, 0.4 * rate))
    away &= np.abs(hertz / frequency - np.round(hertz / frequency)) * frequency > 150
    quiet = 10 * np.log10(np.maximum(np.median(power[:, away], axis=1) * len(hertz), 1e-14))
    at = np.arange(len(quiet)) * 0.032
    spans = (at < begin - 0.2), (at > begin + 0.5) & (at < end - 0.3), (at > last + 1.0)
    one, two, three = (float(np.quantile(quiet[span], 0.2)) if span.sum() > 8 else float("nan") for span in spans)
    return one, two, three


def _median(values: Floats, otherwise: float) -> float:
    return float(np.median(values)) if len(values) else otherwise


def _decibels(envelope: NDArray[np.complex128]) -> Floats:
    return np.asarray(20 * np.log10(np.maximum(np.abs(envelope), 1e-10)))


def _missing(line: Floats, early: float) -> float:
    """s of the strong part that did not come: it ends where the tone falls by half of the step."""
    strong = np.flatnonzero(line > early - STEP / 2)
    return max(0.0, STRONG - (int(strong[-1]) + 1) * HOP) if len(strong) else STRONG


def _holes(part: Floats, early: float) -> int:
    """How often the tone breaks off and comes back."""
    usual = np.array([np.median(part[max(0, i - 100) : i + 100]) for i in range(0, len(part), 20)])
    line = np.repeat(usual, 20)[: len(part)]
    low = runs((part < np.minimum(line, early) - DIP) & (line > early - 2 * DIP))
    return sum(a > 10 and b < len(part) - 10 for a, b in low)


def _jumps(envelope: NDArray[np.complex128], part: Floats, floor: float) -> int:
    """How often the phase of a clear tone jumps within 40 ms."""
    apart = round(WINDOW / HOP)
    turn = np.angle(envelope[apart:] * np.conj(envelope[:-apart]))
    clear = np.minimum(part[apart:], part[:-apart]) > floor + CLEAR
    jumps = runs((np.abs(turn) > JUMP) & clear)
    merged = [run for i, run in enumerate(jumps) if i == 0 or run[0] - jumps[i - 1][1] > 5]
    return sum(run[0] > 10 and run[1] < len(turn) - 10 for run in merged)
