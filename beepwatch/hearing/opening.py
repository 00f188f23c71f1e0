"""A track's beginning: its bins and its first frame, looked for back from where it was noticed."""

from math import log1p, sqrt

import numpy as np

from .rows import Rows
from .spectrum import BIN_HZ, BINS, LOW_BIN, Doubles
from .track import CHUNK, CLIP, GUARD, STRONG, WIDE, Track


def open_track(rows: Rows, frame: int, bin_: int, length: int, earliest: int) -> Track | None:
    """A track through a candidate: its bins, and its start, looked for back to frame `earliest`.

    Returns None where nothing stands out in the frames themselves (a sum that older sounds made).
    """
    first = max(rows.since(frame), frame - length + 1, earliest)
    near = rows.ratio(first, frame + 1)[:, bin_ - 3 : bin_ + 4]
    mean = (np.add.reduce(near, axis=0) / np.float32(len(near))).tolist()
    top = bin_ - 3 + mean.index(max(mean))
    pair = top if mean[min(top - bin_ + 4, 6)] >= mean[max(top - bin_ + 2, 0)] else top - 1
    pair = min(max(pair, 1), BINS - 3)
    back = max(rows.since(frame), frame - 2 * length - CHUNK, earliest)
    wide = max(mean) > STRONG
    y = pair_power(rows, pair, back, frame + 1, wide=False)
    strength = max(float(np.add.reduce(y[first - back :])) / (frame + 1 - first) - 2.0, 0.4)
    half = min(strength, 16.0) / 2
    gain = np.minimum(y, CLIP) * (half / (1 + half)) - 2 * log1p(half)
    backwards = gain[::-1].cumsum()
    best = int(backwards.argmax())
    if backwards[best] <= 0:
        return None
    start = frame - best
    weight = np.add.reduce(rows.ratio(start, frame + 1)[:, pair : pair + 2], axis=0) / np.float32(best + 1)
    share = float(weight[1] / max(float(weight[0] + weight[1]), 1e-9))
    track = Track(pair, start, start, (pair + share + LOW_BIN) * BIN_HZ, least_frame=start)
    track.at_start, track.opened = start <= 1, frame
    track.reach = reach_of(float(y[first - back :].max()))
    track.wide, track.border_level = wide, strength * rows.noise_in(frame, pair)
    return track


def pair_power(rows: Rows, pair: int, first: int, stop: int, *, wide: bool) -> Doubles:
    """Ratio summed over the pair, noise 2; a strong tone's over WIDE bins more, so that it may drift meanwhile."""
    if not wide:
        both = rows.ratio(first, stop)[:, pair : pair + 2]
        return both[:, 0].astype(np.float64) + both[:, 1]
    low, high = max(pair - WIDE, 0), min(pair + 2 + WIDE, BINS)
    total = np.add.reduce(rows.ratio(first, stop)[:, low:high], axis=1, dtype=np.float64)
    wider: Doubles = np.maximum(total - (high - low - 2), 0.0)
    return wider


def reach_of(ratio: float) -> int:
    """Bins that a tone of `ratio` times the noise splashes into: a cut frame's sidelobes fall as 1/dk^2."""
    return min(64, GUARD + int(sqrt(max(ratio, 0.0) / 10)))
