"""Long tones near the limit of hearing: where they begin and end, and whether one that seems to have ended goes on.

A frame holds only a few nats of such a tone; on the line that its loud middle draws, phase and all, each 0.1 s holds
as many. A sounder that warms up is off that line at first, by an unknown bend: a bank of bends is tried, each weighed
by how likely it is beforehand, and the onset is read from the sum (marginal likelihood).
"""

from dataclasses import dataclass
from math import log
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.special import i0e

from .baseband import STEP_SECONDS, turning
from .drift import Drift, Envelope, coherent, straight
from .spectrum import Complexes, Doubles

Number = TypeVar("Number", np.float64, np.complex128)

REFERENCE = 2000
"""Steps (8 s) of tone beside an edge that draw its line at most: over 4 s at -26 dB the line strays by half a turn 2 s
outside (measured; Rife & Boorstyn 1974)."""
SETTLED = 450
"""Steps (1.8 s) after the onset left off for that: three of the longest time constants of a warm-up."""
SHORTEST = 75
"""Steps (0.3 s) that tell whether a tone goes on."""
APART = 150
"""Steps (0.6 s) after an onset that are left off where the end of the same tone is sought."""
LUCK, LEAST_SHARE = 20.0, 0.33
"""Energy by which a tone found by its luckiest moment may look stronger than it is (seen: 30 in 0.5 s of -26 dB, where
10 are due), and the least share of it that is believed."""
WINDOW = 48
"""Steps (0.2 s) of onsets that are looked at with the same bends."""
SPAN = 500
"""Steps (2 s) to each side in which an edge is looked for."""
NEAR = 1000
"""Steps (4 s) beyond it that a likelihood is summed over: more places it no better."""
SPACING = 3
TIME_CONSTANTS = (0.15, 0.21, 0.3, 0.42, 0.6)
"""Seconds: warm-ups to a factor of 1.4; with steps of 2 those between them were found 0.2 to 0.4 s late (measured)."""
BEND = 0.0015
"""Relative: mean size of the warm-up expected of a sounder (0.2 % is common practice, no source)."""
BENT = 0.5
"""Share of the prior for any bend at all (judgement)."""
MOST_BEND = 0.006
TURN = 0.2
"""Cycles between two bends of the bank: half of it costs 3 % of the energy (theory)."""
COLLAR, SURE = 0.25, 0.01
"""Seconds from the edge at which an error counts in full, and the chance of one at which the median serves."""
GOES_ON = 2.0
"""Nats for "it goes on" that undo an end."""
CERTAIN = 35.0
"""Energy that a faint tone would have had since its end before that is believed: it then looks as weak as noise once in
20 000 times (Rice, theory), and 10 s of it seem to end some times over."""
SOON, SHORT_DOUBT = 20.0, 1.0
"""The same for a tone that has not lasted yet, which has had fewer chances to look so (once in 150 times), and the
seconds that it may take (judgement: a breath's alarm must not wait for longer)."""
LONGEST_DOUBT = 2.5
"""Seconds that this may take: CERTAIN at -28 dB."""
LATEST = 12
"""Steps (48 ms) that tell whether a clear tone is back just as its track would close."""
AGAIN, AGAIN_SHARE = 12.0, 0.1
"""Energy there beyond noise (4 of its standard errors), and share of the tone's own (a room's tail is less)."""
STEP_SHARE = 1.5 * 64 / 2048
"""Energy of one step over the level in frames: 64 samples of 2048, and a Hann window's noise bandwidth of 1.5 bins
(Harris 1978, Proc. IEEE 66:51, from memory)."""
HOPE = 15.0
"""Energy before an end under which no line can be drawn."""
SEARCH_HZ = 1.5
"""Hz from a line within which it is looked for beside itself (judgement)."""


def place(places: Doubles, log_likelihood: Doubles) -> float:
    """The median of a likelihood on an even grid; a wide one's place with the least expected error up to COLLAR."""
    density = np.exp(log_likelihood - log_likelihood.max())
    total = np.cumsum(density)
    middle = float(np.interp(total[-1] / 2, total - density / 2, places))
    away = np.abs(places - middle) > 0.8 * COLLAR / STEP_SECONDS
    if float(density[away].sum()) < SURE * total[-1]:
        return middle
    reach = int(COLLAR / STEP_SECONDS / (places[1] - places[0]))
    gain = 1 - (np.arange(-reach, reach + 1) / reach) ** 4
    scores = np.convolve(density, gain)[reach : reach + len(places)]
    return float(places[int(np.argmax(scores))])


