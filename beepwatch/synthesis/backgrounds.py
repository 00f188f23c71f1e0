"""Backgrounds as endless streams: white, pink, fan, breathing-machine hiss, a repeated recording, silence.

Each stream has unit RMS in 0-8 kHz (or to half the rate), on average over its own slow swell. The colours are
white noise through a fixed filter, so their power is known by theory and is not measured on each stretch.
The shapes of fan and hiss are judgement, after no one machine.
"""

from collections.abc import Callable, Iterator
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from beepwatch.errors import InputError
from beepwatch.synthesis.convolution import Convolver

Floats: TypeAlias = NDArray[np.float64]
Stream: TypeAlias = Iterator[Floats]
BAND = 8000.0
"""SNR counts noise up to here, Hz."""
BLADES = (96.0, 192.0, 288.0, 384.0)
"""Hum of a fan of 4 blades at 24 turns a second, Hz; each line weaker by 6 dB (judgement)."""
HUM_SHARE = 0.1
"""Part of the fan's power that is hum (judgement)."""
INSPIRATION = 0.4
"""Part of a breath in which the hiss swells: I:E 1:1.5 (judgement)."""


def noise(kind: str, n: int, rng: np.random.Generator, rate: int = 16_000) -> NDArray[np.float32]:
    """White, pink, fan or breathing noise, float32, shape (n,), of unit RMS (expected) in 0-8 kHz."""
    pieces = stream(kind, rate, rate, rng)
    made = [next(pieces).astype(np.float32) for _ in range(0, n, rate)]
    return np.concatenate([np.zeros(0, np.float32), *made])[:n]


def stream(
    kind: str, rate: int, block: int, rng: np.random.Generator, *, breath: float = 4.0, swell: float = 12.0
) -> Stream:
    """Endless blocks of shape (block,). breath: period of the hiss, s; swell: its range, dB.

    Raises InputError for a kind that is none of white, pink, fan, breathing, silence.
    """
    if kind == "silence":
        return _silence(block)
    if kind == "fan":
        return _fan(rate, block, rng)
    if kind == "breathing":
        return _breathing(rate, block, rng, breath, swell)
    if kind in _SHAPES:
        return _coloured(_SHAPES[kind], rate, block, rng)
    raise InputError(f"there is no noise {kind!r}; there are {', '.join([*_SHAPES, 'silence'])}")


def repeated(recorded: NDArray[np.float32] | Floats, rate: int, block: int) -> Stream:
    """A recording, shape (n,), over and over without a seam, blocks of shape (block,), unit RMS in 0-8 kHz.

    Raises InputError for a recording that is empty or silent there.
    """
    power = band_power(recorded, rate) if len(recorded) else 0.0
    if power <= 0:
        raise InputError("the background recording is empty or silent")
    return _repeat(np.asarray(recorded, dtype=np.float64) / np.sqrt(power), block)


def band_power(samples: NDArray[np.float32] | Floats, rate: int, piece: int = 1 << 16) -> float:
    """Mean square of `samples`, shape (n,), in 0-8 kHz: sums of squares of its spectrum, piece by piece."""
    total = 0.0
    for first in range(0, len(samples), piece):
        part = np.asarray(samples[first : first + piece], dtype=np.float64)
        power = np.abs(np.fft.rfft(part)) ** 2 * 2
        power[0] /= 2
        if len(part) % 2 == 0:
            power[-1] /= 2
        total += float(power[np.fft.rfftfreq(len(part), 1 / rate) <= BAND].sum()) / len(part)
    return total / len(samples)


def _pink(f: Floats) -> Floats:
    """3 dB less power an octave from 20 Hz up; flat below."""
    return np.asarray(1 / np.sqrt(np.maximum(f, 20.0)))


def _rush(f: Floats) -> Floats:
    """Air from a fan: flat to 300 Hz, then 5 dB less an octave."""
    return np.asarray((1 + (f / 300.0) ** 2) ** -0.415)


def _hiss(f: Floats) -> Floats:
    """Air in a tube: least under 200 Hz, flat to 2.5 kHz, then 6 dB less an octave."""
    return np.asarray(f / np.hypot(f, 200.0) / np.sqrt(1 + (f / 2500.0) ** 2))


_SHAPES: dict[str, Callable[[Floats], Floats]] = {
    "white": np.ones_like,
    "pink": _pink,
    "fan": _rush,
    "breathing": _hiss,
}


def _taps(shape: Callable[[Floats], Floats], rate: int) -> Floats:
    """Linear-phase filter of magnitude `shape`, half a second long: unit RMS in 0-8 kHz of white noise."""
    n = rate // 2 * 2
    magnitude = shape(np.asarray(np.fft.rfftfreq(n, 1 / rate), dtype=np.float64))
    middle = n // 4
    taps = np.roll(np.fft.irfft(magnitude, n), middle)[: 2 * middle + 1] * np.hanning(2 * middle + 3)[1:-1]
    power = np.abs(np.fft.rfft(taps, 4 * n)) ** 2
    return np.asarray(taps / np.sqrt(power[np.fft.rfftfreq(4 * n, 1 / rate) <= BAND].sum() / (2 * n)))


def _coloured(shape: Callable[[Floats], Floats], rate: int, block: int, rng: np.random.Generator) -> Stream:
    """White noise through the filter of `shape`, from the filter's steady state on."""
    through = Convolver(_taps(shape, rate), block)
    for _ in range(-(-through.tail // block)):
        through.push(rng.standard_normal(block))
    while True:
        yield through.push(rng.standard_normal(block))


def _fan(rate: int, block: int, rng: np.random.Generator) -> Stream:
    """Rush of air and the hum of the blades."""
    phases = rng.uniform(0, 2 * np.pi, len(BLADES))
    lines = np.array([10 ** (-6 * i / 20) for i in range(len(BLADES))])
    lines *= np.sqrt(2 * HUM_SHARE / np.sum(lines**2))
    for number, air in enumerate(_coloured(_rush, rate, block, rng)):
        t = np.arange(number * block, (number + 1) * block) / rate
        hum = np.zeros(block)
        for line, frequency, phase in zip(lines, BLADES, phases, strict=True):
            hum += line * np.sin(2 * np.pi * frequency * t + phase)
        yield np.sqrt(1 - HUM_SHARE) * air + hum


def _breathing(rate: int, block: int, rng: np.random.Generator, breath: float, swell: float) -> Stream:
    """Hiss that swells by `swell` dB in each breath of `breath` s; the mean power over a breath is 1."""
    fine = np.linspace(0, 1, 4096, endpoint=False)
    mean = np.sqrt(np.mean(_swollen(fine, swell) ** 2))
    for number, air in enumerate(_coloured(_hiss, rate, block, rng)):
        part = np.arange(number * block, (number + 1) * block) / rate / breath % 1
        yield _swollen(part, swell) / mean * air


def _swollen(part: Floats, swell: float) -> Floats:
    """Gain at `part` (0-1) of a breath: a raised cosine in dB while air goes in, 1 (its least) otherwise."""
    rise = np.where(part < INSPIRATION, 0.5 - 0.5 * np.cos(2 * np.pi * part / INSPIRATION), 0)
    return np.asarray(10 ** (swell * rise / 20))


def _silence(block: int) -> Stream:
    """Nothing at all."""
    while True:
        yield np.zeros(block)


def _repeat(samples: Floats, block: int) -> Stream:
    """`samples` over and over."""
    first = 0
    while True:
        yield np.take(samples, np.arange(first, first + block), mode="wrap")
        first = (first + block) % len(samples)
