"""Device alarms in odd circumstances, by sounds and rooms made apart from those of the other benchmarks.

`python -m tests.bench.odd [--scenes 12] [--seed 1] [--only KIND] [--out FOLDER]` makes SCENES scenes of four minutes of
each kind below, untaught, prints how many are not named, named late (LATE s after the beep that completes the evidence,
lost or not), told twice or wrongly, and writes `odd.json` in FOLDER (tests/bench/results). Some four minutes of one
core.

Nothing here comes from beepwatch.synthesis, tests/hearing/rooms.py or tests/bench/stages.py: a fault that those share
with what was built on them would not show there. A room is a direct sound and noise that dies away.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from beepwatch.events import Event, Raised
from beepwatch.recognizer import RATE, Recognizer
from tests.bench.naming import keep
from tests.bench.outcomes import Figures, Row
from tests.bench.trials import nonstop

FOLDER = Path(__file__).parent / "results"
MINUTES = 4.0
"""Of each scene."""
BLOCK = 1 << 16
LATE = 10.0
"""s (judgement: two to three breaths)."""
Doubles = NDArray[np.float64]
Lot = np.random.Generator
BEDS = ("white", "pink", "hiss")
PARTIALS: tuple[tuple[float, ...], ...] = (
    (1,),
    (1, 0, 1 / 3, 0, 1 / 5),
    (1, 1 / 2, 1 / 3, 1 / 4, 1 / 5),
    (1, 0.5, 0.3),
)
"""Amplitudes of a sine, a square wave, a sawtooth and a piezo disc (judgement), the fundamental first."""


@dataclass(frozen=True, slots=True)
class Sounder:
    """A buzzer: Hz, partials, relative drift and its time constant, and ramps, s."""

    tone: float
    partials: tuple[float, ...]
    drift: float
    settling: float
    ramps: tuple[float, float]

    def beep(self, seconds: float, phase: float) -> Doubles:
        """One beep of amplitude about 1, shape (n,)."""
        time = np.arange(round(seconds * RATE)) / RATE
        hertz = self.tone * (1 + self.drift * np.exp(-time / self.settling))
        turn = 2 * np.pi * np.cumsum(hertz) / RATE + phase
        orders = [k for k in range(1, len(self.partials) + 1) if k * self.tone < 0.97 * RATE / 2]
        sound: Doubles = sum((self.partials[k - 1] * np.sin(k * turn) for k in orders), np.zeros_like(time))
        attack, release = self.ramps
        return sound * np.minimum(1, (time + 1 / RATE) / attack) * np.minimum(1, (seconds - time) / release)


@dataclass(frozen=True, slots=True)
class Scene:
    """Sound, float32 (n, channels); what is to be named, and how often; when the evidence is complete, s."""

    samples: NDArray[np.float32]
    expected: dict[str, int]
    complete: float
    lost: frozenset[int] = frozenset()
    """Numbers of the blocks that are lost."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """What a sounder does: onsets and lengths of its beeps, s."""

    sounder: Sounder
    onsets: Sequence[float]
    lengths: Sequence[float]

    def heard(self, lot: Lot, snr: float, gains: Sequence[float] | None = None) -> Doubles:
        """In a room, in units of the noise: `snr` dB over it while it sounds. gains: of each beep."""
        dry = np.zeros(round(MINUTES * 60 * RATE))
        on = np.zeros(len(dry), np.bool_)
        for number, (onset, length) in enumerate(zip(self.onsets, self.lengths, strict=True)):
            begin = round(onset * RATE)
            one = self.sounder.beep(length, float(lot.uniform(0, 6)))[: len(dry) - begin]
            dry[begin : begin + len(one)] += one * (1.0 if gains is None else gains[number])
            on[begin : begin + len(one)] = True
        wet = signal.fftconvolve(dry, _room(lot))[: len(dry)]
        loud: Doubles = wet * 10 ** (snr / 20) / np.sqrt(np.mean(wet[on] ** 2))
        return loud


def _room(lot: Lot) -> Doubles:
    """A direct sound, then noise that dies away with T60 0.25-0.5 s, 0.1 to 1 times its energy (judgement)."""
    t60 = float(lot.uniform(0.25, 0.5))
    time = np.arange(round(t60 * RATE)) / RATE
    tail = lot.standard_normal(len(time)) * 10 ** (-3 * time / t60)
    tail[: round(0.003 * RATE)] = 0
    tail *= np.sqrt(lot.uniform(0.1, 1.0) / np.sum(tail**2))
    tail[0] = 1.0
    return tail


def bed(lot: Lot) -> Doubles:
    """Noise of rms 1 for MINUTES: white, pink, or that of a breathing machine."""
    kind, n = lot.choice(BEDS), round(MINUTES * 60 * RATE)
    noise = lot.standard_normal(n)
    if kind == "pink":
        spectrum = np.fft.rfft(noise)
        noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(len(spectrum)), 1)), n)
    elif kind == "hiss":
        period = float(lot.uniform(3, 6))
        noise = signal.lfilter([1], [1, -0.6], noise) * (
            0.2 + np.clip(np.sin(2 * np.pi * np.arange(n) / RATE / period), 0, 1)
        )
    noise /= np.sqrt(np.mean(noise**2))
    return noise


def sounder(lot: Lot) -> Sounder:
    """Any buzzer of 1.1 to 4.7 kHz."""
    return Sounder(
        float(lot.uniform(1100, 4700)), PARTIALS[int(lot.integers(len(PARTIALS)))], float(lot.uniform(-0.003, 0.003)),
        float(lot.uniform(0.1, 1.0)), (float(lot.uniform(0.002, 0.03)), float(lot.uniform(0.002, 0.03))),
    )  # fmt: skip


def breaths(lot: Lot, begin: float = 12.0) -> Alarm:
    """A beep as long as each breath in, 9 to 24 a minute, a third of it."""
    period = 60 / float(lot.uniform(9, 24))
    onsets = np.arange(begin, MINUTES * 60 - 10, period).tolist()
    return Alarm(sounder(lot), onsets, [min(max(0.36 * period, 0.8), 1.5)] * len(onsets))


def scene(lot: Lot, sound: Doubles, alarm: Alarm, *, level: float = 0.02) -> Scene:
    """Of lead-disconnect, told after its third beep; the noise at rms `level`, full scale clipped."""
    samples = np.clip(level * (sound + bed(lot)), -1, 1).astype(np.float32)
    return Scene(samples[:, None], {"lead-disconnect": 1}, alarm.onsets[2] + alarm.lengths[2])


# -- the circumstances


def overload(lot: Lot) -> Scene:
    """The microphone lies at the device: its sound is cut off at full scale, or far beyond."""
    alarm = breaths(lot)
    return scene(lot, alarm.heard(lot, float(lot.uniform(32, 45))), alarm)


def steady_tone(lot: Lot) -> Scene:
    """A whine goes on near the device's tone, 120 to 400 Hz off, 25 dB weaker to 5 dB louder."""
    alarm = breaths(lot)
    away = float(lot.uniform(120, 400)) * float(lot.choice([-1, 1]))
    time = np.arange(round(MINUTES * 60 * RATE)) / RATE
    snr = float(lot.uniform(5, 35))
    whine = (
        10 ** ((snr + lot.uniform(-25, 5)) / 20) * np.sqrt(2) * np.sin(2 * np.pi * (alarm.sounder.tone + away) * time)
    )
    return scene(lot, alarm.heard(lot, snr) + whine, alarm, level=0.01)