@dataclass(frozen=True, slots=True)
class _Bank:
    """Warm-ups of some time constants about a window of onsets: bends of cycles at its middle, which die away."""

    turns: Complexes
    """What each bend adds to a step's phasor in the window, (bends, steps): of each constant down and up, in order."""
    late: tuple[Doubles, ...]
    """The same after the window, of the bends up alone: of each constant its real and its imaginary part, (2, bends up,
    steps)."""
    prior: Doubles
    """Log of the prior of each bend at each onset looked at, (bends, places)."""


def _bank(constant: float, tone: float) -> _Bank:
    steps = constant / STEP_SECONDS
    late = np.exp((WINDOW / 2 - np.arange(WINDOW + int(6 * steps))) / steps)
    most = int(MOST_BEND * tone * constant / TURN)
    cycles = TURN * np.arange(1, most + 1)
    share = late[:WINDOW:SPACING] / (constant * tone * BEND)
    prior = np.log(0.5 * BENT / len(TIME_CONSTANTS) * TURN * share) - cycles[:, None] * share
    up = turning(2 * np.pi * cycles[:, None] * late) - 1
    early, later = up[:, :WINDOW], up[:, WINDOW:]
    turns = np.concatenate([np.conj(early[::-1]), early])
    return _Bank(turns, (np.stack([later.real, later.imag]),), np.concatenate([prior[::-1], prior]))


def _joined(banks: list[_Bank]) -> _Bank:
    """All in one."""
    turns, priors = np.concatenate([bank.turns for bank in banks]), np.concatenate([bank.prior for bank in banks])
    return _Bank(turns, tuple(late for bank in banks for late in bank.late), priors)


def onset(whole: Envelope, guess: float, other: float) -> float:
    """Step at which a faint tone begins that ends at `other`, its warm-up unknown."""
    bank = _joined([_bank(constant, whole.tone) for constant in TIME_CONSTANTS])
    for _ in range(3):
        found, bound = _onset(whole, guess, other, bank)
        if abs(found - guess) < 25:
            return found
        guess = max(found, bound)
    return found


def _onset(whole: Envelope, guess: float, other: float, bank: _Bank) -> tuple[float, float]:
    """(onset by a line drawn from `guess` + SETTLED on, lowest step looked at)."""
    settled = min(guess + SETTLED, (guess + other) / 2)
    fixed = min(settled + REFERENCE, other)
    line = straight(whole.part(int(settled), int(fixed) + 1), rising=True)
    low, high = int(max(guess - SPAN, whole.first)), int(min(guess + SPAN, (guess + fixed) / 2))
    part = whole.part(low, min(int(fixed), high + NEAR) + 1)
    weighted = line.extended(part).unwind(part) * part.weight
    windows = [_window(weighted, part.weight, a, bank) for a in range(0, max(high - low, 1), WINDOW)]
    log_likelihood = np.concatenate(windows)
    return place(low + SPACING * np.arange(len(log_likelihood), dtype=np.float64), log_likelihood), float(low)


def _window(z: Complexes, weight: Doubles, first: int, bank: _Bank) -> Doubles:
    """Log likelihood of an onset at steps first, first + SPACING ... of a window of z (channels, n), its bend unknown.

    z: weighted baseband on its line.
    """
    width = _from_each(weight[:, first:])
    straight_sums = _from_each(z[:, first:]) - z[:, first : first + WINDOW : SPACING]
    even = _energy(straight_sums[:, None, :], width) + log(1 - BENT)
    near = z[:, None, first : first + WINDOW]
    sums = _from_each(near * bank.turns[:, : near.shape[2]])
    after = z[:, first + WINDOW :]
    sums += np.concatenate([_late(after[:, : late.shape[2]], late) for late in bank.late], axis=1)[:, :, None]
    sums += straight_sums[:, None, :]
    total = np.concatenate([even, _energy(sums, width) + bank.prior[:, : width.shape[1]]])
    top = np.maximum.reduce(total, axis=0)
    summed: Doubles = top + np.log(np.add.reduce(np.exp(total - top), axis=0))
    return summed


