"""One tone under way, followed frame by frame until it has ended.

The end is a CUSUM test (Page 1954, Biometrika 41:100, from memory): the log likelihood of "noise only" against "still
at its level" is summed, never below 0, until it passes END_EVIDENCE.
"""

from dataclasses import dataclass, field
from math import ceil, log1p, sqrt

import numpy as np

from .baseband import STEP
from .rows import Rows
from .spectrum import BIN_HZ, BINS, FRAME, HOP, HOP_SECONDS, LOW_BIN, RATE, Complexes, Doubles, Floats, frame_end

END_EVIDENCE = 5.0
"""Nats for "ended" of a clear tone."""
BACK_EVIDENCE = 10.0
"""Nats for "back again": noise has six frames to look like it after each beep."""
DIP = 0.6
"""Power of a frame over the level: a silence of 50 ms takes at least 4 dB out of a Hann frame near it (theory)."""
NO_RETURN = 3.0
OUTSHINES = 10.0
"""Two frames of a line this many times over what the track leads one to expect are another tone (e^-30 by noise)."""
FAINT_EVIDENCE = 5.0
"""Nats more for "ended" of a faint tone: 10 s of it hold 156 chances to be wrong (e^-10 each)."""
TAIL_DB = 12.0
"""The end is looked for against noise or this much below the level, so that a room's tail fills no gap (measured:
19 dB fused gaps of 0.4 s)."""
TAIL_DB_A_FRAME = 5.5
"""How fast a room's tail falls at least, for each frame after the end: T60 0.7 s, the slowest furnished bedroom (Master
Handbook of Acoustics, quoted)."""
LONG_TAIL_DB = 20.0
"""The same under the mean level for tones over LONG seconds, which may fade slowly; TAIL_DB then counts from the level
of their last half second."""
LONG = 3.0
JOIN = 0.4
"""Seconds: the longest gap inside one beep. Whether a gap is too long for its beep is decided in `pulses.py`, once both
sounds beside it are known."""
CLIP = 100.0
"""Power over noise counted at most in one frame, so that a click decides nothing alone."""
TAIL, LONG_TAIL = 10 ** (TAIL_DB / 10), 10 ** (LONG_TAIL_DB / 10)
LEAST_RATIO, MOST_RATIO = 0.4, 16.0
"""Level over noise that the tests for "ended" and "back" believe in, at least and at most."""
STRONG = 30.0
"""Level over noise from which the power is taken from WIDE bins more on each side: their noise no longer matters."""
WIDE = 3
"""23 Hz: a drift of 3 % of 3 kHz in 1.2 s moves as far in half a second."""
GUARD = 5
"""Bins on each side that belong to a track (Hann main lobe 2, drift 3)."""
HUM_GUARD = 1
"""The same for a hum, which the floor has learnt: a beep beside it must be heard."""
AGED = 64
"""Frames (4 s) after which a tone is no voice that would spoil another beside it."""
CHUNK = 8
"""Frames between two looks at a track's bin, counted from its start: results do not depend on how samples came."""