def moved(lot: Lot) -> Scene:
    """Each beep is 0 to 12 dB weaker: the person turns about."""
    alarm = breaths(lot)
    gains = (10 ** (lot.uniform(-12, 0, len(alarm.onsets)) / 20)).tolist()
    return scene(lot, alarm.heard(lot, float(lot.uniform(5, 25)), gains), alarm)


def quickened(lot: Lot) -> Scene:
    """Breaths quicken and slow by a fifth within minutes, and their beeps with them."""
    alarm = breaths(lot)
    period, length = alarm.onsets[1] - alarm.onsets[0], alarm.lengths[0]
    at, onsets, lengths = 12.0, [], []
    while at < MINUTES * 60 - 10:
        stretch = 1 + 0.2 * np.sin(2 * np.pi * at / 120)
        onsets.append(at)
        lengths.append(length * stretch)
        at += period * stretch
    changing = replace(alarm, onsets=onsets, lengths=lengths)
    return scene(lot, changing.heard(lot, float(lot.uniform(0, 20))), changing)


def gliding(lot: Lot) -> Scene:
    """The tone moves by 1 to 3 % in each beep, evenly or within 0.3 s; none is above 4.6 kHz."""
    alarm, settling = breaths(lot), float(lot.choice([0.3, 4.0]))
    share = float(lot.uniform(0.01, 0.03)) * float(lot.choice([-1, 1]))
    drift = share / (1 - float(np.exp(-alarm.lengths[0] / settling)))
    tone = min(alarm.sounder.tone, 4600.0) / (1 + max(drift, 0.0))
    alarm = replace(alarm, sounder=replace(alarm.sounder, tone=tone, drift=drift, settling=settling))
    return scene(lot, alarm.heard(lot, float(lot.uniform(0, 25))), alarm)