def _late(z: Complexes, late: Doubles) -> Complexes:
    """What bends add to the sums after the window, of z (channels, n): (channels, bends). late: as in `_Bank`.

    In real sums, which numpy adds up some times quicker; a bend down turns against the same bend up.
    """
    own, turned = np.einsum("pcn,tbn->ptcb", np.stack([z.real, z.imag]), late[:, :, : z.shape[1]])
    up = (own[0] - turned[1]) + 1j * (own[1] + turned[0])
    down = (own[0] + turned[1]) + 1j * (turned[0] - own[1])
    return np.concatenate([down[:, ::-1], up], axis=1)


def _from_each(values: NDArray[Number]) -> NDArray[Number]:
    """Sums from each place of a window, a step in SPACING, to the end of the last axis."""
    cells = np.add.reduceat(values, np.arange(0, min(WINDOW, values.shape[-1]), SPACING), axis=-1)
    sums: NDArray[Number] = np.cumsum(cells[..., ::-1], axis=-1)[..., ::-1]
    return sums


def _energy(sums: Complexes, width: Doubles) -> Doubles:
    """|C|^2 / V of all channels: sums (channels, bends, places), width (channels, places)."""
    power = np.square(sums.real)
    power += np.square(sums.imag)
    power /= width[:, None, :]
    energy: Doubles = power[0] if len(power) == 1 else np.add.reduce(power, axis=0)
    return energy


def ending(whole: Envelope, guess: float, other: float) -> float:
    """Step at which a faint tone ends that began at `other`: on the line of its last seconds."""
    fixed = max(guess - REFERENCE, (guess + other) / 2 if guess - other < 2 * APART else other + APART)
    fixed = min(fixed, guess - 50)
    line = straight(whole.part(int(fixed), int(guess) + 1), rising=False)
    low = int(max((guess + fixed) / 2, guess - SPAN))
    part = whole.part(max(int(fixed), low - NEAR), int(guess) + SPAN)
    turned = line.extended(part).unwind(part) * part.weight
    sums = np.cumsum(turned, axis=1)
    power = ((sums.real**2 + sums.imag**2) / np.cumsum(part.weight, axis=1)).sum(axis=0)
    first = low - part.first
    places = low + 1 + np.arange(len(power) - first, dtype=np.float64)
    return place(places[::SPACING], power[first::SPACING])


@dataclass(frozen=True, slots=True)
class Line:
    """The straight line that a tone drew before its end."""

    drift: Drift
    rate: float
    """Energy in a second."""


def line_before(whole: Envelope, begin: float, end: float) -> Line | None:
    """The line of the tone from step `begin` to `end`; None where too little is known of it."""
    before = whole.part(int(max(begin, end - REFERENCE)), int(end))
    n = before.z.shape[1]
    if n < SHORTEST:
        return None
    drift = straight(before, rising=False)
    energy = coherent(before, drift) - len(whole.z)
    if energy < HOPE:
        return None
    return Line(drift, energy * max(1 - LUCK / energy, LEAST_SHARE) / (n * STEP_SECONDS))


def sounds_now(whole: Envelope, level: float) -> bool:
    """Is a tone that had `level` (power over noise in its pair of bins) there again in the last LATEST steps?"""
    last = whole.first + whole.z.shape[1]
    recent = whole.part(last - LATEST, last)
    energy = recent.energy * LATEST / len(whole.z)
    return energy > max(AGAIN, AGAIN_SHARE * level * STEP_SHARE * LATEST)


def goes_on(whole: Envelope, line: Line, end: float) -> bool:
    """Does the tone go on from step `end`, at its level, to the end of `whole`?

    The log likelihood ratio of a tone of known level and unknown phase (Kay, Detection Theory, ch. 7, from memory).
    """
    after = whole.part(int(end), whole.first + whole.z.shape[1])
    if after.z.shape[1] < 25:
        return False
    expected = line.rate * after.z.shape[1] * STEP_SECONDS
    x = 2 * float(np.sqrt(_best_near(line.drift.extended(after), after) * expected))
    gain: float = log(float(i0e(x))) + x - expected
    return gain > GOES_ON


def _best_near(line: Drift, part: Envelope) -> float:
    """Greatest energy of `part` within SEARCH_HZ of the line."""
    size = 1 << (4 * part.z.shape[1] - 1).bit_length()
    spectrum = np.abs(fft.fft(line.unwind(part) * part.weight, size, axis=1)) ** 2
    reach = max(1, int(SEARCH_HZ * size * STEP_SECONDS))
    near = np.concatenate([spectrum[:, : reach + 1], spectrum[:, -reach:]], axis=1)
    return float((near / part.weight.sum(axis=1)[:, None]).sum(axis=0).max())
