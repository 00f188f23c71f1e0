"""Ten bedrooms by image sources, and what a microphone in them hears."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beepwatch.synthesis import noise

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]
RATE = 16_000
KINDS = ("white", "pink", "fan", "breathing")


@dataclass(frozen=True)
class Bedroom:
    """A room with its walls and a microphone, and what it hears from each spot."""

    seed: int
    size: tuple[float, float, float]
    asked: float
    """T60 after Sabine, s."""
    device: Floats
    """Impulse response from the device where it was taught."""


@dataclass(frozen=True)
class Spots:
    """More of what it hears."""

    beside: tuple[Floats, ...]
    """From five spots within a hand's width of it, where the phone is matched."""
    place: tuple[Floats, ...]
    """From five spots of another place."""
    others: tuple[Floats, ...]
    """From twenty more spots of that place, where the device may come to lie."""


@lru_cache(maxsize=16)
def bedroom(seed: int) -> Bedroom:
    """Furnished bedrooms: 2.5-5 m a side, T60 0.3-0.7 s (Master Handbook of Acoustics), by pyroomacoustics."""
    (device,), size, asked = _heard_from(seed, range(1))
    return Bedroom(seed, size, asked, device)


@lru_cache(maxsize=16)
def spots(seed: int) -> Spots:
    """The same room from 30 more spots; takes about a second."""
    heard_, _, _ = _heard_from(seed, range(1, 31))
    return Spots(heard_[:5], heard_[5:10], heard_[10:])


def _heard_from(seed: int, which: range) -> tuple[tuple[Floats, ...], tuple[float, float, float], float]:
    """(impulse responses from these spots, sides of the room in m, T60 after Sabine in s)."""
    import pyroomacoustics as pra  # noqa: PLC0415 - slow to import

    rng = np.random.default_rng(1000 + seed)
    size = rng.uniform([2.5, 3.0, 2.3], [5.0, 6.0, 2.8])
    asked = float(rng.uniform(0.3, 0.7))
    absorption, order = pra.inverse_sabine(asked, size)
    room = pra.ShoeBox(size, fs=RATE, materials=pra.Material(absorption), max_order=min(order, 50))
    device, place = rng.uniform(0.5, size - 0.5), rng.uniform(0.5, size - 0.5)
    microphone = rng.uniform(0.5, size - 0.5)
    places = [device, *(device + _hand(rng) for _ in range(5)), *(place + _hand(rng) for _ in range(25))]
    for number in which:
        room.add_source(places[number])
    room.add_microphone(microphone)
    room.compute_rir()
    all_ = tuple(np.asarray(each, dtype=np.float64) for each in room.rir[0])
    sides = (float(size[0]), float(size[1]), float(size[2]))
    return all_, sides, asked


def _hand(rng: np.random.Generator) -> Floats:
    """A step of a hand's width, 8 to 16 cm, in any direction."""
    turn = rng.standard_normal(3)
    return np.asarray(turn / np.linalg.norm(turn) * rng.uniform(0.08, 0.16))


def unit(response: Floats) -> Floats:
    """The response with energy 1."""
    return np.asarray(response / np.sqrt(np.sum(response**2)))


def heard(sound: Samples, response: Floats, level: float, noise_level: float, seed: int) -> Samples:
    """`sound` through a room so that a full-scale part of it comes out at about `level` dB, in noise of a kind by seed.

    level: dB of gain on the response of unit energy. noise_level: dBFS. Returns float32, shape (n,).
    """
    from scipy.signal import fftconvolve  # noqa: PLC0415

    wet = fftconvolve(sound.astype(np.float64), unit(response))[: len(sound)] * 10 ** (level / 20)
    back = noise(KINDS[seed % 4], len(sound), np.random.default_rng(seed)) * 10 ** ((noise_level - 3) / 20)
    return (wet + back).astype(np.float32)
