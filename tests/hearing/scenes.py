"""Small scenes for hearing: beeps of a stated SNR in noise, heard whole, and matched to what was put in."""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep, Heard
from beepwatch.hearing import RATE, Hearing
from beepwatch.synthesis import Tone, noise

Floats = NDArray[np.float32]
RMS = 0.01
"""Of the noise in every scene: -37 dBFS."""


def level(snr: float) -> float:
    """dBFS of a tone of `snr` dB in a scene."""
    return float(snr + 20 * np.log10(RMS * np.sqrt(2)))


def background(seconds: float, seed: int, kind: str = "white") -> Floats:
    """Noise of RMS, shape (n,)."""
    return np.float32(RMS) * noise(kind, round(seconds * RATE), np.random.default_rng(seed))


def add(samples: Floats, tones: Iterable[Tone]) -> Floats:
    """A copy of `samples`, shape (n,), with the tones in it."""
    mixed = samples.copy()
    for tone in tones:
        first = max(int(tone.begin * RATE), 0)
        n = min(int(tone.end * RATE) + 2, len(samples)) - first
        mixed[first : first + n] += tone.at(first, n, RATE).astype(np.float32)
    return mixed


def spread(
    count: int, length: float, snr: float, seed: int, *, gap: float = 3.0, drift: float = -0.002
) -> tuple[float, list[Tone]]:
    """(seconds of scene, `count` beeps of random tone, 450 to 4900 Hz, with a warm-up drift)."""
    rng = np.random.default_rng(seed)
    starts = 3 + np.arange(count) * (length + gap) + rng.uniform(0, 1, count)
    tones = [
        Tone(float(start), length, float(rng.uniform(450, 4900)), level(snr), drift=drift, warm_up=0.3, phase=1.0)
        for start in starts
    ]
    return 4 + count * (length + gap), tones


def row(count: int, on: float, off: float, frequency: float, snr: float, *, first: float = 3.0) -> list[Tone]:
    """`count` pulses of `on` s, `off` s apart."""
    return [Tone(first + i * (on + off), on, frequency, level(snr)) for i in range(count)]


def hear(
    samples: Floats,
    channels: int = 1,
    tone: float | None = None,
    bandwidth: float = RATE / 2,
    length: float | None = None,
) -> list[Heard]:
    """All that is told of a whole scene, shape (n,) or (channels, n)."""
    hearing = Hearing(channels, tone, bandwidth, length=length)
    return hearing.push(np.atleast_2d(samples)) + hearing.flush()


def beeps(events: Iterable[Heard]) -> list[Beep]:
    """The beeps among them, by onset."""
    return sorted((event for event in events if isinstance(event, Beep)), key=lambda beep: beep.onset)


def found(told: Sequence[Beep], tone: Tone) -> Beep | None:
    """The beep that is `tone`: onset within 0.2 s, end within max(0.2 s, 20 %), tone within 1 % and its drift.

    Of several the one that begins nearest: pulses may follow one another each 0.2 s.
    """
    slack = max(0.2, 0.2 * tone.length)
    near = 0.01 + abs(tone.drift)
    like = [
        beep
        for beep in told
        if abs(beep.onset - tone.onset) <= 0.2
        and abs(beep.end - tone.onset - tone.length) <= slack
        and abs(beep.frequency / tone.frequency - 1) <= near
    ]
    return min(like, key=lambda beep: abs(beep.onset - tone.onset), default=None)


def matched(told: Sequence[Beep], tones: Sequence[Tone]) -> list[tuple[Beep, Tone]]:
    """Each tone that was found, with its beep."""
    pairs = ((found(told, tone), tone) for tone in tones)
    return [(beep, tone) for beep, tone in pairs if beep is not None]