def through_8_khz(lot: Lot) -> Scene:
    """The sound came by an 8 kHz link before it was made 16 kHz again."""
    alarm = breaths(lot)
    alarm = replace(alarm, sounder=replace(alarm.sounder, tone=float(lot.uniform(1100, 3400))))
    made = scene(lot, alarm.heard(lot, float(lot.uniform(0, 25))), alarm)
    slow = signal.resample_poly(made.samples[:, 0].astype(np.float64), 1, 2)
    back = signal.resample_poly(slow, 2, 1)[: len(made.samples)].astype(np.float32)
    return replace(made, samples=np.ascontiguousarray(back[:, None]))


def gaps(lot: Lot) -> Scene:
    """One block of 4 s in ten is lost."""
    alarm = breaths(lot)
    made = scene(lot, alarm.heard(lot, float(lot.uniform(0, 25))), alarm)
    blocks = len(made.samples) // BLOCK
    return replace(made, lost=frozenset(np.flatnonzero(lot.uniform(size=blocks) < 0.1).tolist()))


def second_channel(lot: Lot) -> Scene:
    """The other channel of the microphone is dead, or gives noise alone."""
    alarm = breaths(lot)
    made = scene(lot, alarm.heard(lot, float(lot.uniform(0, 25))), alarm)
    other = lot.standard_normal(len(made.samples)) * float(lot.choice([0.0, 0.05]))
    return replace(made, samples=np.column_stack([made.samples[:, 0], other.astype(np.float32)]))


def talk(lot: Lot) -> Scene:
    """Somebody talks without a pause, as loud as the device (recorded prompts)."""
    alarm = breaths(lot)
    speech = np.roll(np.resize(nonstop("speech", MINUTES)[0], round(MINUTES * 60 * RATE)), int(lot.integers(1 << 20)))
    snr = float(lot.uniform(10, 30))
    louder = speech * 10 ** (snr / 20) / np.sqrt(np.mean(speech.astype(np.float64) ** 2))
    return scene(lot, alarm.heard(lot, snr) + louder, alarm)


def doors(lot: Lot) -> Scene:
    """Something bangs each ten seconds or so, 20 to 40 dB over the noise."""
    alarm = breaths(lot)
    sound = alarm.heard(lot, float(lot.uniform(0, 25)))
    for begin in lot.uniform(0, MINUTES * 60 - 2, 25):
        n = round(lot.uniform(0.03, 0.5) * RATE)
        bang = lot.standard_normal(n) * np.exp(-np.arange(n) / (0.08 * RATE)) * 10 ** (lot.uniform(20, 40) / 20)
        sound[round(begin * RATE) : round(begin * RATE) + n] += bang
    return scene(lot, sound, alarm, level=0.005)


def two_devices(lot: Lot) -> Scene:
    """Two devices of other tones, each at its own pace."""
    first, second = breaths(lot), breaths(lot, 20.3)
    apart = float(lot.choice([0.7, 0.85, 1.15, 1.3]))
    tone = first.sounder.tone * (apart if 1100 < first.sounder.tone * apart < 4700 else 1 / apart)
    second = replace(second, sounder=replace(second.sounder, tone=tone))
    snr = float(lot.uniform(0, 25))
    made = scene(lot, first.heard(lot, snr) + second.heard(lot, snr), first)
    return replace(made, expected={"lead-disconnect": 2})


