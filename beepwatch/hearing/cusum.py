"""Following a track frame by frame until it has ended.

The end is a CUSUM test (Page 1954, Biometrika 41:100, from memory): the log likelihood of "noise only" against "still
at its level" is summed, never below 0, until it passes END_EVIDENCE.
"""

from math import log1p

import numpy as np

from .floor import BLOCK
from .opening import pair_power, reach_of
from .rows import Rows
from .spectrum import BINS, Floats, Mask
from .track import CHUNK, CLIP, GUARD, STRONG, WIDE, Track, deadline

END_EVIDENCE = 5.0
"""Nats for "ended" of a clear tone."""
BACK_EVIDENCE = 10.0
"""Nats for "back again": noise has six frames to look like it after each beep."""
DIP = 0.6
"""Power of a frame over the level: a silence of 50 ms takes at least 4 dB out of a Hann frame near it (theory)."""
NO_RETURN, FAR_UNDER = 3.0, 16.0
"""Level over noise under which a return may be noise, and how many times (12 dB) under the level before it is in doubt
(judgement)."""
FIRST = CHUNK + CHUNK // 2
"""Frames of it at its first chunk border are fewer."""
OUTSHINES = 10.0
"""Two frames of a line this many times over what the track leads one to expect are another tone (e^-30 by noise) ..."""
OUTLASTS = 3
"""... at once where the track is short (LONG) or faint (LASTED) or they lie beside it, else where more frames are.
In a null of the room a tone's own decay is far louder than the tone, as what cancelled it is gone: in 0.2 s it falls by
16 dB at least (T60 0.7 s, see TAIL_DB_A_FRAME)."""
LASTED = 200.0
"""Power beyond noise, summed over its frames, from which a lasting one is a tone and no track of noise: those that are
followed for 8 s have up to 130 (measured in an hour of noise)."""
LEFT, GLIDES = 4.0, 4.0
"""A strong tone has moved where two frames hold most of it on the same side, this many times what its pair holds, and
this part of its level at least (judgement)."""
GLIDED = 6 * CHUNK
"""Frames (3 s) from a tone's start in which it may glide: whole chunks, as what is read within one must not depend on
how many frames came at once."""
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
TAIL, LONG_TAIL = 10 ** (TAIL_DB / 10), 10 ** (LONG_TAIL_DB / 10)
LEAST_RATIO, MOST_RATIO = 0.4, 16.0
"""Level over noise that the tests for "ended" and "back" believe in, at least and at most."""
HUM_GUARD = 1
"""Bins on each side that belong to a hum, which the floor has learnt: a beep beside it must be heard."""
FOLLOWED, SLOWEST = 24.0, 64
"""Power over noise that a tone's last frames hold from which its bins are told, three of its standard errors in 32 of
them (theory), and the most frames looked at."""
AGED = 64 - BLOCK
"""Frames after which a tone is marked as no voice that would spoil another beside it: marks are read a block late
(`Rows.lasting`), so 4 s in all."""