@dataclass(slots=True)
class Track:
    """A tone under way. Frames and steps are counted from the stream's (re)start."""

    pair: int
    """Lower of the two neighbouring bins that carry it."""
    start: int
    """First frame."""
    next: int
    """First frame not yet followed."""
    tone: float
    """Hz of the local oscillator: fixed for the track's life."""
    at_start: bool = False
    """It was there when listening began."""
    total: float = 0.0
    """Sum of absolute power over noise in the pair, over `count` frames."""
    count: int = 0
    sum: float = 0.0
    least: float = 0.0
    least_frame: int = 0
    since: float = 0.0
    since_count: int = 0
    """Power beyond noise, and frames, since the least sum: no part of the tone if it has ended there."""
    recent: float = 0.0
    """Power beyond noise of the last half second with the tone."""
    doubtful: list[tuple[float, float]] = field(default_factory=list)
    """(power over noise, noise) of the frames since the least sum."""
    ended: int | None = None
    """Last frame with the tone, once the CUSUM has passed; None while it sounds."""
    back: float = 0.0
    dipped: bool = False
    """A frame since the last look was weak enough to hold a silence."""
    dropped: bool = False
    """A stronger line took its place; nothing of it is told."""
    border_level: float = 0.0
    """Level at the last chunk border."""
    left: tuple[int, float] | None = None
    """(last frame, level) before it came back, until the return is confirmed."""
    closed: int | None = None
    """Frame at which the end became final."""
    faint: bool = False
    """It was opened only because it is near a known tone: it gives way to any other, and hides none."""
    patience: int = 0
    """Frame before which it does not close: a faint tone's end is doubted until then."""
    rate: float = 0.0
    """Energy over noise in a second of a faint tone, the greatest seen when it seemed to end."""
    hum: bool = False
    told: int = 0
    """How many of the asked lengths were reported."""
    cut: int = 0
    """Step before which its pulses were already reported; 0: none."""
    onset: float | None = None
    """Step of the onset, refined once and kept."""
    opened: int = 0
    """Frame at which it was noticed: nothing about it is known before."""
    serial: int = 0
    wide: bool = False
    """It is strong: power is taken from more bins, and the pair may move faster."""
    reach: int = 0
    """Bins on each side into which its switching on or off may splash."""
    chunks: list[tuple[Complexes, Doubles]] = field(default_factory=list)
    chunk_first: int = 0
    chunk_next: int = 0

    @property
    def level(self) -> float:
        """Mean power of the pair beyond noise."""
        return self.total / max(self.count, 1)

    @property
    def last(self) -> int:
        """Last frame with the tone, as far as it is known."""
        return self.least_frame if self.ended is None else self.ended

    @property
    def told_at(self) -> int:
        """Frame at which its end could be known; the present one while it sounds."""
        return max(self.next - 1 if self.closed is None else self.closed, self.opened)

    def seconds(self, frame: int) -> float:
        """Length if it ended with `frame`."""
        return (frame - self.start + 1) * HOP_SECONDS

    def strength(self, rows: Rows) -> float:
        """Level over the noise of the last frame followed."""
        last = self.next - 1
        return self.level / max(float(rows.noise_at(last, last + 1, self.pair)[0]), 1e-30)


def open_track(rows: Rows, frame: int, bin_: int, length: int, earliest: int) -> Track | None:
    """A track through a candidate: its bins, and its start, looked for back to frame `earliest`.

    Returns None where nothing stands out in the frames themselves (a sum that older sounds made).
    """
    first = max(rows.begin, frame - length + 1, earliest)
    near = rows.ratio(first, frame + 1)[:, bin_ - 3 : bin_ + 4]
    mean = near.mean(axis=0)
    top = bin_ - 3 + int(np.argmax(mean))
    pair = top if mean[min(top - bin_ + 4, 6)] >= mean[max(top - bin_ + 2, 0)] else top - 1
    pair = min(max(pair, 1), BINS - 3)
    back = max(rows.begin, frame - 2 * length - CHUNK, earliest)
    wide = float(mean.max()) > STRONG
    y = _pair(rows, pair, back, frame + 1, wide=False)
    strength = max(float(y[first - back :].mean()) - 2.0, 0.4)
    half = min(strength, 16.0) / 2
    gain = np.minimum(y, CLIP) * (half / (1 + half)) - 2 * np.log1p(half)
    backwards = np.cumsum(gain[::-1])
    best = int(np.argmax(backwards))
    if backwards[best] <= 0:
        return None
    start = frame - best
    weight = rows.ratio(start, frame + 1)[:, pair : pair + 2].mean(axis=0)
    share = float(weight[1] / max(float(weight.sum()), 1e-9))
    track = Track(pair, start, start, (pair + share + LOW_BIN) * BIN_HZ, least_frame=start)
    track.at_start, track.opened = start <= 1, frame
    track.reach = _reach(float(y[first - back :].max()))
    track.wide = wide
    return track


def _pair(rows: Rows, pair: int, first: int, stop: int, *, wide: bool) -> Doubles:
    """Ratio summed over the pair, noise 2; a strong tone's over WIDE bins more, so that it may drift meanwhile."""
    if not wide:
        both = rows.ratio(first, stop)[:, pair : pair + 2]
        return both[:, 0].astype(np.float64) + both[:, 1]
    low, high = max(pair - WIDE, 0), min(pair + 2 + WIDE, BINS)
    total = rows.ratio(first, stop)[:, low:high].sum(axis=1, dtype=np.float64)
    wider: Doubles = np.maximum(total - (high - low - 2), 0.0)
    return wider


