"""Lines that stay in the noise of a quiet room: a whine near the device's tone, the mains; an edge. Pure."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from beepwatch.bedroom.bands import spectra
from beepwatch.bedroom.findings import Finding, finding

Floats = NDArray[np.float64]
FRAME = 1.0
"""s: lines 1 Hz wide."""
STANDS = 8.0
"""dB over the noise beside it, in four frames of five, that make a line: noise alone has its 20th percentile 4.9 dB
below its median (theory)."""
NEAR = 0.03
"""Of the tone: nearer lines could be taken for it or hide it."""
SOUGHT = (400.0, 5000.0)
"""Hz in which beeps are looked for."""
MAINS = (50.0, 60.0)
HUMS = 4
"""Multiples of the mains that make a hum (judgement: a fan's blades give one or two by chance)."""
EDGE = (3000.0, 4300.0)
"""Hz between which a phone line or a Bluetooth headset ends: 8 kHz sampling."""
CLIFF = 25.0
"""dB within 500 Hz that make an edge (judgement: rooms fall by 2)."""


def steady_lines(samples: NDArray[np.float32] | Floats, rate: int) -> list[tuple[float, float]]:
    """(Hz, dB over the noise beside it) of each line that stays, by Hz; samples: one channel, shape (n,), 3 s at least.

    dB: power in a 1 Hz bin over the noise's, at the 20th percentile over time.
    """
    hertz, power = spectra(samples, rate, FRAME)
    held = np.quantile(power, 0.2, axis=0)
    beside = median_filter(np.median(power, axis=0), 81, mode="nearest")
    over = 10 * np.log10(np.maximum(held, 1e-20) / np.maximum(beside, 1e-20))
    crest = (over[1:-1] > STANDS) & (over[1:-1] >= over[:-2]) & (over[1:-1] > over[2:])
    return [(float(hertz[i]), float(over[i])) for i in np.flatnonzero(crest) + 1]


def line_findings(samples: NDArray[np.float32] | Floats, rate: int, tone: float | None) -> list[Finding]:
    """What stands in a quiet minute; tone: Hz of the device, where known (else any line among beeps is told)."""
    lines = steady_lines(samples, rate)
    return [*_whine(lines, tone), *_hum(lines), *_narrow(samples, rate)]


def _whine(lines: list[tuple[float, float]], tone: float | None) -> list[Finding]:
    low, high = SOUGHT if tone is None else (tone * (1 - NEAR), tone * (1 + NEAR))
    near = [(over, hertz) for hertz, over in lines if low <= hertz <= high]
    return [finding("whine", max(near)[1])] if near else []


def _hum(lines: list[tuple[float, float]]) -> list[Finding]:
    for mains in MAINS:
        orders = {round(hertz / mains) for hertz, _ in lines if hertz < 8.5 * mains and _multiple(hertz, mains)}
        if len(orders - {0}) >= HUMS:
            return [finding("hum", mains)]
    return []


def _multiple(hertz: float, mains: float) -> bool:
    return abs(hertz - mains * round(hertz / mains)) <= 1.0


def _narrow(samples: NDArray[np.float32] | Floats, rate: int) -> list[Finding]:
    """A cliff in the spectrum where an 8 kHz link ends; a rate of 8 kHz itself is told by the rate."""
    if rate < 10_000:
        return [finding("narrow", 0.45 * rate)]
    hertz, power = spectra(samples, rate)
    level = 10 * np.log10(np.maximum(median_filter(np.median(power, axis=0), 9), 1e-16))
    step = round(500 / (hertz[1] - hertz[0]))
    fall = level[:-step] - level[step:]
    part = (hertz[:-step] > EDGE[0]) & (hertz[:-step] < EDGE[1])
    if not part.any() or fall[part].max() < CLIFF:
        return []
    return [finding("narrow", float(hertz[:-step][part][np.argmax(fall[part])]) + 250.0)]