def advance(track: Track, rows: Rows, stop: int) -> None:
    """Follow the track through frames before `stop`, at most to the next chunk border, or until it closes.

    It stops too where the tone ends, is back or turns wide: how later frames are read depends on that, and must not on
    how many of them came at once.
    """
    first = track.next
    border = track.start + ((first - track.start) // CHUNK + 1) * CHUNK
    stop = min(stop, border)
    near = rows.ratio(first, stop)[:, track.pair - 1 : track.pair + 3].tolist()
    wide = pair_power(rows, track.pair, first, stop, wide=True).tolist() if track.wide else None
    powers = rows.noise_at(first, stop, track.pair)
    outshone, own = _outshone(track, rows, first, stop, powers)
    gliding, bins = _glide(track, rows, first, stop, powers)
    noise = powers.tolist()
    state = track.ended is None, track.wide
    for i, frame in enumerate(range(first, stop)):
        track.next = frame + 1
        a, b, c, d = near[i]
        if outshone[i]:
            _outlast(track, noise[i], frame, own=bool(own[i]))
        elif track.ended is None:
            track.outshone = 0
            _sound(track, b + c if wide is None else wide[i], noise[i], frame)
        else:
            near_it = max(a + b, b + c, c + d)
            _wait(track, near_it if wide is None or not track.glides else max(near_it, wide[i]), noise[i], frame)
        if i == gliding or track.closed is not None or (track.ended is None, track.wide) != state:
            break
    _hold(track, rows, first, track.next)
    if track.next == first + gliding + 1 and track.ended is None:
        track.glide(track.next, bins)
        track.wide = True
    if track.next == border and track.closed is None:
        _recentre(track, rows)


def _outshone(track: Track, rows: Rows, first: int, stop: int, noise: Floats) -> tuple[Mask, Mask]:
    """Frames, (n,), in which a strong line lies in its bins that may be another's: a faint one must hide no beep; and
    those in which it lies where the tone does."""
    never = np.zeros(stop - first, np.bool_)
    if (track.wide and not track.doubted) or first - track.start < CHUNK or track.ended is not None:
        return never, never
    low, high = max(track.pair - GUARD - 1, 0), track.pair + GUARD + 3
    near = rows.ratio(first - 1, stop)[:, low:high]
    if float(np.maximum.reduce(near, axis=None)) < 2 * OUTSHINES:
        return never, never
    both = near[1:] + near[:-1]
    expected = np.maximum(track.border_level / noise, 1.0)
    outshone: Mask = both.max(axis=1) > OUTSHINES * (2 + 2 * expected)
    off = both.argmax(axis=1) + low - track.pair
    return outshone, (off >= -1) & (off <= 2)


def _glide(track: Track, rows: Rows, first: int, stop: int, noise: Floats) -> tuple[int, int]:
    """(frames before the one in which a strong tone has left its pair, bins to where it is); all and 0 if it stays.

    After GLIDED frames it is followed from chunk to chunk alone: what leaps then is another tone, and so is what goes
    to and fro within one.
    """
    fresh = first - track.start < CHUNK  # a strong one is not wide yet where it began within a frame
    if not (track.wide or fresh) or first - track.start >= GLIDED or track.ended is not None:
        return stop - first, 0
    before = min(first - track.start, 1)
    low, high = max(track.pair - WIDE, 1), min(track.pair + WIDE, BINS - 3)
    near = rows.ratio(first - before, stop)[:, low : high + 2]
    pairs = near[:, 1:] + near[:, :-1]
    away = pairs.argmax(axis=1) - (track.pair - low)
    if not before:
        away = np.concatenate([away[:1], away])
    if first - before == track.start:  # its first frame holds the onset too
        away[0] = 0
    top, own = np.maximum.reduce(pairs[before:], axis=1), pairs[before:, track.pair - low]
    gone = (np.abs(away[1:]) > 1) & (away[1:] * away[:-1] > 0)
    gone &= (top > LEFT * own) & (top * noise > track.border_level / GLIDES) & (top > STRONG)
    if track.glides:
        moved, pair = track.glides[-1]
        gone &= (np.arange(first, stop) - moved >= CHUNK) | (away[1:] * (track.pair - pair) >= 0)
    frames = gone.nonzero()[0]
    return (int(frames[0]), int(away[1 + frames[0]])) if len(frames) else (stop - first, 0)


def _outlast(track: Track, noise: float, frame: int, *, own: bool) -> None:
    """A louder line is in its bins at `frame`, which says nothing of the tone: is it there for longer than a decay?

    own: it lies where the tone does. A track that is opened later was opened by that line.
    """
    track.outshone += 1
    energy = track.border_level * track.count
    lasting = frame > track.opened and track.seconds(frame) > LONG and energy > LASTED * noise
    if track.outshone > (OUTLASTS if own and lasting else 0):
        _give_way(track, frame)


def _give_way(track: Track, frame: int) -> None:
    """It is another tone: a lasting one ends where that began, others are dropped, unless far louder before they came
    back."""
    if track.doubted:
        _take_back(track, frame)
    elif track.outshone > 1:
        track.ended, track.closed = frame - track.outshone, frame
    else:
        track.closed, track.dropped = frame, True


def _sound(track: Track, y: float, noise: float, frame: int) -> None:
    """One frame of a tone under way: add to the evidence that it has ended."""
    above, recent = (y - 2) * noise, track.recent
    level = _level_so_far(track) if track.count >= 2 else max(above, noise)
    tail = level / TAIL
    if track.seconds(frame) > LONG:
        tail = max(level / LONG_TAIL, min(level, recent) / TAIL)
    floor = noise if noise >= tail else tail
    ratio, heard = level / floor, y * noise / floor
    half = (LEAST_RATIO if ratio < LEAST_RATIO else ratio if ratio < MOST_RATIO else MOST_RATIO) / 2
    gain = (heard if heard < CLIP else CLIP) * half / (1 + half)
    track.sum = total = track.sum + (2 * log1p(half) - gain)
    track.total += above
    track.count += 1
    if above < DIP * level:
        track.dipped = True
    if above > recent / TAIL:
        track.recent = recent + (above - recent) / (CHUNK if recent else 1)
    if total <= track.least:
        track.least, track.least_frame, track.since, track.since_count = total, frame, 0.0, 0
        track.doubtful.clear()
        return
    track.since += above
    track.since_count += 1
    track.doubtful.append((y, noise))
    if total - track.least > END_EVIDENCE + FAINT_EVIDENCE / (1 + level / (2 * noise)):
        track.ended, track.back = track.least_frame, 0.0
        track.total -= track.since
        track.count = max(1, track.count - track.since_count)
        _end(track, frame)


def _level_so_far(track: Track) -> float:
    """Level that the next frame is held against, above 0.

    Of one that is back it is that up to the last frame that spoke for it: a short return counts too few frames, and the
    silence after it would lower its level to the noise's, which never ends.
    """
    total, count = track.total, track.count
    if track.resumed and count - track.since_count >= 2:
        total, count = total - track.since, count - track.since_count
    return max(total / count, 1e-30)


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
    if y <= 2.0 and track.back == 0.0:  # less than noise has on the mean: it tells against it
        return False
    level = max(track.level, 1e-30)
    fallen = TAIL_DB + TAIL_DB_A_FRAME * (frame - track.last - 1)
    tail = level * 10 ** (-fallen / 10)
    floor = noise if noise >= tail else tail
    ratio, heard = level / floor, y * noise / floor
    half = (LEAST_RATIO if ratio < LEAST_RATIO else ratio if ratio < MOST_RATIO else MOST_RATIO) / 2
    back = track.back + (heard if heard < CLIP else CLIP) * half / (1 + half) - 2 * log1p(half)
    track.back = back if back > 0.0 else 0.0
    return back > BACK_EVIDENCE


def _resume(track: Track, noise: float, frame: int) -> None:
    """The tone is back, at a level to be found anew."""
    level = max(track.level, 1e-30)
    track.left, track.doubted = track.left or (track.last, level), False
    track.ended, track.sum, track.least, track.least_frame, track.patience = None, 0.0, 0.0, frame, 0
    track.since, track.since_count, track.outshone, track.resumed = 0.0, 0, 0, True
    track.total, track.count = max(level / 16, min(level, 8 * noise)), 1
    track.recent, track.wide = track.total, track.level > STRONG * noise


def _hold(track: Track, rows: Rows, first: int, stop: int) -> None:
    """Mark the bins that no other track may open in."""
    if stop <= first:
        return
    if track.faint:
        rows.faint(first, stop)[:, max(track.pair - GUARD, 0) : track.pair + GUARD + 2] = True
        return
    guard = HUM_GUARD if track.hum else GUARD
    rows.held(first, stop)[:, max(track.pair - guard, 0) : track.pair + guard + 2] = True
    aged = max(first, track.start + AGED, track.opened)
    if aged < stop:
        rows.old(aged, stop)[:, max(track.pair - 3, 0) : track.pair + 5] = True
    reach = guard if track.hum else track.reach
    rows.splashed(first, stop)[:, max(track.pair - reach, 0) : track.pair + reach + 2] = True


def _recentre(track: Track, rows: Rows) -> None:
    """Let the pair follow a drifting tone: by one bin a chunk, a strong one by WIDE."""
    ratio = track.strength(rows)
    track.border_level = _expected(track)
    track.reach = max(track.reach, reach_of(ratio))
    if track.ended is not None:
        return
    if track.left is not None and track.count >= CHUNK // 2:
        _confirm(track, ratio)
        if track.closed is not None:
            return
    track.wide = ratio > STRONG
    step = WIDE if track.wide else 1
    first = track.next - (3 if track.wide else _looked_at(track, ratio))
    low, high = max(track.pair - step, 1), min(track.pair + step, BINS - 3)
    near = np.add.reduce(rows.ratio(first, track.next)[:, low : high + 2], axis=0)
    pairs = near[:-1] + near[1:]
    best = low + int(pairs.argmax())
    if pairs[best - low] > 1.1 * pairs[track.pair - low]:
        track.pair = best


def _expected(track: Track) -> float:
    """Level that its next frames may have: that before a silence while it is back too shortly to tell."""
    if track.left is not None and track.count < CHUNK // 2:
        return max(track.level, track.left[1])
    return track.level


def _looked_at(track: Track, ratio: float) -> int:
    """Frames that tell in which bins a tone of `ratio` times the noise lies: they hold FOLLOWED beyond noise."""
    return max(CHUNK, min(int(FOLLOWED / max(ratio, 0.1)), SLOWEST, track.next - track.start))


def _confirm(track: Track, ratio: float) -> None:
    """A return that was only noise (a level under NO_RETURN noises) and far under the level before is taken back.

    After a tone of over LONG seconds the return stays in doubt while it is that far under.
    """
    if track.left is None:
        return
    weak = track.level < track.left[1] / FAR_UNDER
    track.doubted = weak and track.seconds(track.left[0]) > LONG
    if weak and ratio < NO_RETURN and track.count < FIRST:
        _take_back(track, track.next - 1)
    elif not track.doubted:
        track.left = None


def _take_back(track: Track, frame: int) -> None:
    """The tone has not come back, as is known at `frame`."""
    last, level = track.left or (track.last, track.level)
    track.ended, track.total, track.count, track.closed = last, level, 1, frame
    track.left, track.doubted = None, False