def smoke_alarm(lot: Lot) -> Scene:
    """A smoke alarm joins in after a minute, as loud or up to 15 dB louder, on another tone."""
    alarm, snr = breaths(lot), float(lot.uniform(0, 20))
    tone = float(lot.choice([one for one in (520, 2900, 3100, 3300) if abs(one - alarm.sounder.tone) > 100]))
    smoke = Sounder(tone, PARTIALS[1], 0.0, 0.3, (0.005, 0.005))
    onsets = [60.0 + 4 * group + pulse for group in range(40) for pulse in range(3)]
    pulses = Alarm(smoke, onsets, [0.5] * len(onsets))
    made = scene(lot, alarm.heard(lot, snr) + pulses.heard(lot, snr + float(lot.uniform(0, 15))), alarm, level=0.005)
    return replace(made, expected={"lead-disconnect": 1, "fire": 1})


def into_long_tones(lot: Lot) -> Scene:
    """One buzzer calls for both: the 20 s tones of the last battery swallow breaths, and some run into them."""
    alarm = breaths(lot)
    long = [60.0, 120.0, 180.0]
    pairs = [(on, n) for on, n in zip(alarm.onsets, alarm.lengths, strict=True)
             if not any(begin - n - 0.1 < on < begin + 20.1 for begin in long)]  # fmt: skip
    onsets, lengths = [on for on, _ in pairs] + long, [n for _, n in pairs] + [20.0] * 3
    both = replace(alarm, onsets=onsets, lengths=lengths)
    made = scene(lot, both.heard(lot, float(lot.uniform(0, 25))), alarm)
    return replace(made, expected={"lead-disconnect": 1, "battery-critical": 1})


KINDS: dict[str, Callable[[Lot], Scene]] = {
    one.__name__.replace("_", " "): one
    for one in (
        overload, steady_tone, moved, quickened, gliding, through_8_khz, gaps, second_channel, talk, doors, two_devices,
        smoke_alarm, into_long_tones,
    )
}  # fmt: skip


def raised(made: Scene) -> list[Raised]:
    """The alarms of a scene that wake."""
    recognizer = Recognizer(made.samples.shape[1])
    events: list[Event] = []
    for number, at in enumerate(range(0, len(made.samples), BLOCK)):
        block = np.ascontiguousarray(made.samples[at : at + BLOCK])
        events += recognizer.skip(len(block)) if number in made.lost else recognizer.push(block)
    events += recognizer.flush()
    return [event for event in events if isinstance(event, Raised) and event.alarm.priority != "low"]


def rows(kinds: Sequence[str], count: int, seed: int) -> Iterator[Row]:
    """A row a kind."""
    for kind in kinds:
        found: Counter[str] = Counter()
        worst = []
        for number in range(count):
            made = KINDS[kind](np.random.default_rng([seed, number, *kind.encode()]))
            told = raised(made)
            names = Counter(one.alarm.pattern for one in told)
            first = next((one.at for one in told if one.alarm.pattern == "lead-disconnect"), np.inf)
            faults = {
                "not_named": any(names[name] < times for name, times in made.expected.items()),
                "late": LATE < first - made.complete < np.inf,
                "twice": any(names[name] > times for name, times in made.expected.items()),
                "wrong": bool(set(names) - set(made.expected)),
            }
            found.update(name for name, is_so in faults.items() if is_so)
            if any(faults.values()):
                worst.append(f"{kind}, scene {number}: {', '.join(f'{e.alarm.pattern} at {e.at:.0f} s' for e in told)}")
        figures: Figures = {"scenes": count, **{name: found[name] for name in ("not_named", "late", "twice", "wrong")}}
        yield Row("odd", kind, figures, tuple(worst))


def main(arguments: list[str] | None = None) -> int:
    """Run, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.odd", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--scenes", type=int, default=12, help="of each kind")
    made.add_argument("--seed", type=int, default=1)
    made.add_argument("--only", choices=tuple(KINDS), metavar="KIND")
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    told = []
    for row in rows([options.only] if options.only else list(KINDS), options.scenes, options.seed):
        print("\n  ".join((row.line(), *row.worst)), flush=True)
        told.append(row)
    keep(options.out / "odd.json", "odd", told, seed=options.seed, quick=options.scenes < 12)
    return 0


if __name__ == "__main__":
    sys.exit(main())
