"""What is wrong with a recording as sound: said on standard error, since it is no reason not to listen."""

import numpy as np
from numpy.typing import NDArray

from beepwatch.cli.reporting.words import count, lasted, tone

FULL = 1 - 2**-14
"""Amplitude from which a sample counts as full scale: two steps of 16 bits below it (judgement)."""
RUN = 3
"""Samples at full scale in a row that show clipping (common practice, no source)."""
SHORT = 0.3
"""s: a file shorter than this holds no whole beep of any known pattern of single beeps (judgement)."""
HEARD = 0.45
"""Highest tone that is heard, as a part of the rate: 3.6 kHz at 8 kHz; filters take the rest (judgement)."""
TONES = 5000.0
"""Hz: highest tone that is looked for."""


class Quality:
    """Counts silence, clipping and gaps over the blocks of one file."""

    def __init__(self, rate: int) -> None:
        self.samples = 0
        self.missing = 0
        """Samples that are NaN (or infinite) in all channels: a gap."""
        self._rate = rate
        self._peak = 0.0
        self._clipped = 0

    def take(self, samples: NDArray[np.float32]) -> None:
        """Take one block, shape (n, channels)."""
        self.samples += len(samples)
        high, low = samples.max(initial=0.0), samples.min(initial=0.0)  # NaN is passed on by both
        peak = float(max(high, -low)) if np.isfinite(high) and np.isfinite(low) else np.inf
        if peak >= FULL:
            size = np.abs(samples)
            broken = ~np.isfinite(size)
            self.missing += int(np.count_nonzero(broken.all(axis=1)))
            size[broken] = 0
            peak = float(size.max(initial=0.0))
            self._clipped += _clipped(size >= FULL)
        self._peak = max(self._peak, peak)

    @property
    def seconds(self) -> float:
        """Length of the file, s."""
        return self.samples / self._rate

    @property
    def gaps(self) -> float:
        """Seconds of it that nobody could hear."""
        return self.missing / self._rate

    def before(self, asked: float | None) -> list[str]:
        """What the rate alone tells; asked: the device's tone in Hz, where it is known."""
        top = HEARD * self._rate
        if top >= TONES:
            return []
        notes = [f"sampled at {self._rate / 1000:g} kHz: tones above {tone_of(top)} are not heard"]
        if asked is not None and asked > top:
            notes.append(f"the tone of {tone_of(asked)} lies above them: nothing will be found")
        return notes

    def after(self) -> list[str]:
        """What is to be said when the file is done, one sentence each."""
        notes = []
        if self._peak == 0 and self.samples:
            notes.append("all of it is digital silence: was the microphone off or muted?")
        if self._clipped:
            notes.append(
                f"clipped ({count(self._clipped, 'sample')} at full scale): beeps may be distorted; "
                "lower the recording level"
            )
        if self.missing:
            notes.append(f"{lasted(self.gaps)} hold no numbers (NaN) and were taken as a gap")
        if self.seconds < SHORT:
            notes.append(f"only {count(self.samples, 'sample')}: too short for a beep")
        return notes


def tone_of(frequency: float) -> str:
    """`3.6 kHz`."""
    return tone(frequency) if frequency < 1000 else f"{frequency / 1000:.3g} kHz"


def _clipped(full: NDArray[np.bool_]) -> int:
    """How many samples at full scale stand in rows of RUN or more, all channels; shape (n, channels)."""
    starts = full[: len(full) - RUN + 1].copy()
    for shift in range(1, RUN):
        starts &= full[shift : len(full) - RUN + 1 + shift]
    runs = np.zeros_like(full)
    for shift in range(RUN):
        runs[shift : len(full) - RUN + 1 + shift] |= starts
    return int(np.count_nonzero(runs))