def advance(track: Track, rows: Rows, stop: int) -> None:
    """Follow the track through frames before `stop`, at most to the next chunk border, or until it closes."""
    first = track.next
    border = track.start + ((first - track.start) // CHUNK + 1) * CHUNK
    stop = min(stop, border)
    near = rows.ratio(first, stop)[:, track.pair - 1 : track.pair + 3].astype(np.float64)
    pairs = near[:, :-1] + near[:, 1:]
    narrow, around = pairs[:, 1].tolist(), pairs.max(axis=1).tolist()
    sounding = _pair(rows, track.pair, first, stop, wide=True).tolist() if track.wide else narrow
    powers = rows.noise_at(first, stop, track.pair)
    outshone = _outshone(track, rows, first, stop, powers)
    noise = powers.tolist()
    for i, frame in enumerate(range(first, stop)):
        track.next = frame + 1
        if track.ended is None:
            _sound(track, sounding[i], noise[i], frame)
        else:
            _wait(track, around[i], noise[i], frame)
        if i == outshone and track.closed is None:
            track.closed, track.dropped = frame, True
        if track.closed is not None:
            break
    _hold(track, rows, first, track.next)
    if track.next == border and track.closed is None:
        _recentre(track, rows)


def _outshone(track: Track, rows: Rows, first: int, stop: int, noise: Floats) -> int:
    """Frames before the one in which a strong line in its bins ends the track: a faint one must hide no beep."""
    if track.wide or first - track.start < CHUNK or track.ended is not None:
        return stop - first
    low, high = max(track.pair - GUARD - 1, 0), track.pair + GUARD + 3
    near = rows.ratio(first - 1, stop)[:, low:high]
    if float(near.max()) < 2 * OUTSHINES:
        return stop - first
    strongest = (near[1:] + near[:-1]).max(axis=1)
    expected = np.maximum(track.border_level / noise, 1.0)
    over = np.flatnonzero(strongest > OUTSHINES * (2 + 2 * expected))
    return int(over[0]) if len(over) else stop - first


def _sound(track: Track, y: float, noise: float, frame: int) -> None:
    """One frame of a tone under way: add to the evidence that it has ended."""
    above = (y - 2) * noise
    level = max(track.level, 1e-30) if track.count >= 2 else max(above, noise)
    long = track.seconds(frame) > LONG
    floor = max(noise, max(level / LONG_TAIL, min(level, track.recent) / TAIL) if long else level / TAIL)
    half = min(max(level / floor, LEAST_RATIO), MOST_RATIO) / 2
    track.sum += 2 * log1p(half) - min(y * noise / floor, CLIP) * half / (1 + half)
    track.total += above
    track.count += 1
    track.dipped |= above < DIP * level
    if above > track.recent / TAIL:
        track.recent += (above - track.recent) / (CHUNK if track.recent else 1)
    if track.sum <= track.least:
        track.least, track.least_frame, track.since, track.since_count = track.sum, frame, 0.0, 0
        track.doubtful.clear()
    else:
        track.since += above
        track.since_count += 1
        track.doubtful.append((y, noise))
    if track.sum - track.least > END_EVIDENCE + FAINT_EVIDENCE / (1 + level / (2 * noise)):
        track.ended, track.back = track.least_frame, 0.0
        track.total -= track.since
        track.count = max(1, track.count - track.since_count)
        _end(track, frame)


def _end(track: Track, frame: int) -> None:
    """The sum has passed at `frame`: unless the tone was back meanwhile, above any tail, the track waits for it."""
    last, heard, track.doubtful = track.last, track.doubtful, []
    for i, (y, noise) in enumerate(heard, 1):
        if _returns(track, y, noise, last + i):
            _resume(track, noise, frame)
            return
    _close_if_due(track, frame)


def _close_if_due(track: Track, frame: int) -> None:
    if frame >= max(deadline(track), track.patience):
        track.closed = frame


def deadline(track: Track) -> int:
    """Frame by which a tone that has ended must have come back to be the same beep."""
    end = frame_end(track.last) - FRAME_TAIL + JOIN * RATE
    return ceil((end - 2 * HOP) / HOP)


FRAME_TAIL = HOP // 2
"""Samples by which the true end lies before the end of the last frame that holds the tone, on the mean."""


def _wait(track: Track, y: float, noise: float, frame: int) -> None:
    """One frame after the end: is the tone back, over the noise and over the slowest tail that a bedroom leaves?"""
    if track.rate and track.patience and frame > deadline(track):
        _close_if_due(track, frame)
        return
    if _returns(track, y, noise, frame):
        _resume(track, noise, frame)
    else:
        _close_if_due(track, frame)


def _returns(track: Track, y: float, noise: float, frame: int) -> bool:
    """Add a frame to the evidence that the tone is back."""
    level = max(track.level, 1e-30)
    fallen = TAIL_DB + TAIL_DB_A_FRAME * (frame - track.last - 1)
    floor = max(noise, level * 10 ** (-fallen / 10))
    half = min(max(level / floor, LEAST_RATIO), MOST_RATIO) / 2
    track.back = max(0.0, track.back + min(y * noise / floor, CLIP) * half / (1 + half) - 2 * log1p(half))
    return track.back > BACK_EVIDENCE


def _resume(track: Track, noise: float, frame: int) -> None:
    """The tone is back, at a level to be found anew."""
    level = max(track.level, 1e-30)
    track.left = (track.last, level)
    track.ended, track.sum, track.least, track.least_frame, track.patience = None, 0.0, 0.0, frame, 0
    track.since, track.since_count = 0.0, 0
    track.total, track.count = max(level / 16, min(level, 8 * noise)), 1
    track.recent, track.wide = track.total, track.level > STRONG * noise


def go_on(track: Track) -> None:
    """Take back the end: the tone sounds still at the last frame followed."""
    track.ended, track.closed, track.sum, track.least, track.least_frame = None, None, 0.0, 0.0, track.next - 1
    track.since, track.since_count, track.left, track.patience = 0.0, 0, None, 0
    track.doubtful = []


def put_off(track: Track, seconds: float) -> bool:
    """Put off the closing until `seconds` after the end, if that lies ahead."""
    frame = ceil(((track.last * HOP + 1.5 * HOP + seconds * RATE) - FRAME) / HOP)
    if track.patience or frame < track.next:
        return False
    track.closed, track.patience = None, frame
    return True


def _hold(track: Track, rows: Rows, first: int, stop: int) -> None:
    """Mark the bins that no other track may open in."""
    if stop <= first:
        return
    if track.faint:
        rows.faint(first, stop)[:, max(track.pair - GUARD, 0) : track.pair + GUARD + 2] = True
        return
    guard = HUM_GUARD if track.hum else GUARD
    rows.held(first, stop)[:, max(track.pair - guard, 0) : track.pair + guard + 2] = True
    aged = max(first, track.start + AGED)
    if aged < stop:
        rows.old(aged, stop)[:, max(track.pair - 3, 0) : track.pair + 5] = True
    reach = guard if track.hum else track.reach
    rows.splashed(first, stop)[:, max(track.pair - reach, 0) : track.pair + reach + 2] = True


def _reach(ratio: float) -> int:
    """Bins that a tone of `ratio` times the noise splashes into: a cut frame's sidelobes fall as 1/dk^2."""
    return min(64, GUARD + int(sqrt(max(ratio, 0.0) / 10)))


def _recentre(track: Track, rows: Rows) -> None:
    """Let the pair follow a drifting tone: by one bin a chunk, a strong one by WIDE."""
    ratio = track.strength(rows)
    track.border_level = track.level
    track.reach = max(track.reach, _reach(ratio))
    if track.ended is not None:
        return
    if track.left is not None and track.count >= CHUNK // 2:
        _confirm(track, ratio)
    track.wide = ratio > STRONG
    step = WIDE if track.wide else 1
    first = max(rows.begin, track.next - (3 if track.wide else CHUNK))
    low, high = max(track.pair - step, 1), min(track.pair + step, BINS - 3)
    near = np.add.reduce(rows.ratio(first, track.next)[:, low : high + 2], axis=0)
    pairs = near[:-1] + near[1:]
    best = low + int(np.argmax(pairs))
    if pairs[best - low] > 1.1 * pairs[track.pair - low]:
        track.pair = best


def _confirm(track: Track, ratio: float) -> None:
    """A return that was only noise (a level under NO_RETURN noises and far under that before) is taken back."""
    last, level = track.left or (track.last, track.level)
    track.left = None
    if ratio < NO_RETURN and track.level < level / 16:
        track.ended, track.total, track.count, track.closed = last, level, 1, track.next - 1


def coarse_steps(track: Track, last: int) -> tuple[float, float]:
    """Baseband steps at which the tone began and ended, from its frames alone, good to a frame."""
    return (track.start * HOP + HOP / 2) / STEP, (last * HOP + 1.5 * HOP) / STEP
