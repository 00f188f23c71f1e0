"""Faults that show in the samples as the device gave them: silence, dead channels, holes, cut peaks. Pure."""

import numpy as np
from numpy.typing import NDArray

from beepwatch.bedroom.findings import Finding, finding

Samples = NDArray[np.float32]
FULL = 1 - 2**-14
"""Amplitude from which a sample counts as full scale: two steps of 16 bits below it (judgement)."""
FLAT = 3
"""Equal samples in a row at the peak that show clipping (common practice, no source)."""
PEAKS = 5.0
"""Cut peaks a minute that are told (judgement: one bang of a door is no fault)."""
FEWEST = 3
LOUD = 0.1
"""Peak below which nothing is called clipped."""
HOLE = (0.002, 1.0)
"""s: shorter runs of one value happen by chance, longer ones are a sleep (judgement)."""
HOLES = 3.0
"""Holes a minute that are told (judgement)."""
LIVELY = 1e-4
"""Rms (3 steps of 16 bits) from which noise gives no run of equal samples 2 ms long (theory)."""
DEAD_DB = 40.0
"""dB below the loudest channel at which one is dead (judgement: one room sounds alike within 20 dB)."""
MUTED_DBFS = -88.0
"""Level under which nothing is heard: the steps of 16 bits alone make -95 dBFS (theory); microphones of any kind
make more than -85 (judgement)."""


def raw_findings(samples: Samples, rate: int) -> list[Finding]:
    """What is wrong with a stretch of sound, shape (n, channels), `rate` Hz; NaN marks what was lost."""
    clean = np.nan_to_num(samples)
    level = max(_dbfs(channel) for channel in clean.T)
    if level < MUTED_DBFS:
        return [finding("muted", max(level, -120.0))]
    found = [*_dead(clean), *_copies(clean)]
    minutes = len(samples) / rate / 60
    holes = max(len(holes_in(channel, rate)) for channel in clean.T) / minutes
    if holes >= HOLES:
        found.append(finding("drop-outs", holes))
    peaks = max(cut_peaks(channel) for channel in clean.T)
    if peaks >= max(FEWEST, PEAKS * minutes):
        found.append(finding("clipping", peaks / minutes))
    return found


def holes_in(channel: Samples, rate: int) -> list[tuple[int, int]]:
    """(first, last + 1) of each stretch in which one value stands still amid lively sound; channel: shape (n,)."""
    if float(np.std(channel)) < LIVELY:
        return []
    low, high = (round(seconds * rate) for seconds in HOLE)
    return [(a, b) for a, b in runs(np.diff(channel) == 0) if low <= b - a <= high and _lively(channel, a, b, rate)]


def cut_peaks(channel: Samples) -> int:
    """How often the sound stands at its peak for FLAT samples or more; channel: shape (n,)."""
    size = np.abs(channel)
    peak = float(size.max(initial=0.0))
    if peak < LOUD:
        return 0
    top = min(peak, FULL) if peak >= FULL else peak
    return sum(b - a >= FLAT for a, b in runs(size >= top))


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first, last + 1) of each run of True; flags: shape (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.view(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def silent_stretches(channel: Samples, rate: int, least: float) -> list[tuple[float, float]]:
    """(begin, end) in s of each stretch of digital silence of `least` s or more; channel: shape (n,)."""
    return [(a / rate, b / rate) for a, b in runs(np.nan_to_num(channel) == 0) if b - a >= least * rate]


def _lively(channel: Samples, a: int, b: int, rate: int) -> bool:
    """Does sound stand on both sides of the hole?"""
    reach = round(0.05 * rate)
    sides = channel[max(0, a - reach) : a], channel[b + 1 : b + 1 + reach]
    return all(len(side) > reach // 2 and float(np.std(side)) > LIVELY for side in sides)


def _dead(clean: Samples) -> list[Finding]:
    levels = [_dbfs(channel) for channel in clean.T]
    return [finding("dead-channel", i + 1) for i, level in enumerate(levels) if level < max(levels) - DEAD_DB]


def _copies(clean: Samples) -> list[Finding]:
    channels = clean.shape[1]
    return [
        finding("copy", i + 1)
        for i in range(1, channels)
        if any(np.any(clean[:, i]) and np.array_equal(clean[:, i], clean[:, j]) for j in range(i))
    ]


def _dbfs(channel: Samples) -> float:
    """Level without its mean, dB re a full-scale sine."""
    return float(20 * np.log10(max(float(np.std(channel)) * np.sqrt(2), 1e-10)))
