"""Bedrooms by image sources (pyroomacoustics), and beeps as they sound in them."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone
from tests.hearing.scenes import RMS, Floats, background

Doubles = NDArray[np.float64]
NULL_REACH = 0.03
"""Share of the tone within which a null of the room is looked for."""


@dataclass(frozen=True, slots=True)
class Bedroom:
    """A room's impulse response, shape (n,), from the direct sound on, and the T60 it was made for, s."""

    response: Doubles
    t60: float


@lru_cache(maxsize=64)
def bedroom(seed: int) -> Bedroom:
    """A room of 3-5 x 3-4.5 x 2.4-2.7 m with T60 0.25-0.55 s, sounder and microphone 1-3 m apart."""
    import pyroomacoustics as pra  # noqa: PLC0415 - slow to import

    rng = np.random.default_rng([seed, 1])
    size = rng.uniform([3, 3, 2.4], [5, 4.5, 2.7])
    t60 = float(rng.uniform(0.25, 0.55))
    absorption, order = pra.inverse_sabine(t60, size)
    room = pra.ShoeBox(size, fs=RATE, materials=pra.Material(absorption), max_order=order)
    source = rng.uniform([0.5, 0.5, 0.4], [size[0] - 0.5, size[1] - 0.5, 1.2])
    microphone = source
    while not 1 <= float(np.linalg.norm(source - microphone)) <= 3:
        microphone = rng.uniform([0.3, 0.3, 0.4], [size[0] - 0.3, size[1] - 0.3, 1.8])
    room.add_source(source)
    room.add_microphone(microphone)
    room.compute_rir()
    response = np.asarray(room.rir[0][0], dtype=np.float64)
    return Bedroom(response[int(np.argmax(np.abs(response))) :], t60)


def null_near(room: Bedroom, frequency: float) -> float:
    """The tone within NULL_REACH of `frequency` that the room weakens most."""
    spectrum = np.abs(np.fft.rfft(room.response, 1 << 18))
    hertz = np.fft.rfftfreq(1 << 18, 1 / RATE)
    near = np.flatnonzero(np.abs(hertz / frequency - 1) < NULL_REACH)
    return float(hertz[near[int(np.argmin(spectrum[near]))]])


def row_in_room(
    seed: int, count: int, length: float, *, pause: float, snr: float, kind: str = "white", null: bool = False
) -> tuple[Floats, list[Tone]]:
    """(scene, its tones): `count` beeps of a buzzer with two harmonics and a warm-up drift, heard in bedroom(seed).

    pause: s between two. snr: of the tone as it settles in the room. null: the tone lies where the room weakens it
    most.
    """
    rng, period = np.random.default_rng([seed, 2]), length + pause
    room = bedroom(seed)
    frequency = float(rng.uniform(1900, 4800))
    if null:
        frequency = null_near(room, frequency)
    harmonics = tuple(float(level) for level in rng.uniform(-30, -12, 2))
    tones = [
        Tone(3 + i * period, length, frequency, 0.0, harmonics, drift=-0.002, warm_up=0.3, ramp=0.008)
        for i in range(count)
    ]
    n = round((6 + count * period) * RATE)
    dry = np.zeros(n)
    for tone in tones:
        first = int(tone.begin * RATE)
        last = int(tone.end * RATE) + 2
        dry[first:last] += tone.at(first, last - first, RATE)
    wet = fftconvolve(dry, room.response)[:n]
    settled = wet[round((3 + 0.3 * length) * RATE) : round((3 + 0.95 * length) * RATE)]
    gain = RMS * 10 ** (snr / 20) / float(np.sqrt(np.mean(settled**2)))
    return (background(n / RATE, seed, kind)[:n] + gain * wet).astype(np.float32), tones
