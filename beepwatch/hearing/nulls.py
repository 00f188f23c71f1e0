"""A tone in a null of the room: does it go on, faded, where its frames say that it has ended?

A sounder warms up, and its tone drifts through the room's frequency response. Into a null it fades by tens of dB, yet
slowly: a room's own tail falls faster. Switched off there it is loud once more, as what cancelled it is gone. And what
is a null for the tone is none for its harmonics, which go on as before.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import atan2

import numpy as np
from scipy import fft

from .baseband import MARGIN, STEP, STEP_NOISE, STEP_SECONDS, Audio, demodulate_with_sides, turning
from .drift import Envelope
from .spectrum import Complexes, Doubles

SLOWEST = 86.0
"""dB a second by which a room's tail falls at least: T60 0.7 s, the slowest furnished bedroom (Master Handbook of
Acoustics, quoted)."""
OVER_TAIL = 2.0
"""Times that tail's energy, and (measured: in the deepest nulls of 38 rooms at -14 dB 4 leaves 281 of 304 beeps whole,
2 286; of 1920 pulses with pauses of 0.3 to 0.8 s, half of them in rooms of T60 0.7 s, 2 loses four)"""
NULL_ENERGY = 9.0
"""energy beyond that, from which the tone is there still: of noise alone one line of 8000 has as much, and a gap, its
windows and the harmonics together, about a hundred (theory)."""
EACH_MORE = 2.5
"""The same for each further channel: two have 11.5 once in 8000 (gamma distribution)."""
TAIL_STEPS = 25
"""Steps (0.1 s) after which a room's tail has fallen by 8 dB at least."""
BESIDE = 50
"""Steps (0.2 s) before a gap whose frequency is the tone's."""
BEFORE = NULL_ENERGY / 2
"""Energy of a harmonic's line there, less of which tells of none that might go on: noise has so much once in twelve
(eight lines within 10 Hz, theory), a harmonic that has NULL_ENERGY in a gap of twice that length half the time or more.
"""
SAME_TURN = 0.25
"""Radians a step (10 Hz) by which its frequency may differ."""
RING = (15.0, 60.0)
"""Hz on each side of a line between which its noise is read anew: where the noise changes fast with frequency, as at
the upper end of sound from a lower rate, that taken at the tone says little (of a tone's own skirts of 0.1 s 1 % are
there)."""
ORDERS = (2, 3)
"""Harmonics asked."""
OFF, HIGHEST = 160.0, 7800.0
"""Hz beside a harmonic where its noise is measured, and the highest one asked."""
ROUNDED = 1 + 1e-9
"""Beyond what sums may differ by."""
MOST_WEIGHT = 100.0
"""Noise there is taken for no more than 20 dB under that at the tone: sound of a lower rate has none (judgement)."""


@dataclass(frozen=True, slots=True)
class Harmonics:
    """The harmonics of a tone of `tone` Hz, brought down from the sound when they are asked."""

    audio: Audio
    tone: float
    since: int
    """First step whose sound is kept still: nothing is said of earlier ones."""

    def envelopes(self, whole: Envelope, first: int | None = None) -> Iterator[Envelope]:
        """Those over the steps of `whole`, weighted by the noise beside them; each made when it is asked for.

        first: step with which they begin, if not with that of `whole`.
        """
        first, stop = whole.first if first is None else first, whole.first + whole.z.shape[1]
        if first - MARGIN < self.since:
            return
        sound = self.audio.view((first - MARGIN) * STEP, (stop + MARGIN) * STEP)
        most = MOST_WEIGHT * float(whole.weight.mean())
        for hertz in (order * self.tone for order in ORDERS if order * self.tone < HIGHEST):
            z, beside = demodulate_with_sides(sound, first, hertz, OFF)
            weight = np.minimum(1 / np.maximum(beside / STEP_NOISE, 1e-30), most)
            yield Envelope(z, np.repeat(weight[:, None], z.shape[1], axis=1), first, hertz)


