"""From a track to the bursts in it: its baseband, its pulses, their fit and their character."""

from dataclasses import dataclass
from math import log10

import numpy as np

from beepwatch.events import Character

from .baseband import STEP, Audio, demodulate, weights
from .character import describe
from .fit import Burst, Envelope, fit_burst
from .pulses import silences
from .rows import Rows
from .spectrum import HOP, RATE, Doubles, frame_end
from .track import Track, coarse_steps
from .verdict import enough

LOOK_BACK = 120
"""Steps (0.48 s) of baseband kept before a track's first frame."""
NARROW = 0.45
"""Least share of the power within +-7 bins that lies in a pure tone's pair; a centred Hann line has 0.83 (theory)."""


@dataclass(frozen=True, slots=True)
class Found:
    """A burst with all that a beep needs; times in seconds since the stream's (re)start."""

    onset: float
    duration: float
    hertz: float
    level: float
    channel: int
    character: Character
    evidence: float
    at_start: bool

    @property
    def end(self) -> float:
        """Seconds."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Stretch:
    """Baseband that a burst may use, and the steps at which it begins and ends at about."""

    part: Envelope
    begin: float
    end: float


def narrow(track: Track, rows: Rows, stop: int) -> bool:
    """A cheap first look: is the power round the track a line, and not a glide, a chord or a hiss?"""
    first = max(track.start, rows.begin)
    low = min(max(track.pair - 6, 0), rows.ratio(first, first + 1).shape[1] - 14)
    near = np.minimum(rows.ratio(first, stop)[:, low : low + 14], 1e6).astype(np.float64) - 1.0
    place = track.pair - low
    line = near[:, place - 1 : place + 3].sum()
    total = near.sum()
    spare = 3 * np.sqrt(near.size)
    return bool(line > NARROW * (total - spare))


def collect(track: Track, rows: Rows, audio: Audio, stop_frame: int) -> None:
    """Bring the sound up to the end of the frame before `stop_frame` down to the track's baseband."""
    if not track.chunks:
        back = frame_end(max(track.opened, stop_frame - 1)) - 20 * RATE
        track.chunk_first = track.chunk_next = max(track.start * HOP // STEP - LOOK_BACK, back // STEP, 0)
    end = frame_end(stop_frame - 1) // STEP
    if end <= track.chunk_next:
        return
    begin, track.chunk_next = track.chunk_next, end
    z = demodulate(audio.view(begin * STEP, end * STEP), begin * STEP, track.tone)
    track.chunks.append((z, weights(_step_noise(rows, track.pair, begin, end, stop_frame))))


def _step_noise(rows: Rows, pair: int, begin: int, end: int, stop_frame: int) -> Doubles:
    """Bin noise at each step, (channels, n): the mean of the two frames that overlap it most."""
    hops = np.arange(begin, end) * STEP // HOP
    low = int(max(rows.begin, hops[0] - 1))
    noise = rows.noise(low, stop_frame)[:, :, pair : pair + 2].mean(axis=2, dtype=np.float64)
    last = noise.shape[1] - 1
    before, after = np.clip(hops - 1 - low, 0, last), np.clip(hops - low, 0, last)
    mean: Doubles = 0.5 * (noise[:, before] + noise[:, after])
    return mean


def envelope(track: Track) -> Envelope:
    """All baseband collected so far."""
    z = np.concatenate([z for z, _ in track.chunks], axis=1)
    weight = np.concatenate([w for _, w in track.chunks], axis=1)
    return Envelope(z, weight, track.chunk_first)


def pieces(whole: Envelope, begin: float, end: float) -> list[tuple[float, float, int, int]]:
    """Pulses between steps `begin` and `end`: (begin, end, first step it may use, step after the last)."""
    stop = whole.first + whole.z.shape[1]
    gaps = silences(whole.part(int(begin), int(end) + 1))
    starts = [begin, *(float(b) for _, b in gaps)]
    ends = [*(float(a) for a, _ in gaps), end]
    walls = [whole.first, *((a + b) // 2 for a, b in gaps), stop]
    return [(a, b, walls[i], walls[i + 1]) for i, (a, b) in enumerate(zip(starts, ends, strict=True))]


def bursts(track: Track, rows: Rows, taught: bool) -> list[Found]:
    """The bursts of a track that has ended, fitted and described."""
    whole = envelope(track)
    begin, end = coarse_steps(track, track.last)
    begin = max(begin, float(track.cut), float(whole.first))
    found = []
    for a, b, low, high in pieces(whole, begin, end):
        if b - a < 4:
            continue
        one = fitted(track, rows, Stretch(whole.part(max(low, track.cut), high), a, b), taught)
        if one is not None:
            found.append(one)
    return found


def fitted(track: Track, rows: Rows, stretch: Stretch, taught: bool) -> Found | None:
    """Fit and describe one burst; None without evidence."""
    part = stretch.part
    burst = fit_burst(part, stretch.begin, stretch.end)
    if not enough(burst, taught):
        return None
    hertz = track.tone + float(burst.drift.hertz(np.linspace(burst.begin, burst.end, 9)).mean())
    channel = _loudest(part, burst)
    character, power = describe(part, burst, rows, hertz, channel)
    level = 10 * log10(power) - 20 * log10(STEP / 2)
    return Found(
        burst.begin * STEP / RATE,
        burst.seconds,
        hertz,
        level,
        channel,
        character,
        burst.evidence,
        track.at_start and track.cut == 0,
    )


def _loudest(part: Envelope, burst: Burst) -> int:
    """Channel with the most evidence."""
    if len(part.z) == 1:
        return 0
    body = part.part(round(burst.begin), round(burst.end))
    mean = (burst.drift.unwind(body) * body.weight).sum(axis=1)
    return int(np.argmax(np.abs(mean) ** 2 / body.weight.sum(axis=1)))
