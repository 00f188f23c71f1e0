"""From a scenario to the single tones and bursts that make it up, each placed in time, and the truth of them.

Each part draws from its own seeded generator, so that adding an alarm leaves background, room and the other
alarms as they were.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beepwatch.errors import InputError
from beepwatch.synthesis import room
from beepwatch.synthesis.rhythms import RHYTHMS, Rhythm
from beepwatch.synthesis.scenario import Ring, Scenario, Thump
from beepwatch.synthesis.tones import Tone
from beepwatch.synthesis.truth import AlarmTruth, BeepTruth, OtherTruth, Truth

BACKGROUND, ROOM, RINGS, THUMPS = range(4)
"""Which generator of a scene; rings and thumps have one for each by number."""
SHORTEST_PAUSE = 0.02
"""s that jitter leaves between one group and the next."""


@dataclass(frozen=True, slots=True)
class Burst:
    """Samples, shape (n,), to add to the scene from sample `first` on."""

    first: int
    samples: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plan:
    """A scene before it is rendered; tones by when they begin."""

    tones: tuple[Tone, ...]
    bursts: tuple[Burst, ...]
    impulse: NDArray[np.float64] | None
    """The room's response, or None in the open."""
    truth: Truth


def generator(seed: int, *part: int) -> np.random.Generator:
    """The generator of one part of a scene."""
    return np.random.default_rng([seed, *part])


def plan(scenario: Scenario) -> Plan:
    """Place every sound of a scenario. Raises InputError where pulses do not fit their period."""
    impulse = _impulse(scenario)
    rung = [(ring, _tones(ring, number, scenario)) for number, ring in enumerate(scenario.alarms, 1)]
    beeps: list[BeepTruth] = []
    alarms: list[AlarmTruth] = []
    others = [OtherTruth(thump.start, _end(thump, scenario), "thump") for thump in scenario.thumps]
    for ring, tones in rung:
        told = [_told(tone, ring, scenario, impulse) for tone in tones]
        if ring.pattern == "hum":
            others += [OtherTruth(hum.onset, hum.offset, hum.label) for hum in told]
            continue
        beeps += told
        alarms += _alarm(ring, told)
    truth = Truth(
        scenario.duration,
        scenario.rate,
        scenario.seed,
        scenario.level,
        tuple(sorted(beeps, key=lambda beep: beep.onset)),
        tuple(sorted(alarms, key=lambda alarm: alarm.onset)),
        tuple(sorted(others, key=lambda other: other.onset)),
    )
    tones = sorted((tone for _, tones in rung for tone in tones), key=lambda tone: tone.begin)
    bursts = tuple(_burst(thump, number, scenario) for number, thump in enumerate(scenario.thumps))
    return Plan(tuple(tones), bursts, impulse, truth)


def _impulse(scenario: Scenario) -> NDArray[np.float64] | None:
    """The room's response where there is a room."""
    if scenario.room is None:
        return None
    seeded = generator(scenario.seed, ROOM)
    return room.response(scenario.room.t60, scenario.rate, seeded, scenario.room.direct)


def _tones(ring: Ring, number: int, scenario: Scenario) -> list[Tone]:
    """The tones of one alarm that begin before the scene's end, those missed left out."""
    rhythm = RHYTHMS[ring.pattern]
    rng = generator(scenario.seed, RINGS, number)
    length = ring.length or rhythm.pulse
    onsets = _onsets(ring, rhythm, length, rng)
    missed = _missed(ring.missed, rng.random(len(onsets)))
    phases = rng.uniform(0, 2 * np.pi, len(onsets))
    tone = Tone(
        0.0,
        length,
        ring.tone or rhythm.tone,
        _level(ring, scenario),
        rhythm.harmonics if ring.harmonics is None else ring.harmonics,
        ring.drift / 100,
        ring.warm_up,
        ring.ramp,
    )
    return [
        _at(tone, onset, phase)
        for i, (onset, phase) in enumerate(zip(onsets, phases, strict=True))
        if i not in missed and onset < scenario.duration
    ]