def sustained(part: Envelope, begin: int, end: int, level: Doubles) -> bool:
    """Does the tone of `part` go on from its index `begin` to `end`, above the tail that the slowest room would leave?

    level: power |z|^2 of each channel at `begin`, (channels,).
    """
    first = begin + TAIL_STEPS
    lows = range(first, end - TAIL_STEPS // 2, TAIL_STEPS // 2)
    if not lows:
        return False
    turn = _turn(part, begin, level)
    seconds = np.arange(TAIL_STEPS, end - begin) * STEP_SECONDS
    tails = level[:, None] * 10 ** (-SLOWEST * seconds / 10) * part.weight[:, first:end]
    weighted = part.z[:, first:end] * part.weight[:, first:end]
    phasors = turning(-turn * np.arange(float(weighted.shape[1])))
    # no line holds more than all energy that it is taken from (Cauchy-Schwarz)
    most = np.square(np.abs(part.z[:, first:end])) * part.weight[:, first:end] * ROUNDED
    for low in lows:
        tail = float(np.add.reduce(tails[:, low - first :], axis=None))
        asked = NULL_ENERGY + EACH_MORE * (len(part.z) - 1) + OVER_TAIL * tail
        if float(np.add.reduce(most[:, low - first :], axis=None)) <= asked:
            continue
        turned = weighted[:, low - first :] * phasors[: end - low]
        if _line(turned, part.weight[:, low:end]) > asked:
            return True
    return False


def _line(turned: Complexes, weight: Doubles) -> float:
    """Energy of the strongest line near 0 Hz of weighted baseband (channels, n), over the noise beside it."""
    size = 1 << (4 * turned.shape[1] - 1).bit_length()
    spectrum = fft.fft(turned, size, axis=1)
    reach = max(1, round(SAME_TURN / (2 * np.pi) * size))
    inner, outer = (round(hertz * STEP_SECONDS * size) for hertz in RING)
    near = np.concatenate([spectrum[:, -outer:], spectrum[:, :outer]], axis=1)
    power = np.square(near.real)
    power += np.square(near.imag)
    power /= np.maximum(np.add.reduce(weight, axis=1), 1e-30)[:, None]
    energy: Doubles = np.add.reduce(power, axis=0)
    strongest = float(np.maximum.reduce(energy[outer - reach : outer + reach + 1]))
    ring: int = outer - inner
    beside = max(float(np.add.reduce(energy[:ring])), float(np.add.reduce(energy[-ring:]))) / ring
    return strongest / max(1.0, beside / len(weight))


def _turn(part: Envelope, begin: int, level: Doubles) -> float:
    """Mean angle from step to step before index `begin`, each channel by its share of `level`: the frequency."""
    z = part.z[:, max(begin - BESIDE, 0) : begin]
    shares = level * (np.add.reduce(part.weight[:, :begin], axis=1) / begin)
    turn = complex(np.add.reduce(np.add.reduce(z[:, 1:] * np.conj(z[:, :-1]), axis=1) * shares))
    return atan2(turn.imag, turn.real)


def _level_before(part: Envelope, at: int) -> Doubles:
    """Power |z|^2 of the tone of each channel in the TAIL_STEPS before index `at`, (channels,)."""
    span = slice(max(at - TAIL_STEPS, 0), at)
    weight = part.weight[:, span]
    beyond = np.add.reduce(np.square(np.abs(part.z[:, span])) * weight - STEP_NOISE, axis=1)
    level: Doubles = np.maximum(beyond / np.maximum(np.add.reduce(weight, axis=1), 1e-30), 0.0)  # 0 where deaf
    return level


def fades(whole: Envelope, harmonics: Harmonics, end: int) -> bool:
    """Does a tone that seemed to end at step `end` go on, faded, to the last step of `whole`?"""
    at, n = end - whole.first, whole.z.shape[1]
    if at < TAIL_STEPS or n - at < 2 * TAIL_STEPS:
        return False
    back = min(at, BESIDE)
    near = whole.part(end - back, whole.first + n)
    return sustained(near, back, near.z.shape[1], _level_before(near, back)) or _harmonics_go_on(near, harmonics, back)


def goes_through(part: Envelope, harmonics: Harmonics, gap: tuple[int, int], level: Doubles) -> bool:
    """Does the tone, or one of its harmonics, sound on through a gap (indices of `part`), at first at `level`?"""
    begin, end = gap
    if sustained(part, begin, end, level):
        return True
    first = max(begin - BESIDE, 0)
    if end - begin < 2 * TAIL_STEPS:
        return False
    return _harmonics_go_on(part.part(part.first + first, part.first + end), harmonics, begin - first)


def _harmonics_go_on(near: Envelope, harmonics: Harmonics, back: int) -> bool:
    """Does a harmonic that was there before index `back` of `near` go on to its end?"""
    for one in harmonics.envelopes(near):
        level = _level_before(one, back)
        if _sounded(one, back, level) and sustained(one, back, one.z.shape[1], level):
            return True
    return False


def _sounded(harmonic: Envelope, before: int, level: Doubles) -> bool:
    """Was there a line at all in a harmonic's steps before index `before`?"""
    weight = harmonic.weight[:, :before]
    turned = harmonic.z[:, :before] * weight * turning(-_turn(harmonic, before, level) * np.arange(float(before)))
    return _line(turned, weight) > BEFORE + EACH_MORE * (len(weight) - 1) / 2
