"""What is kept of the sound of an alarm: narrow bands round its tone and the tone's harmonics, under a crackle. Pure.

Talk carries its sense in the envelopes of many bands side by side (the premise of STOI: Taal, Hendriks, Heusdens and
Jensen 2011). A few bands as narrow as these hold the beep and hardly any of that. Two things would still carry some:
what leaks through the filter, so it lets nothing through outside the bands; and the even noise that is left there, for
which STOI reads 0.4 although it has nothing to do with the talk. Short bursts of noise are laid over all against that:
then it reads 0.2. Measured on real speech in tests/records/test_narrow.py. It is a measure of how well talk can be
followed, no proof that none can.
"""

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Sound: TypeAlias = npt.NDArray[np.floating[Any]]

RATE = 16_000
"""Hz of the sound that is heard and kept."""
HALF_WIDTH = 15.0
"""Hz to each side that is kept whole, at least: a beep's edges of some 30 ms (judgement, and measured as above)."""
SHARE = 0.005
"""Of a band's middle, likewise: the beeps of one buzzer differ by less within an alarm (judgement)."""
SLOPE = 7.5
"""Hz in which a band falls to nothing: so steep an edge rings for some 100 ms (judgement)."""
HARMONICS = 4
"""Multiples of the tone that may be kept: what sounders have of strength (common practice, no source)."""
FROM = 3000.0
"""Hz from which multiples are kept: below it is most of what makes talk understood (the speech intelligibility index,
ANSI S3.5, from memory, weighs 2 kHz most)."""
PEAK = 0.5
"""Of full scale: what the loudest moment is brought to, so that a faint beep can be heard again (judgement)."""
MOST_GAIN = 300.0
"""50 dB: beyond that the microphone's own noise would be made loud (judgement)."""
BURSTS, BURST, LOUD = 12.0, 0.05, 0.01
"""Bursts of noise a second, s of each, and their rms at the middle on average, of full scale: 34 dB under the beep's
peak. Chosen by measurement among 3 to 30 a second, 12 to 50 ms and 0.01 to 0.06."""


def narrowed(samples: npt.NDArray[np.float32], tone: float, seed: int = 0) -> npt.NDArray[np.int16]:
    """The narrow bands of a piece of sound, brought to an even loudness, in 16 bit.

    samples: float32, shape (n, channels), 16 kHz; the channel that has most of the tone is taken. tone: Hz, under 8000.
    The same seed gives the same samples.
    """
    count = len(samples)
    if count == 0:
        return np.zeros(0, np.int16)
    spectrum = np.fft.rfft(samples, 2 * count, axis=0)  # twice as long: nothing wraps round from the end to the start
    bands = spectrum * _mask(np.fft.rfftfreq(2 * count, 1 / RATE), tone)[:, None]
    best = int(np.argmax(np.sum(np.abs(bands) ** 2, axis=0)))
    kept = np.fft.irfft(bands[:, best], 2 * count)[:count]
    loudest = float(np.max(np.abs(kept)))
    gain = min(PEAK / loudest, MOST_GAIN) if loudest > 0 else 1.0
    made = kept * gain + _crackle(count, np.random.default_rng(seed))
    return np.clip(np.round(made * 32767), -32768, 32767).astype(np.int16)


def middles(tone: float) -> list[float]:
    """Hz in the middle of each band that is kept."""
    multiples = (times * tone for times in range(2, HARMONICS + 1))
    return [tone, *(one for one in multiples if FROM <= one < RATE / 2)]


def _mask(frequencies: Sound, tone: float) -> Sound:
    """1 in the bands, 0 outside, raised-cosine edges."""
    mask = np.zeros_like(frequencies)
    for middle in middles(tone):
        off = np.abs(frequencies - middle) - max(HALF_WIDTH, SHARE * middle)
        mask = np.maximum(mask, 0.5 + 0.5 * np.cos(np.pi * np.clip(off / SLOPE, 0.0, 1.0)))
    return mask


def _crackle(count: int, chance: np.random.Generator) -> Sound:
    """Bursts of white noise at random, with a faint floor of dither between them."""
    envelope = np.full(count, 2 / 32767)
    shape = np.hanning(round(BURST * RATE))
    for place in chance.integers(-len(shape), count, round(BURSTS * count / RATE)):
        begin, end = max(0, int(place)), min(count, int(place) + len(shape))
        envelope[begin:end] += LOUD * chance.exponential() * shape[begin - int(place) : end - int(place)]
    return envelope * chance.standard_normal(count)
