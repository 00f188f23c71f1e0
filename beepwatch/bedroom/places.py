"""How many dB a beep has to spare at each place where the device may lie. Pure.

A phone plays the taught beep. Once it lies beside the device: the difference between the taught level and the phone's
level there is the *match*. At each other place the phone's level plus the match is the device's level there, and the
margin is how much weaker it could be and still be found (`hearing.margin`). Untaught there is no match: unknown.
"""

from dataclasses import dataclass
from statistics import fmean, pstdev

import numpy as np
from numpy.typing import NDArray

from beepwatch.bedroom.bands import spectra
from beepwatch.events import Beep
from beepwatch.hearing.margin import margin_db
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.sources.resample import Resampler

Samples = NDArray[np.float32]
NEAR = 0.01
"""Of the tone: a phone's clock keeps to 0.01 % (judgement)."""
FRAME = 0.064
BESIDE = 400.0
"""Hz on each side of the tone in which its noise is measured."""
RINGS = 0.8
"""s after a beep that a room may ring: 60 dB at T60 0.8 s."""
LENGTHS = (0.6, 2.5)
"""s between which a beep counts as the phone's (it plays 1.2 s; a room adds, noise takes away)."""
FIELD = 5.6
"""dB: standard deviation of a tone's level from spot to spot in a room, a hand's width apart (diffuse field, theory).
The device was taught from one spot, so no repetition takes this error away."""
STILL = 1.0
"""dB of spread from beep to beep under which the phone was not moved: it then stands for one spot alone."""
MOVE, LITTLE = 10.0, 15.0
"""dB under which it is told to move the microphone, and that little is to spare. One spot in ten is 10 dB weaker than
the mean of its room (diffuse field, theory), and the margin itself is off by 6.5 dB (one sigma, measured in forty
simulated rooms): hence 15 (judgement)."""
PLACES = ("bed", "under the blanket", "under clothing", "at the far wall", "hallway, door shut")


@dataclass(frozen=True, slots=True)
class Taught:
    """What teaching knows of the device's beep at this microphone."""

    tone: float
    """Hz."""
    level: float
    """dBFS."""
    harmonics: tuple[float, ...] = ()
    """dB of 2, 3 ... times the tone re the tone."""
    microphone: str = ""
    """At which it was taught; "" where that is not known."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The phone's beeps as they were heard at one place."""

    count: int
    level: float
    """dBFS, mean in dB."""
    spread: float
    """dB, standard deviation from beep to beep."""
    noise: float
    """dBFS near the tone, as `Noise.near` has it."""

    @property
    def error(self) -> float:
        """dB: standard error of the mean over spots; that of one spot where the phone was not moved."""
        return float(self.spread / self.count**0.5) if self.moved else FIELD

    @property
    def moved(self) -> bool:
        """Whether the beeps came from several spots."""
        return self.count > 1 and self.spread >= STILL


@dataclass(frozen=True, slots=True)
class Match:
    """What to add to the phone's level to have the device's, dB, and how far that may be off (one sigma)."""

    offset: float
    error: float


@dataclass(frozen=True, slots=True)
class Margin:
    """dB to spare at a place, and how far that may be off (one sigma)."""

    spare: float
    error: float


def measure(samples: Samples, rate: int, tone: float) -> Measured | None:
    """Hear a stretch with the phone's beeps of `tone` Hz in it, shape (n, channels); None if none is found."""
    resampler = Resampler(rate, samples.shape[1])
    recognizer = Recognizer(samples.shape[1], tone=tone, bandwidth=min(RATE / 2, rate / 2))
    events = recognizer.push(np.concatenate([resampler.push(samples), resampler.flush()])) + recognizer.flush()
    beeps = [event for event in events if isinstance(event, Beep) and _phone(event, tone)]
    if not beeps:
        return None
    levels = [beep.level for beep in beeps]
    return Measured(len(beeps), fmean(levels), pstdev(levels), _noise(samples, rate, tone, beeps))


def _noise(samples: Samples, rate: int, tone: float, beeps: list[Beep]) -> float:
    """dBFS of the noise near the tone while no beep sounds, as if its density filled 0-8 kHz (as `Noise.near`).

    Not taken from the recogniser's own: a beep 40 dB over the noise lifts that by 12 dB (measured).
    """
    per_channel = [spectra(channel, rate, FRAME) for channel in samples.T]
    hertz, power = per_channel[0][0], np.mean([each for _, each in per_channel], axis=0)
    middle = np.arange(len(power)) * FRAME / 2 + FRAME / 2
    quiet = np.logical_and.reduce([(middle < each.onset - 0.3) | (middle > each.end + RINGS) for each in beeps])
    near = power[:, np.abs(hertz - tone) < BESIDE][quiet if quiet.any() else slice(None)]
    density = float(np.mean(np.median(near, axis=0))) / np.log(2) / float(hertz[1])
    return float(10 * np.log10(max(density * RATE / 2, 1e-14)))


def _phone(beep: Beep, tone: float) -> bool:
    return abs(beep.frequency / tone - 1) < NEAR and LENGTHS[0] <= beep.duration <= LENGTHS[1]


def match(beside: Measured, taught: Taught) -> Match:
    """From the phone beside the device."""
    return Match(taught.level - beside.level, beside.error)


def margin(there: Measured, matched: Match) -> Margin:
    """From the phone at a place."""
    spare = margin_db(there.level + matched.offset, there.noise)
    return Margin(spare, float(there.error**2 + matched.error**2 + FIELD**2) ** 0.5)
