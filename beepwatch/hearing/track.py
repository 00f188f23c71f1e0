"""One tone under way: what is known of it from its frames."""

from dataclasses import dataclass, field
from math import ceil, inf
from typing import TypeAlias

from .baseband import STEP
from .rows import Rows
from .spectrum import FRAME, HOP, HOP_SECONDS, RATE, Complexes, Doubles, frame_end

JOIN = 0.4
"""Seconds: the longest gap inside one beep. Whether a gap is too long for its beep is decided in `pulses.py`, once both
sounds beside it are known."""
CLIP = 100.0
"""Power over noise counted at most in one frame, so that a click decides nothing alone."""
STRONG = 30.0
"""Level over noise from which the power is taken from WIDE bins more on each side: their noise no longer matters."""
WIDE = 3
"""23 Hz: a drift of 3 % of 3 kHz in 1.2 s moves as far in half a second."""
GUARD = 5
"""Bins on each side that belong to a track (Hann main lobe 2, drift 3)."""
CHUNK = 8
"""Frames between two looks at a track's bin, counted from its start: results do not depend on how samples came."""


Sight: TypeAlias = tuple[int, int, tuple[int, int], bytes]
"""First frame, frame after the last, lowest and highest pair in them, and which bins near them had long held tones: all
that a look depends on."""


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
    """Hz of the local oscillator of its baseband."""
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
    """Level at the last chunk border, or when it was opened."""
    outshone: int = 0
    """Frames up to the present one in which a louder line lay in its bins."""
    left: tuple[int, float] | None = None
    """(last frame, level) before it came back, until the return is confirmed."""
    resumed: bool = False
    """It was back once: `total` and `count` are of that return."""
    doubted: bool = False
    """At the last chunk border its return was far weaker than it had been."""
    closed: int | None = None
    """Frame at which the end became final."""
    faint: bool = False
    """It was opened only because it is near a known tone: it gives way to any other, and hides none."""
    near_known: bool = False
    """It was opened near the known tone, of which less evidence is asked."""
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
    apart: float = inf
    """Hz to the nearest other line, which is kept out of the baseband."""
    chunks: list[tuple[Complexes, Doubles]] = field(default_factory=list)
    chunk_first: int = 0
    chunk_next: int = 0
    judged: tuple[Sight, bool] | None = None
    """What was last looked at for a line alone, and whether it was one."""
    measured: tuple[Sight, float] | None = None
    """What was last looked at for another line, and Hz to it."""
    tones: list[tuple[int, float]] = field(default_factory=list)
    """(frame from which it was so, tone before) of each change of `tone`."""
    glides: list[tuple[int, int]] = field(default_factory=list)
    """(frame from which it was so, pair before) where the pair moved within a chunk."""

    @property
    def level(self) -> float:
        """Mean power of the pair beyond noise."""
        return self.total / self.count if self.count > 1 else self.total

    def glide(self, frame: int, bins: int) -> None:
        """From `frame` on the pair lies `bins` higher."""
        self.glides.append((frame, self.pair))
        self.pair += bins

    def pair_at(self, frame: int) -> int:
        """The pair as it was at `frame`, as far as it has glided since."""
        return next((before for moved, before in self.glides if moved > frame), self.pair)

    def swept(self, first: int) -> tuple[int, int]:
        """Lowest and highest pair from frame `first` on; both the present one if it did not glide."""
        pairs = [self.pair, *(before for moved, before in self.glides if moved > first)]
        return min(pairs), max(pairs)

    def tune(self, tone: float, frame: int) -> None:
        """From `frame` on the local oscillator is at `tone` Hz."""
        self.tones.append((frame, self.tone))
        self.tone = tone

    def tone_at(self, frame: int) -> float:
        """Hz, as it was known at `frame`, however far the track has been followed since."""
        return next((before for changed, before in self.tones if changed > frame), self.tone)

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
        return self.level / max(rows.noise_in(last, self.pair), 1e-30)


def deadline(track: Track) -> int:
    """Frame by which a tone that has ended must have come back to be the same beep."""
    return track.last + WAITED


FRAME_TAIL = HOP // 2
"""Samples by which the true end lies before the end of the last frame that holds the tone, on the mean."""
WAITED = ceil((frame_end(0) - FRAME_TAIL + JOIN * RATE - 2 * HOP) / HOP)
"""Frames from the last one with the tone."""


def go_on(track: Track) -> None:
    """Take back the end: the tone sounds still at the last frame followed."""
    track.ended, track.closed, track.sum, track.least, track.least_frame = None, None, 0.0, 0.0, track.next - 1
    track.since, track.since_count, track.left, track.patience = 0.0, 0, None, 0
    track.doubted = False
    track.doubtful = []


def put_off(track: Track, seconds: float) -> bool:
    """Put off the closing until `seconds` after the end, if that lies ahead."""
    if not can_wait(track, seconds):
        return False
    track.closed, track.patience = None, _frame_after(track, seconds)
    return True


def can_wait(track: Track, seconds: float) -> bool:
    """Does `seconds` after the end lie ahead, and was the closing not put off before?"""
    return not track.patience and _frame_after(track, seconds) >= track.next


def _frame_after(track: Track, seconds: float) -> int:
    return ceil(((track.last * HOP + 1.5 * HOP + seconds * RATE) - FRAME) / HOP)


def coarse_steps(track: Track, last: int) -> tuple[float, float]:
    """Baseband steps at which the tone began and ended, from its frames alone, good to a frame."""
    return (track.start * HOP + HOP / 2) / STEP, (last * HOP + 1.5 * HOP) / STEP
