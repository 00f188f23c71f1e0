"""Scenes for naming: the alarms, and what other makers' things sound like, in image-source rooms over ordinary noise.

A scene is drawn from a seed: room, tone, rate and length of breath, talk and music. SNR is the power of the sound as it
would settle in the room over the background's mean power in 0-8 kHz. Rooms: tests/hearing/rooms.py, T60 0.25-0.55 s.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone, noise
from beepwatch.synthesis.backgrounds import band_power
from beepwatch.synthesis.room import gain_at
from tests.hearing.rooms import bedroom, two_places
from tests.hearing.scenes import RMS
from tests.realsounds import mono, sounds

Floats = NDArray[np.float32]
Pulses = tuple[tuple[float, float], ...]
BESIDE = 0.1
"""m between the two microphones of one device (a laptop's, judgement)."""
HISS = 10 ** (-75 / 20)
"""RMS of the noise under talk, music and snoring."""
NOISES = ("white", "pink", "fan", "breathing")
BUZZER, MEDICAL, SQUARE = (-14.0, -10.0, -22.0), (-3.0, -6.0, -8.0), (-60.0, -9.5, -60.0)
"""dB of the harmonics: a buzzer (judgement); a medical pulse (IEC 60601-1-8 asks for four, quoted); a square wave."""
KINDS = (
    *("lead-disconnect", "battery-critical", "backup-battery", "fire", "fire 520"),
    *("carbon-monoxide", "carbon-monoxide 520", "medical-high", "medical-medium"),
)
HIGH = (0.0, 0.25, 0.5, 1.0, 1.25, 2.2, 2.45, 2.7, 3.2, 3.45)
"""Onsets of ten 0.15 s pulses (IEC 60601-1-8 Table 3, quoted)."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One scene: what sounds in it and what it should be named; `name` None where nothing may wake."""

    kind: str
    name: str | None
    background: str
    snr: float
    seed: int
    room: bool
    tone: float
    pulses: Pulses
    harmonics: tuple[float, ...]
    seconds: float
    other: float | None = None
    """Hz of every second pulse, where it is another tone."""

    def sound(self) -> Floats:
        """The scene's samples, shape (n,)."""
        dry = self._dry()
        if not self.room:
            return np.asarray(self._bed(len(dry)) + self._gain() * dry, np.float32)
        response = bedroom(self.seed).response
        wet = fftconvolve(dry, response)[: len(dry)]
        return np.asarray(self._bed(len(dry)) + self._gain(response) * wet, np.float32)

    def by_two(self) -> Floats:
        """The same in its room by two microphones BESIDE m apart, shape (2, n); snr is that of the first.

        What speaks, plays or snores is elsewhere in the room; noises are each microphone's own.
        """
        dry, places = self._dry(), two_places(self.seed, BESIDE)
        gain = self._gain(places[0])
        return np.stack([
            bed + gain * fftconvolve(dry, response)[: len(dry)]
            for bed, response in zip(self._beds(len(dry)), places, strict=True)
        ]).astype(np.float32)  # fmt: skip

    def _dry(self) -> NDArray[np.float64]:
        """What the sounder gives out, shape (n,)."""
        dry = np.zeros(round(self.seconds * RATE))
        for number, (onset, length) in enumerate(self.pulses):
            tone = self.other if self.other and number % 2 else self.tone
            one = Tone(onset, length, tone, 0.0, self.harmonics, drift=-0.002, warm_up=0.3, ramp=0.006)
            first, last = int(one.begin * RATE), min(len(dry), int(one.end * RATE) + 2)
            dry[first:last] += one.at(first, last - first, RATE)
        return dry

    def _gain(self, response: NDArray[np.float64] | None = None) -> float:
        """By which it arrives `snr` dB over the bed, once settled."""
        heard = [level for n, level in enumerate((0.0, *self.harmonics), 1) if n * self.tone < RATE / 2]
        power = [0.5 * 10 ** (level / 10) for level in heard]
        if response is not None:
            power = [p * 10 ** (gain_at(response, self.tone * (i + 1), RATE) / 10) for i, p in enumerate(power)]
        return float(RMS * 10 ** (self.snr / 20) / np.sqrt(sum(power)))

    def _beds(self, n: int) -> list[Floats]:
        """The background at two microphones."""
        if self.background in NOISES:
            return [replace(self, seed=self.seed + 900_000 * one)._bed(n) for one in range(2)]
        bed, rng = self._bed(n), np.random.default_rng([self.seed, 4])
        wet = [fftconvolve(bed, response)[:n] for response in two_places(self.seed + 7000, BESIDE)]
        gain = float(np.sqrt(np.mean(np.square(bed)) / np.mean(np.square(wet[0]))))
        return [np.float32(gain) * one + np.float32(HISS) * rng.standard_normal(n, np.float32) for one in wet]

    def _bed(self, n: int) -> Floats:
        rng = np.random.default_rng([self.seed, 3])
        if self.background in NOISES:
            return np.float32(RMS) * noise(self.background, n, rng)
        made = {"speech": speech, "music": music, "snoring": snoring}[self.background](n, rng)
        hiss = HISS * rng.standard_normal(n)
        return np.asarray(made * (RMS / np.sqrt(band_power(made, RATE))) + hiss, np.float32)


@cache
def _recorded(package: str) -> tuple[Floats, ...]:
    return tuple(mono(one.path) for one in sounds() if one.package == package)


def speech(n: int, rng: np.random.Generator) -> Floats:
    """Spoken prompts one after another, 0.2 s apart, shape (n,)."""
    prompts = [one for one in _recorded("asterisk-core-sounds-en-wav") if len(one) > RATE // 2]
    line: list[Floats] = []
    while sum(map(len, line)) < n:
        line += [prompts[int(rng.integers(len(prompts)))], np.zeros(RATE // 5, np.float32)]
    return np.concatenate(line)[:n]


def music(n: int, rng: np.random.Generator) -> Floats:
    """A part of one of five pieces, shape (n,)."""
    pieces = [one for one in _recorded("asterisk-moh-opsound-wav") if len(one) > 120 * RATE]
    piece = pieces[int(rng.integers(len(pieces)))]
    return np.resize(piece[int(rng.integers(60 * RATE)) :], n)


def snoring(n: int, rng: np.random.Generator) -> Floats:
    """A low pulsing buzz that swells with each breath of 4.2 s (made up, after no recording), shape (n,)."""
    t = np.arange(n) / RATE
    swell = np.maximum(0, np.sin(2 * np.pi * t / 4.2)) ** 0.7
    pulse = (np.sin(2 * np.pi * (70 + 8 * np.sin(2 * np.pi * t / 4.2)) * t) > 0.8) * rng.normal(1, 0.3, n)
    throat = np.exp(-np.arange(200) / 40) * np.sin(2 * np.pi * 420 * np.arange(200) / RATE)
    return np.asarray((np.convolve(pulse, throat, "same") + rng.normal(0, 0.02, n)) * swell, np.float32)


# -- the alarms


def _repeat(group: Sequence[tuple[float, float]], period: float, count: int, start: float = 3.0) -> Pulses:
    return tuple((start + period * i + onset, length) for i in range(count) for onset, length in group)


def alarm(kind: str, background: str, snr: float, seed: int) -> Stage:
    """One alarm of a kind, drawn from `seed`."""
    rng = np.random.default_rng([seed, 4])
    tone, harmonics, name, seconds = float(rng.uniform(1900, 4500)), BUZZER, kind, 0.0
    match kind.split(maxsplit=1)[0]:
        case "lead-disconnect":
            period = 60 / float(rng.uniform(9, 24))
            pulses = _repeat([(0, min(float(rng.uniform(0.9, 1.4)), 0.5 * period))], period, 12)
        case "battery-critical":
            pulses, seconds = _repeat([(0, 20.0)], 60, 2, 5.0), 110.0
        case "backup-battery":
            pulses, seconds = ((8.0, 10.0),), 30.0
        case "fire":
            pulses = _repeat([(k, 0.5) for k in range(3)], 4.0, 8)
        case "carbon-monoxide":
            pulses = _repeat([(0.2 * k, 0.1) for k in range(4)], 5.7, 9)
        case "medical-high":
            pulses, tone, harmonics = _repeat([(o, 0.15) for o in HIGH], 10, 6), float(rng.uniform(440, 950)), MEDICAL
        case _:
            tone, harmonics = float(rng.uniform(440, 950)), MEDICAL
            pulses = _repeat([(0.4 * k, 0.2) for k in range(3)], float(rng.uniform(6, 12)), 7)
    if kind.endswith(" 520"):
        name, tone, harmonics = kind[:-4], 520.0, SQUARE
    seconds = seconds or pulses[-1][0] + pulses[-1][1] + 4
    return Stage(kind, name, background, snr, seed, True, tone, pulses, harmonics, seconds)


def alarms(seed: int) -> list[Stage]:
    """All kinds of alarm at +10, 0, -8 and -14 dB: each three alarms of the device in every background."""
    made: list[Stage] = []
    beds = (*NOISES, "speech", "music", "snoring")
    for place, (snr, kind) in enumerate(product((10.0, 0.0, -8.0, -14.0), KINDS)):
        device = kind in {"lead-disconnect", "battery-critical", "backup-battery"}
        for bed in beds if device else (NOISES[place % 4], "speech", "music"):
            made.append(alarm(kind, bed, snr, 1000 * seed + len(made)))
    return made


# -- other makers


OTHERS: dict[str, tuple[str | None, float, Pulses]] = {
    "fire 520": ("fire", 520, _repeat([(k, 0.5) for k in range(3)], 4, 8)),
    "fire 3100": ("fire", 3100, _repeat([(k, 0.5) for k in range(3)], 4, 8)),
    "carbon monoxide 520": ("carbon-monoxide", 520, _repeat([(0.2 * k, 0.1) for k in range(4)], 5.7, 8)),
    "carbon monoxide 3100": ("carbon-monoxide", 3100, _repeat([(0.2 * k, 0.1) for k in range(4)], 5.7, 8)),
    "low-battery chirp": (None, 3100, _repeat([(0, 0.1)], 45, 4)),
    "microwave 0.7 s": (None, 2000, _repeat([(0, 0.7)], 1.4, 5)),
    "microwave 1 s": (None, 2000, _repeat([(0, 1.0)], 2.0, 5)),
    "microwave 4 x 0.5 s": (None, 2050, _repeat([(0, 0.5)], 1.0, 4) + _repeat([(0, 0.5)], 1.0, 4, 63)),
    "washer 0.3 s": (None, 2500, _repeat([(0, 0.3)], 0.8, 10)),
    "washer 0.5 s": (None, 2500, _repeat([(0, 0.5)], 1.5, 6)),
    "kettle": (None, 2300, ((5.0, 47.0),)),
    "truck 1.2 kHz": (None, 1200, _repeat([(0, 0.5)], 1.0, 40)),
    "truck 1 kHz": (None, 1000, _repeat([(0, 0.6)], 1.2, 40)),
    "alarm clock": (None, 4096, _repeat([(0, 0.13), (0.25, 0.13)], 1.03, 40)),
    "alarm clock, four": (None, 2048, _repeat([(0.125 * k, 0.0625) for k in range(4)], 1.0, 40)),
    "medical high": ("medical-high", 880, _repeat([(o, 0.15) for o in HIGH], 10, 5)),
    "medical medium": ("medical-medium", 660, _repeat([(0.4 * k, 0.2) for k in range(3)], 10, 6)),
    "medical low": (None, 660, _repeat([(0, 0.2), (0.4, 0.2)], 20, 5)),
    "pump": (None, 2800, _repeat([(0, 0.15), (0.3, 0.15)], 3.0, 20)),
    "single 1.1 s": (None, 1424, _repeat([(0, 1.08)], 20, 6)),
    "telephone warble": (None, 1000, _repeat([(0.05 * k, 0.05) for k in range(20)], 5, 11)),
}
"""What others' things are named (None: nothing that wakes), their tone, Hz, and their pulses (common practice, no
source, but for the standards' patterns)."""


def makers(seed: int) -> list[Stage]:
    """Other makers' beeps at +10, 0 and -8 dB in pink noise, dry and in a room."""
    made: list[Stage] = []
    for (kind, (name, tone, pulses)), snr, room in product(OTHERS.items(), (10.0, 0.0, -8.0), (False, True)):
        harmonics = SQUARE if tone == 520 else MEDICAL if kind.startswith("medical") else BUZZER
        seconds = max(onset + length for onset, length in pulses) + 4
        other = 1280.0 if kind == "telephone warble" else None
        place = 1000 * seed + len(made)
        made.append(Stage(kind, name, "pink", snr, place, room, tone, pulses, harmonics, seconds, other))
    return made
