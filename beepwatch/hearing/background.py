"""What a sound has to stand out from: the power of each frame over the noise, and the noise itself as it is told."""

from collections.abc import Sequence
from math import log10

import numpy as np

from beepwatch.events import Noise

from .finish import Found
from .floor import BLOCK, FIRST, NoiseFloor, coherence_share
from .looks import line_like
from .spectrum import (
    BAND_BINS,
    BANDS,
    BIN_HZ,
    BINS,
    FRAME,
    HOP,
    LOW_BIN,
    RATE,
    WINDOW_POWER,
    Doubles,
    Floats,
    Mask,
    PowerRows,
    bin_frequency,
    frame_end,
)
from .stream import Stream
from .track import Track

UNHEARD_POWER = 0.5e-12
"""Noise power taken at least, -120 dBFS: digital silence would make every SNR infinite."""
IN_BAND = 2 * BINS / FRAME / WINDOW_POWER
"""Variance in the bins kept, over their mean power (Parseval): the noise is at least that."""
EDGES = tuple(bin_frequency((band + 1) * BAND_BINS) for band in range(BANDS))
"""Hz: the upper edge of each band."""
STALE = 30
"""Blocks (a minute) without a moment free of tones after which the noise is read from the quieter moments with them."""


class Background:
    """The noise of each channel; it is kept when frames are counted anew."""

    def __init__(self, channels: int, stream: Stream) -> None:
        """Of `channels` channels."""
        self.channels = channels
        self._floors: list[NoiseFloor] = []
        self._quiet = np.full(channels, UNHEARD_POWER)
        self._share: Floats = np.full(BANDS, 1 / channels, np.float32)
        """Looks that the channels are worth over their number, by band; copies of one until it is measured."""
        self._shares = 0
        self._stale = 0
        self._asked: tuple[int, Mask | None] | None = None
        """(stop, moments free of tones, or None) of the block that the quiet level is to be read from, once needed."""
        self._stream = stream
        self.restart(stream)

    def restart(self, stream: Stream) -> None:
        """Frames are counted anew in `stream`."""
        self._read_quiet()
        self._stream = stream
        self._power = PowerRows(BLOCK)
        several = self.channels if self.channels > 1 else 0
        self._ratios: Floats = np.empty((several, BLOCK, BINS), np.float32)
        """Ratios of the block under way by channel, where there is more than one."""
        self._spare = np.empty_like(self._ratios)
        self.sounded: list[Found] = []
        """Bursts of this block and the one before."""

    @property
    def first(self) -> int:
        """Frames that must have come before any can be looked at."""
        return 1 if self._floors else FIRST

    def normalise(self, first: int, count: int) -> Floats:
        """Ratio of power to noise of the next frames, all channels' mean; rows and block are kept."""
        ratio, gains = self._stream.rows.next(count)
        at = first % BLOCK
        ratios = self._ratios[:, at : at + count] if self.channels > 1 else ratio[None]
        for rows, sound in zip(ratios, self._stream.audio.view(first * HOP, frame_end(first + count - 1)), strict=True):
            self._power.write(rows, sound)
        if not self._floors:
            self._floors = [NoiseFloor(rows[:FIRST]) for rows in ratios]
        for floor, rows, gain in zip(self._floors, ratios, gains, strict=True):
            floor.normalise_in(rows, gain)
        if self.channels > 1:
            ratio[:] = self._combined(ratios)
        self._stream.rows.know([floor.floor for floor in self._floors], self._share)
        if first == 0 and self._quiet[0] == UNHEARD_POWER:
            self._quiet = np.maximum(np.quantile(self._energies(0, FIRST), 0.2, axis=1), UNHEARD_POWER)
        return ratio

    def _combined(self, ratios: Floats) -> Floats:
        """All channels' mean, with no more spread than so many independent looks have."""
        alive: list[Floats] = [r for r, floor in zip(ratios, self._floors, strict=True) if floor.alive] or [ratios[0]]
        if len(alive) == 1:
            return alive[0]
        spread = np.repeat(np.sqrt(self._share * (self.channels / len(alive))), BAND_BINS)
        mean: Floats = 1 + (np.mean(alive, axis=0) - 1) * np.minimum(spread, 1).astype(np.float32)
        return mean

    def _energies(self, first: int, stop: int) -> Floats:
        """Variance of the sound in the later half of each frame first <= t < stop, (channels, n)."""
        hops = self._stream.audio.view((first + 1) * HOP, (stop + 1) * HOP).reshape(self.channels, stop - first, HOP)
        energies: Floats = np.einsum("ctn,ctn->ct", hops, hops) / HOP - np.square(hops.sum(axis=2) / HOP)
        return energies

    def learn(self, stop: int, tracks: Sequence[Track]) -> Noise:
        """At a block's end: let floors and the quiet level follow the room, and tell the noise."""
        rows = self._stream.rows
        ratios, gains = rows.ratio(stop - BLOCK, stop)[None], rows.gains(stop - BLOCK, stop)
        if self.channels > 1:
            ratios = self._ratios
            self._ratios, self._spare = self._spare, ratios  # floors keep one block
            share = coherence_share(ratios)
            self._share = share if self._shares == 0 else 0.75 * self._share + 0.25 * share
            self._shares += 1
        busy = self._busy(stop, tracks)
        for channel, floor in enumerate(self._floors):
            floor.learn(ratios[channel], gains[channel], busy)
        calm = self._calm(stop, tracks)
        self._stale = 0 if np.count_nonzero(calm) >= 4 else self._stale + 1
        if self._stale == 0 or self._stale > STALE:
            self._asked = (stop, calm if self._stale == 0 else None)
        else:
            self._read_quiet()  # its sound will not be kept for ever
        return self._noise(stop, gains)

    def _calm(self, stop: int, tracks: Sequence[Track]) -> Mask:
        """Which of the last BLOCK frames before `stop` are free of tones but hums, (BLOCK,)."""
        toned = self._stream.rows.held(stop - BLOCK, stop)
        if not toned.any():
            return np.ones(BLOCK, np.bool_)
        toned = toned.copy()
        for track in tracks:
            if track.hum:
                toned[:, max(track.pair - 1, 0) : track.pair + 3] = False
        calm: Mask = np.logical_not(toned.any(axis=1))
        return calm

    def _read_quiet(self) -> Floats:
        """Power of the quiet noise of each channel, (channels,)."""
        if self._asked is not None:
            stop, calm = self._asked
            self._asked, energies = None, self._energies(stop - BLOCK, stop)
            if calm is None:
                level = np.quantile(energies, 0.2, axis=1)
            else:
                level = np.sort(energies[:, calm], axis=1)[:, np.count_nonzero(calm) // 2]
            self._quiet = np.maximum(level, UNHEARD_POWER)
        return self._quiet

    def _busy(self, stop: int, tracks: Sequence[Track]) -> Mask | None:
        """Where tones sounded in the block before the one that ends with frame `stop`, (BLOCK, BINS); None: nowhere."""
        if not tracks and not self.sounded:
            return None
        first = stop - 2 * BLOCK
        busy = np.zeros((BLOCK, BINS), np.bool_)
        for track in tracks:
            if (
                not (track.hum or track.faint)
                and track.seconds(stop) > 0.3
                and line_like(track, self._stream.rows, stop)
            ):
                wide = max(4, track.reach // 2)
                busy[max(track.start - 1 - first, 0) :, max(track.pair - wide, 0) : track.pair + wide + 2] = True
        for found in self.sounded:
            k = round(found.hertz / BIN_HZ) - LOW_BIN
            begin, end = int(found.onset * RATE / HOP) - 2, int(found.end * RATE / HOP) + 2
            busy[max(begin - first, 0) : max(end - first, 0), max(k - 4, 0) : k + 5] = True
        self.sounded = [found for found in self.sounded if found.end * RATE > (stop - BLOCK) * HOP]
        return busy

    def _noise(self, stop: int, gains: Floats) -> Noise:
        """Noise of each band over the last block, of the quietest channel alive."""
        floors = np.array([floor.floor for floor in self._floors]).reshape(-1, BANDS, BAND_BINS)
        middle = np.sort(gains, axis=1)[:, gains.shape[1] // 2]
        power: Doubles = np.minimum.reduce(np.add.reduce(floors, axis=2, dtype=np.float64) * middle, axis=0)
        levels = 10 * np.log10(np.maximum(power * (2 / WINDOW_POWER / BAND_BINS), UNHEARD_POWER))
        bands = tuple(zip(EDGES, (np.rint(levels * 10) / 10).tolist(), strict=True))
        return Noise(self._stream.seconds(stop - 1), bands)

    def snr(self, found: Found, frame: int) -> float:
        """dB of a burst, told at `frame`, over the quiet noise of its channel."""
        rows = self._stream.rows
        first = rows.since(frame)
        stop = min(max(int(found.onset * RATE / HOP) - 1, first + 1), frame + 1)
        before = rows.noise(max(stop - 8, first), stop, 0, BINS)[found.channel]
        in_band = np.median(before.mean(axis=1)) * IN_BAND
        return found.level - 10 * log10(2 * max(float(self._read_quiet()[found.channel]), float(in_band)))
