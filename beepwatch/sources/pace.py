"""Frames against the clock: finds sound that was lost although no one said so."""

SLOT = 2.0
"""s. A burst that makes up for a stall comes within this time (measured: at once, after up to 60 s)."""
LOSS = 0.5
"""s of sound missing that count as a loss: above the jitter of callbacks (measured: 0.11 s at most)."""
DRIFT = 500e-6
"""s/s by which a sound card may differ from our clock without a loss: above any crystal's (judgement)."""


class Pace:
    """Compares the sound that arrived with the time that went by; `rate` in Hz.

    The lag (time minus sound) jitters from block to block, so only its lowest value in each slot of 2 s
    counts. Where that has risen by 0.5 s since the slots before, sound is missing. More sound than time
    is allowed.
    """

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self.reset()

    def reset(self) -> None:
        """Begin anew, as for a new stream."""
        self._frames = 0
        self._began: float | None = None
        self._slot_end = 0.0
        self._lowest = float("inf")
        self._usual: float | None = None

    def delivered(self, frames: int, now: float) -> int:
        """`frames` samples (known losses included) came at `now`; return how many more were lost."""
        self._frames += frames
        if self._began is None:
            self._began = now - frames / self._rate
            self._slot_end = now + SLOT
        self._lowest = min(self._lowest, now - self._began - self._frames / self._rate)
        if now < self._slot_end:
            return 0
        return self._close_slot(now)

    def _close_slot(self, now: float) -> int:
        lag, self._lowest, self._slot_end = self._lowest, float("inf"), now + SLOT
        if self._usual is None or lag <= self._usual + SLOT * DRIFT:
            self._usual = lag
            return 0
        missing = lag - self._usual
        if missing < LOSS:
            self._usual += SLOT * DRIFT
            return 0
        lost = round(missing * self._rate)
        self._frames += lost
        return lost
