"""The trials of the detection benchmark: each renders its own scenes, hears them and returns one row.

Seeds differ from those of the tests; noise has the RMS of tests/hearing/scenes.py. Beeps near the limit have a warm-up
drift of 0.2 %, exponential (0.3 s) and linear by turns.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from beepwatch.events import Beep, SteadyTone
from beepwatch.hearing import RATE, Hearing
from beepwatch.hearing.margin import NOISE_HZ, ideal_recall
from beepwatch.synthesis import Tone
from beepwatch.synthesis.backgrounds import stream
from tests.bench.bounds import onset_recall
from tests.bench.counting import Row, Tally, quantiles, tally
from tests.hearing.rooms import bedroom, row_at_two_places, scene_in_room
from tests.hearing.scenes import RMS, Floats, add, beeps, hear, level, row
from tests.hearing.test_sounders import SQUARE

SCENE = 600.0
"""s rendered at once, about."""
PAUSE = 3.0
RAMP = 0.005
POSSIBLE = 0.99
ONSETS_MISPLACED = -20.0
"""dB from which on down the best estimator, too, places some onsets outside the collar."""
KINDS = ("white", "pink", "fan", "breathing")


@dataclass(frozen=True, slots=True)
class Linear(Tone):
    """A beep that warms up along a straight line: f(t) = f (1 + drift (1 - t / length))."""

    def at(self, first: int, n: int, rate: int) -> NDArray[np.float64]:
        """As `Tone.at`."""
        t = np.arange(first, first + n) / rate - self.onset
        inside = np.clip(t, 0, self.length)
        turns = self.frequency * (t + self.drift * (inside - inside**2 / (2 * self.length)))
        loud: NDArray[np.float64] = 10 ** (self.level / 20) * self._envelope(t) * np.sin(2 * np.pi * turns + self.phase)
        return loud


def random_tones(count: int, length: float, snr: float, rng: np.random.Generator) -> list[Tone]:
    """Beeps of random tone, 450-4900 Hz, phase and place."""
    made = []
    for i in range(count):
        kind = Tone if i % 2 else Linear
        onset = 3 + i * (length + PAUSE) + float(rng.uniform(0, 1))
        tone, phase = float(rng.uniform(450, 4900)), float(rng.uniform(0, 2 * np.pi))
        made.append(kind(onset, length, tone, level(snr), (), -0.002, 0.3, RAMP, phase))
    return made


def white(seconds: float, rng: np.random.Generator) -> Floats:
    """White noise of RMS."""
    return np.float32(RMS) * rng.standard_normal(round(seconds * RATE), dtype=np.float32)


EVENLY = 4.0
"""s of a warm-up that is straight over a beep."""


def curve_point(length: float, snr: float, count: int) -> Row:
    """`count` beeps in white noise: found, edges, tone, latency, beside the ideal and the bounds."""
    rng = np.random.default_rng([10_000, round(length * 10), round(snr * 10 + 1000)])
    each = max(1, int(SCENE / (length + PAUSE)))
    parts: list[Tally] = []
    seconds = 0.0
    for first in range(0, count, each):
        tones = random_tones(min(each, count - first), length, snr, rng)
        scene = add(white(4 + len(tones) * (length + PAUSE), rng), tones)
        seconds += len(scene) / RATE
        parts.append(tally(beeps(hear(scene)), tones))
    pairs = [pair for part in parts for pair in part.pairs]
    figures = _figures(pairs, length, snr)
    return Row(
        "curve", f"{length:g} s {snr:g} dB", count, len(pairs), sum(part.heard for part in parts),
        sum(len(part.extra) for part in parts), seconds / 3600, figures,
    )  # fmt: skip


def _figures(pairs: list[tuple[Beep, Tone]], length: float, snr: float) -> dict[str, float]:
    """Errors in ms and Hz, latency in s, and what theory allows."""
    density = 10 ** (snr / 10) * RATE / 2
    figures = {"length_s": length, "snr_db": snr, "ideal": float(ideal_recall(snr, length))}
    figures |= quantiles([beep.duration - tone.length for beep, tone in pairs], "length_ms", 1e3)
    figures |= quantiles([beep.onset - tone.onset for beep, tone in pairs], "onset_ms", 1e3)
    if snr <= ONSETS_MISPLACED:
        figures["onset_recall_bound"] = onset_recall(snr)
    figures["onset_bound_ms"] = 1e3 * 0.675 * float(np.sqrt(RAMP / (2 * density)))
    figures |= quantiles([beep.frequency - _mean_tone(tone) for beep, tone in pairs], "tone_hz")
    figures["tone_bound_hz"] = 0.675 * 0.39 / (length * float(np.sqrt(density * length)))
    figures |= quantiles([beep.known - tone.onset - tone.length for beep, tone in pairs], "latency_s")
    late = [beep.known - tone.onset - tone.length <= 0.5 for beep, tone in pairs]
    return figures | {"in_half_a_second": float(np.mean(late)) if late else 0.0}


def _mean_tone(tone: Tone) -> float:
    return tone.frequency * (1 + tone.drift / 2) if isinstance(tone, Linear) else tone.mean_frequency


def false_beeps(kind: str, hours: float, seed: int) -> Row:
    """Beeps and hums told of noise alone."""
    pieces = stream(kind, RATE, 60 * RATE, np.random.default_rng([seed, KINDS.index(kind)]))
    hearing = Hearing()
    told = []
    for _ in range(round(hours * 60)):
        told += hearing.push((RMS * next(pieces)).astype(np.float32)[None])
    told += hearing.flush()
    false = [event for event in told if isinstance(event, Beep | SteadyTone)]
    worst = tuple(f"{type(one).__name__} at {one.onset:.1f} s of seed {seed}: {one.frequency:.0f} Hz" for one in false)
    return Row("false", kind, extra=len(false), hours=hours, worst=worst)


def rooms(length: float, each: int, *, snr: float, seeds: tuple[int, int], null: bool = False) -> Row:
    """`each` beeps in each of the bedrooms of `seeds`, noises by turns; null: the tone lies in a null of the room.

    ideal: mean share that an ideal listener would find (all energy of each beep at the microphone, harmonics, build-up
    and decay, in its own noise: Marcum's Q). possible: beeps that it would find with the chance POSSIBLE or more.
    """
    parts, shares, chances, worst, seconds = [], [], [], [], 0.0
    for one in range(*seeds):
        kind = KINDS[one % len(KINDS)]
        scene = scene_in_room(one, each, length, pause=3.8, snr=snr, kind=kind, null=null)
        seconds += len(scene.noise) / RATE
        part = tally(beeps(hear(scene.samples)), scene.tones)
        chances.append(ideal_recall(10 * np.log10(scene.energies() / NOISE_HZ), 1.0))
        parts.append(part)
        shares.append(len(part.pairs) / each)
        if shares[-1] < 1 or part.extra:
            t60 = bedroom(one).t60
            worst.append(f"room {one}, {kind}, T60 {t60:.2f} s: {len(part.pairs)} of {each}, {len(part.extra)} extra")
    pairs = [pair for part in parts for pair in part.pairs]
    figures = quantiles([beep.duration - tone.length for beep, tone in pairs], "length_ms", 1e3)
    figures |= quantiles([beep.onset - tone.onset for beep, tone in pairs], "onset_ms", 1e3)
    ideal = np.concatenate(chances)
    figures |= {"ideal": float(ideal.mean()), "possible": float(np.sum(ideal >= POSSIBLE))}
    figures |= {"worst_room": min(shares), "rooms_whole": float(np.mean(np.array(shares) >= 0.98))}
    name = f"{length:g} s {snr:g} dB{' in a null' if null else ''}, {len(shares)} rooms"
    return Row(
        "rooms", name, each * len(shares), len(pairs), sum(part.heard for part in parts),
        sum(len(part.extra) for part in parts), seconds / 3600, figures, tuple(worst),
    )  # fmt: skip


def beside(each: int, *, snr: float, apart: float, seeds: tuple[int, int]) -> Row:
    """`each` beeps of 1.2 s in each of the bedrooms of `seeds`, by two microphones `apart` m from each other."""
    parts, seconds = [], 0.0
    for one in range(*seeds):
        kind = KINDS[one % len(KINDS)]
        samples, tones = row_at_two_places(one, each, 1.2, pause=3.8, snr=snr, apart=apart, kind=kind)
        seconds += samples.shape[1] / RATE
        parts.append(tally(beeps(hear(samples, 2)), tones))
    pairs = [pair for part in parts for pair in part.pairs]
    figures = quantiles([beep.duration - tone.length for beep, tone in pairs], "length_ms", 1e3)
    figures |= quantiles([beep.onset - tone.onset for beep, tone in pairs], "onset_ms", 1e3)
    figures["worst_room"] = min(len(part.pairs) for part in parts) / each
    return Row(
        "rooms", f"1.2 s {snr:g} dB, two microphones, {len(parts)} rooms", each * len(parts), len(pairs),
        sum(part.heard for part in parts), sum(len(part.extra) for part in parts), seconds / 3600, figures,
    )  # fmt: skip


def fast_pulses(on: float, off: float, snr: float, count: int) -> Row:
    """Groups of six pulses: each its own beep, onset and length to 30 ms."""
    rng = np.random.default_rng([10_001, round(on * 1000), round(snr + 100)])
    tones = [
        tone
        for group in range(-(-count // 6))
        for tone in row(6, on, off, float(rng.uniform(800, 4500)), snr, first=3 + group * 4)
    ]
    told = tally(beeps(hear(add(white(7 + len(tones) / 6 * 4, rng), tones))), tones)
    close = [
        pair for pair in told.pairs if abs(pair[0].onset - pair[1].onset) < 0.03 and abs(pair[0].duration - on) < 0.03
    ]
    figures = quantiles([beep.duration - on for beep, _ in close], "length_ms", 1e3)
    extra = len(told.extra) + len(told.pairs) - len(close)
    return Row("pulses", f"{on:g} on {off:g} off {snr:g} dB", len(tones), len(close), told.heard, extra, 0.0, figures)


def square_wave(snr: float, count: int) -> Row:
    """A 520 Hz square-wave sounder, 0.5 s on, 0.5 s off: one beep a pulse, none of a harmonic."""
    rng = np.random.default_rng([10_002, round(snr + 100)])
    tones = [Tone(3 + i, 0.5, 520.0, level(snr), SQUARE) for i in range(count)]
    told = tally(beeps(hear(add(white(6 + count, rng), tones))), tones)
    return Row("520 Hz", f"{snr:g} dB", count, len(told.pairs), told.heard, len(told.extra))


def drifting(share: float, snr: float, count: int) -> Row:
    """1.2 s beeps whose tone moves by `share` of it, up or down, evenly or within 0.3 s: told by the mean to 0.5 %."""
    rng = np.random.default_rng([10_004, round(share * 1000), round(snr + 100)])
    tones = []
    for tone in random_tones(count, 1.2, snr, rng):
        warm_up = float(rng.choice([0.3, EVENLY]))
        moved = share * float(rng.choice([-1, 1])) / (1 - float(np.exp(-tone.length / warm_up)))
        last = tone.frequency / (1 + max(moved, 0.0))  # none begins above 4900 Hz
        tones.append(Tone(tone.onset, tone.length, last, tone.level, drift=moved, warm_up=warm_up))
    told = tally(beeps(hear(add(white(4 + count * (1.2 + PAUSE), rng), tones))), tones)
    right = [(beep, tone) for beep, tone in told.pairs if abs(beep.frequency / tone.mean_frequency - 1) < 0.005]
    figures = quantiles([beep.duration - tone.length for beep, tone in right], "length_ms", 1e3)
    return Row(
        "drift", f"{share:.0%} in 1.2 s, {snr:g} dB", count, len(right), told.heard, len(told.extra), 0.0, figures
    )


def ears(snr: float, faded: bool, count: int) -> Row:
    """1.2 s beeps with two microphones, noises of their own, beside the better one alone.

    faded: each beep reaches each microphone with the power of a diffuse field (exponential, mean 1).
    """
    rng = np.random.default_rng([10_003, round(snr * 10 + 1000), int(faded)])
    tones = random_tones(count, 1.2, snr, rng)
    sounds = []
    for _ in range(2):
        gains = 10 * np.log10(rng.exponential(size=count)) if faded else np.zeros(count)
        moved = [_louder(tone, float(gain)) for tone, gain in zip(tones, gains, strict=True)]
        sounds.append(add(white(4 + count * (1.2 + PAUSE), rng), moved))
    alone = [len(tally(beeps(hear(sound)), tones).pairs) for sound in sounds]
    both = tally(beeps(hear(np.stack(sounds), 2)), tones)
    figures = {"one": alone[0] / count, "other": alone[1] / count}
    name = f"two, {snr:g} dB{', fading' if faded else ''}"
    return Row("ears", name, count, len(both.pairs), both.heard, len(both.extra), 0.0, figures)


def _louder(tone: Tone, gain: float) -> Tone:
    return type(tone)(
        tone.onset, tone.length, tone.frequency, tone.level + gain, (), tone.drift, tone.warm_up, tone.ramp, tone.phase
    )


PACKAGES = {
    "speech": ("asterisk-core-sounds-en-wav",),
    "music": ("asterisk-moh-opsound-wav", "gamine-data", "lomiri-sounds", "jami-daemon", "sonic-pi-samples"),
    "ambient": ("ufoai-sound",),
}
LOUDNESS = -25.0
"""dBFS (RMS, full-scale sine 0) of each recording, by judgement; a bed of noise lies at -66."""


def nonstop(kind: str, minutes: float) -> tuple[Floats, list[tuple[float, str]]]:
    """(recordings of a kind in an order drawn by a seed, 0.3 s apart, (begin in s, name) of each)."""
    from tests.realsounds import mono, sounds  # noqa: PLC0415 - only for real sound

    rng = np.random.default_rng(10_004)
    held = [one for one in sounds() if one.package in PACKAGES[kind] and one.path.name != "beep.wav"]
    parts: list[Floats] = []
    begins: list[tuple[float, str]] = []
    n = 0
    for i in rng.permutation(len(held)):
        sound = mono(held[i].path)
        power = float(np.mean(sound**2))
        if power > 0 and n < minutes * 60 * RATE:
            begins.append((n / RATE, held[i].path.name))
            loud = np.clip(sound * (10 ** (LOUDNESS / 20) / np.sqrt(2 * power)), -1, 1)
            parts += [loud.astype(np.float32), np.zeros(int(0.3 * RATE), np.float32)]
            n += len(parts[-2]) + len(parts[-1])
    bed = rng.standard_normal(n, dtype=np.float32) * np.float32(10 ** (-66 / 20) / np.sqrt(2))
    return np.concatenate(parts) + bed, begins


def real_sound(kind: str, minutes: float) -> Row:
    """Beeps an hour told of nonstop real sound, by length; `extra` counts those of 0.6-2.5 s and over 8 s."""
    samples, begins = nonstop(kind, minutes)
    told = beeps(hear(samples))
    hours = len(samples) / RATE / 3600
    lengths = np.array([beep.duration for beep in told])
    edges = (0.0, 0.3, 0.6, 2.5, 8.0, np.inf)
    names = ("under_0.3", "0.3_to_0.6", "0.6_to_2.5", "2.5_to_8", "over_8")
    counts = [int(np.sum((lengths >= a) & (lengths < b))) for a, b in pairwise(edges)]
    like = [beep for beep in told if 0.6 <= beep.duration < 2.5 or beep.duration >= 8]
    like.sort(key=lambda beep: -beep.level)
    figures = {f"{name}_an_hour": count / hours for name, count in zip(names, counts, strict=True)}
    worst = tuple(_place(beep, begins) for beep in like[:10])
    return Row("real", f"nonstop {kind}", extra=len(like), hours=hours, figures=figures, worst=worst)


def _place(beep: Beep, begins: list[tuple[float, str]]) -> str:
    begin, name = max((one for one in begins if one[0] <= beep.onset), default=begins[0])
    return (
        f"{name} at {beep.onset - begin:.1f} s: {beep.duration:.2f} s of {beep.frequency:.0f} Hz, {beep.level:.0f} dBFS"
    )


def real_beeps(kind: str, over: float, count: int) -> Row:
    """1.2 s beeps `over` dB over the RMS of nonstop real sound: found although it goes on."""
    rng = np.random.default_rng([10_005, round(over + 100)])
    samples, _ = nonstop(kind, count * 4.2 / 60 + 0.2)
    loud = 10 * np.log10(2 * float(np.mean(samples**2))) + over
    tones = [
        Tone(3 + i * 4.2 + float(rng.uniform(0, 1)), 1.2, float(rng.uniform(450, 4900)), loud, (), -0.002, 0.3)
        for i in range(int(min(count, (len(samples) / RATE - 6) / 4.2)))
    ]
    told = tally(beeps(hear(add(samples, tones))), tones)
    return Row("in real", f"1.2 s {over:g} dB over {kind}", len(tones), len(told.pairs), told.heard, 0)
