"""Tracks under way that may be of one sounder with one that has ended, so that what it was waits for them."""

from collections.abc import Iterable, Sequence

from .finish import Found
from .rows import Rows
from .sounders import MOST_EDGE, WEAK_DB, relative
from .spectrum import HOP_SECONDS
from .track import Track

WAIT, LONG_WAIT = 6, 46
"""Frames (0.38 s) that a burst waits for a partial of the same sounder to end, and those (0.38 s and the 2.6 s of the
longest breath's beep) that it waits for a fundamental far louder, with which it began: of that it tells nothing new."""


def relatives(track: Track, others: Iterable[Track], frame: int) -> tuple[Track, ...]:
    """Those still under way after `frame` that were then known to be at a multiple or a part of its tone."""
    return tuple(
        other
        for other in others
        if other is not track
        and (other.closed is None or other.told_at > frame)
        and other.opened <= frame
        and (relative(other.tone_at(frame), track.tone) or relative(track.tone, other.tone_at(frame)))
    )


def patience(track: Track, found: Found, kin: Sequence[Track], rows: Rows, frame: int) -> int:
    """Frames for which a burst of a track, known at `frame`, waits for `kin`."""
    return LONG_WAIT if any(_covers(other, track, found, rows, frame) for other in kin) else WAIT


def _covers(other: Track, track: Track, found: Found, rows: Rows, frame: int) -> bool:
    """Is the other its fundamental, WEAK_DB and more over it while it sounded, and did both begin at once?"""
    begins = abs((other.start + 1) * HOP_SECONDS - found.onset) < MOST_EDGE
    if not begins or not relative(track.tone, other.tone_at(frame)):
        return False
    first = max(rows.since(frame), int(found.onset / HOP_SECONDS))
    stop = min(max(int(found.end / HOP_SECONDS), first + 1), frame + 1)
    own, over = (rows.power(first, stop, one.pair_at(frame)) for one in (track, other))
    return over > own * 10 ** (WEAK_DB / 10)
