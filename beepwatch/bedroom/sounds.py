"""The sounds that a check plays, as samples. Pure; `cli/check.py` writes them as files for a phone."""

import numpy as np
from numpy.typing import NDArray

from beepwatch.bedroom.hold import STEP, STRONG, WEAK
from beepwatch.synthesis import Tone

Samples = NDArray[np.float32]
QUIET = 3.0
"""s of room before and after the tone."""
LEVEL = -6.0
"""dBFS: loud, and short of the edge where phones begin to limit (judgement)."""
BEEP, PAUSE, BEEPS = 1.2, 1.8, 5
"""s, s and number of beeps for a place: 1.2 s as paced breaths have it (from memory); 5 so that their spread shows."""
UNTAUGHT = 2730.0
"""Hz where no tone is taught: buzzers mostly lie at 2 to 4 kHz (datasheets)."""


def steady(tone: float, rate: int) -> Samples:
    """The test sound of `hold`: float32, shape (n,), 21 s."""
    strong = Tone(QUIET, STRONG, tone, LEVEL, ramp=0.02)
    weak = Tone(QUIET + STRONG, WEAK, tone, LEVEL - STEP, ramp=0.02, phase=2 * np.pi * tone * STRONG % (2 * np.pi))
    n = round((2 * QUIET + STRONG + WEAK) * rate)
    return (strong.at(0, n, rate) + weak.at(0, n, rate)).astype(np.float32)


def beeps(tone: float, rate: int, count: int = BEEPS, harmonics: tuple[float, ...] = ()) -> Samples:
    """`count` beeps of `tone` Hz for a phone: float32, shape (n,); harmonics: dB re the fundamental."""
    n = round((1.0 + count * (BEEP + PAUSE)) * rate)
    told = np.zeros(n)
    for i in range(count):
        told += Tone(1.0 + i * (BEEP + PAUSE), BEEP, tone, LEVEL - 4.0, harmonics, ramp=0.01).at(0, n, rate)
    return np.clip(told, -1, 1).astype(np.float32)
