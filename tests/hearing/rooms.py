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
SMOOTHED, DYING = 150.0, 0.4
"""Hz to each side over which the noise is smoothed, and s after a tone in which it dies away."""


@dataclass(frozen=True, slots=True)
class Bedroom:
    """A room's impulse response, shape (n,), from the direct sound on, and the T60 it was made for, s."""

    response: Doubles
    t60: float


@lru_cache(maxsize=64)
def bedroom(seed: int) -> Bedroom:
    """A room of 3-5 x 3-4.5 x 2.4-2.7 m with T60 0.25-0.55 s, sounder and microphone 1-3 m apart."""
    [response], t60 = _responses(seed)
    return Bedroom(response, t60)


@lru_cache(maxsize=64)
def two_places(seed: int, apart: float) -> tuple[Doubles, Doubles]:
    """Responses of that room at its microphone, and at another of the same device `apart` m beside it."""
    (here, there), _ = _responses(seed, apart)
    return here, there


def _responses(seed: int, *beside: float) -> tuple[list[Doubles], float]:
    """(impulse responses at the microphone and `beside` m along the first wall, from its direct sound on, T60)."""
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
    for metres in (0.0, *beside):
        inwards = metres if microphone[0] < size[0] / 2 else -metres
        room.add_microphone(np.add(microphone, (inwards, 0.0, 0.0)))
    room.compute_rir()
    every = [np.asarray(one[0], dtype=np.float64) for one in room.rir]
    direct = int(np.argmax(np.abs(every[0])))
    return [one[direct:] for one in every], t60


def null_near(room: Bedroom, frequency: float) -> float:
    """The tone within NULL_REACH of `frequency` that the room weakens most."""
    spectrum = np.abs(np.fft.rfft(room.response, 1 << 18))
    hertz = np.fft.rfftfreq(1 << 18, 1 / RATE)
    near = np.flatnonzero(np.abs(hertz / frequency - 1) < NULL_REACH)
    return float(hertz[near[int(np.argmin(spectrum[near]))]])


@dataclass(frozen=True, slots=True)
class RoomScene:
    """What the sounder leaves at the microphone, the noise there, both of shape (n,), and the tones."""

    sound: Doubles
    noise: Floats
    tones: list[Tone]

    @property
    def samples(self) -> Floats:
        """Both together."""
        return (self.noise + self.sound).astype(np.float32)

    def energies(self) -> Doubles:
        """E/N0 of each tone as an ideal listener would have it, (tones,): all harmonics, build-up and decay included.

        Sound over noise, frequency by frequency (the matched filter in coloured noise: Kay, Detection Theory, from
        memory); the noise is that of the tone's own time, smoothed over SMOOTHED Hz.
        """
        return np.array([self._energy(round(tone.begin * RATE), tone.length + DYING) for tone in self.tones])

    def _energy(self, first: int, seconds: float) -> float:
        span = slice(first, first + round(seconds * RATE))
        tone, noise = (np.abs(np.fft.rfft(one[span].astype(np.float64))) ** 2 for one in (self.sound, self.noise))
        width = round(SMOOTHED * seconds)
        padded = np.pad(noise, width, mode="reflect")
        smooth = np.convolve(padded, np.ones(2 * width + 1) / (2 * width + 1), mode="valid")
        return float((tone / smooth).sum())


def row_in_room(
    seed: int, count: int, length: float, *, pause: float, snr: float, kind: str = "white", null: bool = False
) -> tuple[Floats, list[Tone]]:
    """(samples, tones) of `scene_in_room`."""
    scene = scene_in_room(seed, count, length, pause=pause, snr=snr, kind=kind, null=null)
    return scene.samples, scene.tones


def scene_in_room(
    seed: int, count: int, length: float, *, pause: float, snr: float, kind: str = "white", null: bool = False
) -> RoomScene:
    """`count` beeps of a buzzer with two harmonics and a warm-up drift, heard in bedroom(seed).

    pause: s between two. null: the tone lies where the room weakens its fundamental most.
    snr: dB of all that the sounder leaves at the microphone, fundamental, harmonics and what is left of the build-up
    together, over the noise in 0-8 kHz, as the mean over 0.3 to 0.95 of the first beep. In a null it is taken after the
    null, which takes nothing off it: the build-up is then some 8 dB over `snr`, and the fundamental falls from there to
    10 dB and more under it before the end, where the decay is loud again.
    """
    rng, period = np.random.default_rng([seed, 2]), length + pause
    room = bedroom(seed)
    frequency = float(rng.uniform(1900, 4800))
    if null:
        frequency = null_near(room, frequency)
    dry, tones = _row(rng, frequency, count, length, period)
    wet = fftconvolve(dry, room.response)[: len(dry)]
    return RoomScene(_gain(wet, length, snr) * wet, background(len(dry) / RATE, seed, kind)[: len(dry)], tones)


def row_at_two_places(
    seed: int, count: int, length: float, *, pause: float, snr: float, apart: float, kind: str = "white"
) -> tuple[Floats, list[Tone]]:
    """(samples of shape (2, n), tones): the same by two microphones `apart` m from each other, noises of their own.

    snr is that of the first.
    """
    rng = np.random.default_rng([seed, 2])
    dry, tones = _row(rng, float(rng.uniform(1900, 4800)), count, length, length + pause)
    wet = [fftconvolve(dry, response)[: len(dry)] for response in two_places(seed, apart)]
    noises = [background(len(dry) / RATE, seed + 500_000 * one, kind)[: len(dry)] for one in range(2)]
    return (np.stack(noises) + _gain(wet[0], length, snr) * np.stack(wet)).astype(np.float32), tones


def _row(
    rng: np.random.Generator, frequency: float, count: int, length: float, period: float
) -> tuple[Doubles, list[Tone]]:
    """(what the sounder gives out, shape (n,), tones)."""
    harmonics = tuple(float(level) for level in rng.uniform(-30, -12, 2))
    tones = [
        Tone(3 + i * period, length, frequency, 0.0, harmonics, drift=-0.002, warm_up=0.3, ramp=0.008)
        for i in range(count)
    ]
    dry = np.zeros(round((6 + count * period) * RATE))
    for tone in tones:
        first = int(tone.begin * RATE)
        last = int(tone.end * RATE) + 2
        dry[first:last] += tone.at(first, last - first, RATE)
    return dry, tones


def _gain(wet: Doubles, length: float, snr: float) -> float:
    """By which what arrives of the first beep, once settled, is `snr` dB over the noise."""
    settled = wet[round((3 + 0.3 * length) * RATE) : round((3 + 0.95 * length) * RATE)]
    return RMS * 10 ** (snr / 20) / float(np.sqrt(np.mean(settled**2)))
