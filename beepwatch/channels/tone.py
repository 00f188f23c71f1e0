"""The wake tone: 520 Hz, square-like, in a rhythm of our own, as samples. Pure.

A 520 Hz square wave woke every group tested better than a tone near 3100 Hz, a voice or a strobe (Thomas &
Bruck 2008, Fire Technology 46:743), and NFPA 72 asks for 520 Hz +-10 % in sleeping areas (quoted).
"""

from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import OwnSound

Samples = NDArray[np.float32]

FREQUENCY = 520.0
"""Hz."""
PULSE = 0.28
"""s. Longer than a medical alarm's pulse (75-250 ms, IEC 60601-1-8, quoted), shorter than a breath's beep
(0.4 s at least) or a smoke alarm's pulse (0.45 s, ISO 8201), and still so when a room's decay adds 0.1 s.
Loudness is full after about 0.2 s (from memory)."""
INTERVALS = (0.70, 1.05, 0.70, 1.50, 1.20, 0.70, 1.05, 0.70, 1.20, 0.70, 1.20, 0.70, 1.05, 0.70, 1.20)
"""s from onset to onset, which gives groups of one or two pulses: never three, so never the three-pulse evacuation
rhythm (ISO 8201), nor four as for gas. Each pause is over 0.4 s, so that no two pulses are bridged into one long
beep. Found by a search over such rows: among the first eight pulses no three, among all sixteen no four, neighbours
or not, are evenly spaced (within 6 %) at the 1.43-10.5 s of breaths."""
PULSES = (8, 13, 10, 16, 11, 14, 9)
"""How many pulses of the row each round has, in turn. Rounds of one length would themselves be a steady beeping:
in a simulated room (T60 0.4-0.7 s) five equal rounds were taken for one, on a taught tone near a harmonic."""
PEAK = 0.95
"""Of full scale."""
OWN_SOUND = OwnSound(FREQUENCY, PULSE)
"""What listening is told while it sounds."""
EDGE = 0.008
"""s of each pulse's raised-cosine edges: no click."""
TOP = 7000.0
"""Hz up to which odd harmonics are made (at most 0.45 of the rate): what a small speaker can give."""
REST = 0.4
"""s of silence after the tone, before the voice."""
END = 0.5
"""s of silence at the end of each playback: a sound server may drop the last 0.02-0.3 s when a stream closes
(measured with PortAudio 19.6 on PulseAudio 16.1)."""
RISE = {"high": 0.0, "medium": 15.0, "low": 15.0}
"""s until full level, by priority: high at once (judgement for the others)."""
SOFT = 0.1
"""Amplitude, of full, at which a rise begins (-20 dB, judgement)."""


def onsets(pulses: int = PULSES[0]) -> tuple[float, ...]:
    """When each of the first `pulses` (1 to 16) of the rhythm begins, in s."""
    return tuple(accumulate(INTERVALS[: pulses - 1], initial=0.0))


@lru_cache(maxsize=2)
def wake_tone(rate: float, pulses: int = PULSES[0]) -> Samples:
    """The rhythm once: float32, shape (n,), peak 0.95, `rate` Hz, 7.2 s for 8 pulses; not to be written to.

    Raises ValueError for a rate that cannot hold the tone and one harmonic (under 3467 Hz).
    """
    if rate < 3 * FREQUENCY / 0.45:
        raise ValueError(f"{rate=} Hz cannot hold {FREQUENCY:g} Hz and its third harmonic")
    pulse = _pulse(rate)
    starts = [round(start * rate) for start in onsets(pulses)]
    tone = np.zeros(starts[-1] + len(pulse), np.float32)
    for start in starts:
        tone[start : start + len(pulse)] = pulse
    tone.flags.writeable = False
    return tone


def _pulse(rate: float) -> Samples:
    """One pulse: the first odd harmonics of a square wave (amplitudes 1/k), with soft edges."""
    time = np.arange(round(PULSE * rate)) / rate
    top = min(TOP, 0.45 * rate)
    harmonics = range(1, int(top / FREQUENCY) + 1, 2)
    wave = np.sum([np.sin(2 * np.pi * FREQUENCY * k * time) / k for k in harmonics], axis=0)
    edge = 0.5 - 0.5 * np.cos(np.pi * np.clip(time / EDGE, 0, 1))
    wave *= edge * edge[::-1]
    return np.asarray(PEAK * wave / np.max(np.abs(wave)), np.float32)


def silence(seconds: float, rate: float) -> Samples:
    """Silence: float32, shape (n,)."""
    return np.zeros(round(seconds * rate), np.float32)
