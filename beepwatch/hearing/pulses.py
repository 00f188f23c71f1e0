"""Where a burst falls into pulses: silences inside it that are too long to be bridged.

A frame of 128 ms cannot see the 0.1 s silences of the standards' patterns; the 4 ms baseband can, when the tone is
strong enough for 20 ms of it to stand clear of the noise.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from .baseband import STEP_NOISE, STEP_SECONDS
from .drift import Envelope
from .nulls import Harmonics, goes_through
from .ranks import quantile
from .spectrum import Doubles, Mask
from .track import JOIN

SMOOTH = 5
"""Steps (20 ms) of the running mean."""
SMOOTHING = np.ones(SMOOTH) / SMOOTH
CLEAR = 4.0
"""Energy of 20 ms of tone over noise below which no silence is looked for."""
MISSED = 60.0
"""Energy that the tone, at its mean level, would have had in a silence: its noise is then 12 at most (theory), and a
quarter of it is 3.7 standard errors away, so noise does not cut a beep: it leaves a quarter once in a million. Of half
that energy it leaves a quarter once in a thousand, of a third once in a hundred (noncentral chi-squared, 12 to 18
steps), so the energies missed in several silences that follow one another add up."""
PULSE = 88
"""Steps (0.35 s) of the sounds before, between and after them: 0.25 s (IEC 60601-1-8 Table 3, quoted) and 0.1 s of the
room's tail (patterns/bursts.py ECHO)."""
HALF = 0.25
"""Power at half amplitude: a pulse's edge."""
DEEP = 0.16
"""A silence goes down at least this far (-8 dB): the tail of a room with T60 0.5 s falls 12 dB in 0.1 s (theory)."""
SOUNDING = 0.7
"""Of the plateau: the tone's level at least (judgement: noise lifts that of a weak one). Its mean over pulses and
pauses as long is half of what a pulse has, and half of the room's echo in a pause then looked like the tone itself."""
ABRUPT, HALF_POWER = 12, 0.5
"""Steps (48 ms, 20 of them the running mean) in which a pulse comes back from DEEP to half its power. A tone that
drifts through a null of the room comes back slowly: its 5 Hz take 0.15 s at 30 Hz/s (theory)."""
UNSURE = 0.1
"""Standard error of a moment's power, over the plateau, from which a longer mean is asked instead: noise makes a slow
return look abrupt (judgement)."""
RISEN, BACK = 5, 0.4
"""Steps before, and twice as many after, those of ABRUPT: 60 ms, all in a pulse of 75 ms; and the least mean power in
them, over the plateau. A null of 0.3 s has 0.34 there (theory)."""
LEAST_SOUND = 24.0
"""Energy beyond noise of a sound that could be told of itself (as `looks.LEAST_ENERGY`)."""
SHORTEST_GAP = 8
"""Steps (32 ms); shorter dips are noise."""
GLIDING_GAP = 50
"""The same (0.2 s) in a tone that glides: it passes a null of the room, 5 Hz wide or so, as abruptly as it is switched,
and no standard's pulses glide."""


def _runs(mask: Mask) -> list[tuple[int, int]]:
    inside = np.zeros(len(mask) + 2, np.bool_)
    inside[1:-1] = mask
    edges = np.flatnonzero(inside[1:] != inside[:-1]).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def silences(
    part: Envelope, harmonics: Harmonics, final: bool, least: int = SHORTEST_GAP, before: int = 0
) -> list[tuple[int, int]]:
    """Silences inside the burst that fills `part`, as (first step, step after), too long to be one beep.

    Empty where the tone is too weak to tell. `final`: the burst has ended; otherwise its last sound may still grow.
    least: steps of the shortest. before: steps that its first sound had lasted when `part` begins.
    """
    n = part.z.shape[1]
    if n < 4 * SHORTEST_GAP:
        return []
    sound = _relative(part)
    power = np.convolve(sound.power, SMOOTHING, mode="same")
    gaps = _gaps(part, sound, power, harmonics)
    if len(part.z) > 1:
        gaps = _longest(gaps + _gaps_by_channel(part, harmonics))
    gaps = [(a, b) for a, b in gaps if b - a >= least]
    if not gaps:
        return []
    loud = np.flatnonzero(power >= HALF * quantile(power, 0.8))
    whole = (int(loud[0]), int(loud[-1]) + 1 if final else n)
    held = np.concatenate([[0.0], np.cumsum(sound.power * sound.energy)])
    earlier = before if whole[0] < SMOOTH else 0
    return [(part.first + a, part.first + b) for a, b in _parting(gaps, whole, held, final, earlier)]


def _gaps_by_channel(part: Envelope, harmonics: Harmonics) -> list[tuple[int, int]]:
    """Silences of one channel by itself: where the echoes are weaker they show first.

    In all others it falls under half there too, for one may drop out or lie in a null.
    """
    each = [
        Envelope(z[None], weight[None], part.first, part.tone) for z, weight in zip(part.z, part.weight, strict=True)
    ]
    sounds = [_relative(one) for one in each]
    powers = [np.convolve(sound.power, SMOOTHING, mode="same") for sound in sounds]
    dips = [power < HALF * quantile(power, 0.8) for power in powers]
    every = (_gaps(one, sound, power, harmonics) for one, sound, power in zip(each, sounds, powers, strict=True))
    return [(a, b) for gaps in every for a, b in gaps if all(dip[a:b].any() for dip in dips)]


