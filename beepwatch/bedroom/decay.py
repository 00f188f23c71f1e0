"""How long a room rings: T60 by an exponential sweep and the integrated decay. Pure.

The sweep and its inverse are Farina's (2000, as open texts tell them): each harmonic that a small speaker adds falls
before the answer of the room and is cut away. The decay is Schroeder's backward integral, its slope read from -5 to
-25 dB (T20) or -35 dB (T30), as ISO 3382-1 has it (quoted): the range must end 10 dB over the noise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfiltfilt

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]
LOW, HIGH = 200.0, 7000.0
"""Hz of the sweep: what small speakers play, and what a rate of 16 kHz holds."""
LENGTH = 6.0
TAIL = 2.0
"""s of quiet after it: rooms of up to 2 s."""
LEVEL = 0.4
"""Amplitude: 8 dB below full scale, so that cheap speakers stay clean (judgement)."""
START = 5.0
"""dB below the beginning at which the slope begins."""
SPARE = 10.0
"""dB of the decay's end over the noise."""
OCTAVES = (500.0, 1000.0, 2000.0, 4000.0)
"""Hz: middles."""
SHORTEST = 0.08
"""s: below it the filters' own ring is read, and it is no room (an anechoic one would be)."""
SMOOTH = 0.01
"""s over which the squared answer is averaged to find the noise."""


@dataclass(frozen=True, slots=True)
class Decay:
    """How a room rings in one band."""

    seconds: float
    """T60."""
    drop: float
    """dB over which it was read: 20 (T20) or 30 (T30)."""
    reach: float
    """dB between the beginning and the noise."""


def sweep(rate: int) -> Samples:
    """The sound to play: float32, shape (n,), LENGTH s with soft ends and TAIL s of silence."""
    t = np.arange(round(LENGTH * rate)) / rate
    growth = np.log(HIGH / LOW)
    phase = 2 * np.pi * LOW * LENGTH / growth * (np.exp(t / LENGTH * growth) - 1)
    edge = np.clip(np.minimum(t / 0.05, (LENGTH - t) / 0.01), 0, 1)
    wave = LEVEL * np.sin(phase) * (0.5 - 0.5 * np.cos(np.pi * edge))
    return np.concatenate([wave, np.zeros(round(TAIL * rate))]).astype(np.float32)


def answer(recorded: Samples | Floats, rate: int) -> Floats:
    """The room's impulse response from a recording of the sweep, shape (n,): it begins 5 ms before its peak.

    What lies before the peak (harmonics of the speaker) is left out.
    """
    played = sweep(rate)[: round(LENGTH * rate)].astype(np.float64)
    t = np.arange(len(played)) / rate
    inverse = played[::-1] * np.exp(-t / LENGTH * np.log(HIGH / LOW))
    whole = fftconvolve(np.nan_to_num(np.asarray(recorded, dtype=np.float64)), inverse)
    whole /= np.sum(played * inverse[::-1])
    peak = int(np.argmax(np.abs(whole)))
    return np.asarray(whole[max(0, peak - round(0.005 * rate)) : peak + round((TAIL + 0.5) * rate)])


def decay(impulse: Floats, rate: int, middle: float | None = None) -> Decay | None:
    """T60 of an impulse response, shape (n,), in the octave round `middle` Hz, or of all of it.

    None where it does not fall by 35 dB before it meets its noise (-5 to -25 dB and 10 dB more).
    """
    band = impulse if middle is None else _octave(impulse, rate, middle)
    squared = band**2
    begin = int(np.argmax(squared))
    end, noise = _meets_noise(squared, rate, begin)
    smooth = np.convolve(squared, np.ones(width := round(SMOOTH * rate)) / width, "same")
    reach = 10 * np.log10(max(smooth[begin : end + 1].max(), 1e-30) / max(noise, 1e-30))
    drop = 30.0 if reach >= START + 30 + SPARE else 20.0
    if reach < START + drop + SPARE or end - begin < 0.02 * rate:
        return None
    level = _integrated(squared[begin:end], noise, rate)
    return _slope(level, rate, drop, float(reach))


def room_decay(recorded: Samples | Floats, rate: int) -> dict[float, Decay]:
    """T60 by octave, of those that a recording of the sweep gives well enough."""
    impulse = answer(recorded, rate)
    found = {middle: decay(impulse, rate, middle) for middle in OCTAVES if middle * 1.42 < rate / 2}
    return {middle: each for middle, each in found.items() if each is not None and each.seconds > SHORTEST}


def _octave(impulse: Floats, rate: int, middle: float) -> Floats:
    """The octave band, without delay. Forwards and backwards: the filter's own ring stays under 20 ms."""
    sections = butter(3, [middle / 2**0.5, min(middle * 2**0.5, 0.49 * rate)], "bandpass", fs=rate, output="sos")
    return np.asarray(sosfiltfilt(sections, impulse))


def _meets_noise(squared: Floats, rate: int, begin: int) -> tuple[int, float]:
    """(sample at which the decay meets the noise, mean square of the noise): the noise is the last fifth."""
    noise = float(np.mean(squared[-len(squared) // 5 :]))
    width = round(SMOOTH * rate)
    smooth = np.convolve(squared[begin:], np.ones(width) / width, "same")
    under = np.flatnonzero(smooth < 2 * noise)
    return begin + (int(under[0]) if len(under) else len(squared) - begin), noise


def _integrated(squared: Floats, noise: float, rate: int) -> Floats:
    """Schroeder's integral in dB, 0 at the start, less the noise, with what the cut left out put back.

    The rest is taken as an exponential that goes on with the slope of the last part before the noise.
    """
    less = squared - noise
    tail = max(round(0.02 * rate), len(less) // 5)
    one, two = float(np.sum(less[-2 * tail : -tail])), float(np.sum(less[-tail:]))
    rest = two * (two / one) / (1 - two / one) if 0 < two < one else 0.0
    energy = np.cumsum(less[::-1])[::-1] + rest
    return np.asarray(10 * np.log10(np.maximum(energy, energy.max() * 1e-9) / energy[0]))


def _slope(level: Floats, rate: int, drop: float, reach: float) -> Decay | None:
    """Least squares over the range; None where the decay does not run through it."""
    first = int(np.argmax(level <= -START))
    last = int(np.argmax(level <= -START - drop))
    if last - first < 10:
        return None
    slope = float(np.polyfit(np.arange(first, last) / rate, level[first:last], 1)[0])
    return Decay(-60 / slope, drop, reach) if slope < 0 else None
