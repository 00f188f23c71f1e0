"""Renders a scenario: background, and beeps and thumps heard through the room, second by second.

Memory does not grow with the scene: hours are one second at a time. Only a recorded background, which the
caller holds, is as long as it is. The same scenario gives the same samples however it is read.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beepwatch.errors import InputError
from beepwatch.synthesis import backgrounds
from beepwatch.synthesis.convolution import Convolver
from beepwatch.synthesis.planning import BACKGROUND, Plan, generator, plan, rms
from beepwatch.synthesis.scenario import Scenario
from beepwatch.synthesis.tones import Tone
from beepwatch.synthesis.truth import Truth


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A rendered scenario: samples float32, shape (n,), full scale +-1 (not clipped), at `rate` Hz."""

    samples: NDArray[np.float32]
    rate: int
    truth: Truth


def render(scenario: Scenario, recorded: NDArray[np.float32] | None = None) -> Scene:
    """The whole scene at once. recorded: background of kind `recording`, shape (n,), at the scenario's rate.

    Raises InputError where pulses do not fit their period, or the recording is missing, empty or silent.
    """
    planned = plan(scenario)
    return Scene(np.concatenate(list(blocks(scenario, planned, recorded))), scenario.rate, planned.truth)


def blocks(
    scenario: Scenario, planned: Plan, recorded: NDArray[np.float32] | None = None
) -> Iterator[NDArray[np.float32]]:
    """The scene in pieces of one second, float32, shape (rate,), the last one shorter. Raises as `render`."""
    total, block = round(scenario.duration * scenario.rate), scenario.rate
    behind = _background(scenario, block, recorded)
    loudness = rms(scenario.level)
    for first, sound in zip(range(0, total, block), _foreground(planned, scenario.rate), strict=False):
        whole = sound + loudness * next(behind)
        yield whole[: total - first].astype(np.float32)


def _background(scenario: Scenario, block: int, recorded: NDArray[np.float32] | None) -> backgrounds.Stream:
    """The background of unit RMS."""
    background = scenario.background
    if background.kind == "recording":
        if recorded is None:
            raise InputError("a background of kind 'recording' needs its samples")
        return backgrounds.repeated(recorded, scenario.rate, block)
    rng = generator(scenario.seed, BACKGROUND)
    breath, swell = 60 / background.breaths_a_minute, background.swell
    return backgrounds.stream(background.kind, scenario.rate, block, rng, breath=breath, swell=swell)


def _foreground(planned: Plan, rate: int) -> Iterator[NDArray[np.float64]]:
    """Seconds of beeps and thumps as they sound in the room, without end."""
    room = None if planned.impulse is None else Convolver(planned.impulse, rate)
    waiting = list(reversed(planned.tones))
    sounding: list[Tone] = []
    first = 0
    while True:
        while waiting and waiting[-1].begin * rate < first + rate:
            sounding.append(waiting.pop())
        sounding = [tone for tone in sounding if tone.end * rate >= first]
        dry = _dry(planned, sounding, first, rate)
        yield dry if room is None else room.push(dry)
        first += rate


def _dry(planned: Plan, sounding: list[Tone], first: int, rate: int) -> NDArray[np.float64]:
    """One second, shape (rate,), from sample `first` on, before the room."""
    sound = np.zeros(rate)
    for tone in sounding:
        low = min(max(int(tone.begin * rate), first), first + rate)
        high = max(min(int(tone.end * rate) + 2, first + rate), low)
        sound[low - first : high - first] += tone.at(low, high - low, rate)
    for burst in planned.bursts:
        low = max(burst.first, first)
        high = min(burst.first + len(burst.samples), first + rate)
        if low < high:
            sound[low - first : high - first] += burst.samples[low - burst.first : high - burst.first]
    return sound