def _at(tone: Tone, onset: float, phase: float) -> Tone:
    """The same tone at another time."""
    return Tone(
        onset,
        tone.length,
        tone.frequency,
        tone.level,
        tone.harmonics,
        tone.drift,
        tone.warm_up,
        tone.ramp,
        phase,
    )


def _level(ring: Ring, scenario: Scenario) -> float:
    """dBFS of an alarm's fundamental."""
    if ring.level is not None:
        return ring.level
    return scenario.level + (scenario.snr if ring.snr is None else ring.snr)


def _onsets(ring: Ring, rhythm: Rhythm, length: float, rng: np.random.Generator) -> list[float]:
    """Onset of each pulse of an alarm, s, with jitter but nothing missed."""
    period = ring.period or (60 / ring.breaths_a_minute if ring.breaths_a_minute else rhythm.period)
    count = ring.count or rhythm.count
    group = rhythm.starts(length)
    shortest = group[-1] + length + ring.ramp + SHORTEST_PAUSE
    if count > 1 and period < shortest:
        raise InputError(
            f"{ring.pattern}: a period of {period:g} s is too short for beeps of {length:g} s "
            f"(at least {shortest:.3g} s)"
        )
    periods = np.maximum(period * (1 + ring.jitter / 100 * rng.standard_normal(count - 1)), shortest)
    starts = ring.start + np.concatenate([[0.0], np.cumsum(periods)])
    return [float(start + offset) for start in starts for offset in group]


def _missed(missed: float | tuple[int, ...], lot: NDArray[np.float64]) -> set[int]:
    """Which beeps, counted from 0, are left out; `lot` is a random number for each."""
    if isinstance(missed, tuple):
        return {number - 1 for number in missed}
    return {int(i) for i in np.argsort(lot)[: round(missed * len(lot))]}


def _told(tone: Tone, ring: Ring, scenario: Scenario, impulse: NDArray[np.float64] | None) -> BeepTruth:
    """The truth of one tone."""
    gain = 0.0 if impulse is None else room.gain_at(impulse, tone.frequency, scenario.rate)
    return BeepTruth(
        round(tone.onset, 6),
        round(min(tone.onset + tone.length, scenario.duration), 6),
        ring.pattern,
        round(tone.mean_frequency, 3),
        round(tone.level + gain, 2),
        round(tone.level + gain - scenario.level, 2),
    )


def _alarm(ring: Ring, told: list[BeepTruth]) -> list[AlarmTruth]:
    """The alarm that these beeps make, if they make one."""
    priority = RHYTHMS[ring.pattern].priority
    if priority is None or not told:
        return []
    end = max(beep.offset for beep in told)
    return [AlarmTruth(ring.pattern, priority, told[0].onset, end, len(told))]


def _end(thump: Thump, scenario: Scenario) -> float:
    """When a thump is over."""
    return min(thump.start + thump.length, scenario.duration)


def _burst(thump: Thump, number: int, scenario: Scenario) -> Burst:
    """Low-passed noise that falls by 60 dB in the thump's length; SNR is that of its first moment."""
    from scipy.signal import butter, sosfilt  # noqa: PLC0415 - `import beepwatch` stays quick

    rate = scenario.rate
    t = np.arange(1, max(round(thump.length * rate), 1) + 1) / rate
    white = generator(scenario.seed, THUMPS, number).standard_normal(len(t))
    dull = sosfilt(butter(2, min(thump.below, 0.45 * rate), fs=rate, output="sos"), white)
    dull /= np.sqrt(np.mean(dull**2))
    loud = rms(scenario.level + thump.snr) * dull * 10 ** (-3 * t / thump.length)
    return Burst(round(thump.start * rate), loud)


def rms(level: float) -> float:
    """Root mean square of a sound at `level` dBFS (full-scale sine = 0 dBFS)."""
    return float(10 ** (level / 20) / np.sqrt(2))
