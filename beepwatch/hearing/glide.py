"""A tone that glides: its frequency moves by bins within half a second, further than a fit looks for by itself.

Where its line lies in each frame gives a first path; with that taken out, the rest of its drift is found as that of any
other tone.
"""

from dataclasses import replace

import numpy as np

from .baseband import STEP, STEP_SECONDS
from .burst import Burst
from .drift import SHORT, Drift, Envelope, polynomial
from .rows import Rows
from .spectrum import BIN_HZ, BINS, HOP, bin_frequency
from .track import Track

FEWEST = 4
"""Frames (0.3 s) through which a path is drawn."""
LEAST = 3
"""Bins (23 Hz) that it moves by at least: less a fit finds by itself, and in a null of the room a line may seem to move
by two (measured)."""
DEGREE = 3
"""Of its polynomial, as that of a strong tone's drift (`drift.follow`)."""
LOBE = 2
"""Bins on each side of the pair that hold a line."""


def _frame(step: float) -> int:
    """Frame whose middle lies nearest to a step."""
    return round((step * STEP - HOP) / HOP)


def glides(track: Track, begin: float) -> bool:
    """Has it moved by LEAST bins since step `begin`?"""
    low, high = track.swept(max(track.start, _frame(begin)))
    return high - low >= LEAST


def path(track: Track, rows: Rows, begin: float, end: float) -> Drift | None:
    """Frequency of a track between the two steps, beside its local oscillator; None where it did not glide there.

    None too of over SHORT seconds: such a fit follows a tone piece by piece.
    """
    if (end - begin) * STEP_SECONDS > SHORT:
        return None
    first = max(track.start, rows.since(track.told_at), _frame(begin))
    stop = min(track.next, _frame(end) + 1)
    low, high = track.swept(first)
    if high - low < LEAST or stop - first < FEWEST:
        return None
    pairs = np.array([track.pair_at(frame) for frame in range(first, stop)])
    bins = np.clip(pairs[:, None] + np.arange(-LOBE, LOBE + 2), 0, BINS - 1)
    power = np.maximum(rows.ratio(first, stop)[np.arange(stop - first)[:, None], bins] - 1.0, 0.0)
    total = np.maximum(np.add.reduce(power, axis=1), 1e-9)
    hertz = bin_frequency(0.0) + BIN_HZ * np.add.reduce(power * bins, axis=1) / total - track.tone
    steps = (np.arange(first, stop) * HOP + HOP) / STEP
    centre = float(steps[0] + steps[-1]) / 2
    degree = min(DEGREE, (stop - first) // FEWEST)
    coefficients = polynomial((steps - centre) * STEP_SECONDS, hertz, degree, np.sqrt(total))
    return Drift(coefficients, centre, float(steps[0]), float(steps[-1]))


def straightened(part: Envelope, drift: Drift) -> Envelope:
    """The same without that drift."""
    return replace(part, z=drift.unwind(part))


def curved(burst: Burst, drift: Drift) -> Burst:
    """A burst that was fitted without that drift, with it."""
    return replace(burst, drift=replace(burst.drift, beside=drift))