def _longest(gaps: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Of gaps that overlap the longest, in order of time."""
    found: list[tuple[int, int]] = []
    for a, b in sorted(gaps, key=lambda gap: gap[0] - gap[1]):
        if all(b <= first or stop <= a for first, stop in found):
            found.append((a, b))
    return sorted(found)


def _gaps(part: Envelope, sound: "_Relative", power: Doubles, harmonics: Harmonics) -> list[tuple[int, int]]:
    """Silences of a burst of smoothed `power`, first step and step after, counted in `part`."""
    if float(np.add.reduce(sound.energy)) / len(power) * SMOOTH < CLEAR:
        return []
    plateau = quantile(power, 0.8)
    dips = _dips(sound, power, plateau)
    loud = np.flatnonzero(power >= HALF * plateau)
    missed = _together(dips, (int(loud[0]), int(loud[-1]) + 1)) if dips else []
    faint = HALF * plateau * sound.channels
    return [
        (a, b)
        for (a, b), energy in zip(dips, missed, strict=True)
        if energy > MISSED and not goes_through(part, harmonics, (a, b - SMOOTH), faint)
    ]


def _dips(sound: "_Relative", power: Doubles, plateau: float) -> dict[tuple[int, int], float]:
    """Where the power falls as a switch makes it, and the energy that the tone would have had there, by time."""
    n, found = len(power), {}
    level = max(float(np.add.reduce(sound.power)) / n, SOUNDING * plateau)
    for a, b in _runs(power < HALF * plateau):
        if b - a < SHORTEST_GAP or a == 0 or b == n or power[a:b].min() >= DEEP * plateau:
            continue
        missed = level * float(np.add.reduce(sound.energy[a:b]))
        left = float(np.add.reduce(sound.power[a:b] * sound.energy[a:b]))
        if left < HALF * missed and _abrupt(power, b, plateau, SMOOTH * plateau * float(sound.energy[b])):
            found[a, b] = missed
    return found


def _together(dips: dict[tuple[int, int], float], sound: tuple[int, int]) -> list[float]:
    """Energy missed in each dip, or in all of a run of dips that part short pulses and nothing else.

    sound: first step of the whole, and step after it.
    """
    missed = list(dips.values())
    edges = [sound[0], *(edge for dip in dips for edge in dip), sound[1]]
    short = [stop - begin <= PULSE for begin, stop in zip(edges[::2], edges[1::2], strict=True)]
    first = 0
    for after in range(1, len(missed) + 1):
        if after == len(missed) or not short[after]:
            if short[first] and short[after]:
                missed[first:after] = [sum(missed[first:after])] * (after - first)
            first = after
    return missed


@dataclass(frozen=True, slots=True)
class _Relative:
    """A burst's power from step to step, all channels together, each by how well it hears the tone."""

    power: Doubles
    """Power without noise over the tone's mean power, (n,)."""
    energy: Doubles
    """Energy over noise that the tone at its mean power has in each step, (n,); STEP_NOISE over it is the error."""
    channels: Doubles
    """Mean power of the tone in each channel, (channels,)."""


def _relative(part: Envelope) -> _Relative:
    """Channels weighed by the tone's energy in each (matched to a known pattern of powers): a deaf one has no say."""
    beyond = np.square(np.abs(part.z)) * part.weight - STEP_NOISE
    weight = np.maximum(np.add.reduce(part.weight, axis=1), 1e-30)
    channels = np.maximum(np.add.reduce(beyond, axis=1) / weight, 0.0)  # 0 where deaf
    energy = part.weight * channels[:, None]
    squares = np.maximum(np.add.reduce(np.square(energy), axis=0), 1e-30)
    return _Relative(np.add.reduce(beyond * energy, axis=0) / squares, np.sqrt(squares), channels)


def _parting(
    gaps: list[tuple[int, int]], sound: tuple[int, int], held: Doubles, final: bool, earlier: int
) -> list[tuple[int, int]]:
    """Gaps longer than JOIN or a quarter of the longer sound beside them; the last one only once that has ended.

    held: energy beyond noise before each step. Within JOIN a gap parts only sounds that could each be told.
    earlier: steps that the first sound had lasted already.
    """
    found = []
    since, stop = sound
    for i, (a, b) in enumerate(gaps):
        last = i + 1 == len(gaps)
        if last and not final and b - a <= JOIN / STEP_SECONDS:
            break
        after = stop if last else gaps[i + 1][0]
        told = min(held[a] - held[since], held[after] - held[b]) > LEAST_SOUND or b - a > JOIN / STEP_SECONDS
        if told and b - a > min(JOIN / STEP_SECONDS, max(a - since + earlier, after - b) / 4):
            found.append((a, b))
            since, earlier = b, 0
    return found


def _abrupt(power: Doubles, back: int, plateau: float, energy: float) -> bool:
    """Does the tone come back round step `back` as a switch makes it? energy: of SMOOTH steps of the plateau."""
    low = (power[:back] < DEEP * plateau).nonzero()[0]
    if len(low) == 0:
        return False
    first = int(low[-1])
    if sqrt(SMOOTH * STEP_NOISE + 2 * HALF * max(energy, 0.0)) < UNSURE * energy:
        return float(power[back : first + ABRUPT + 1].max(initial=0.0)) > HALF_POWER * plateau
    after = power[first + ABRUPT - RISEN : first + ABRUPT + 2 * RISEN]
    return float(np.add.reduce(after)) > BACK * plateau * len(after)
