"""The wake tone against what is published about waking, and against every pattern that beepwatch listens for."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import hilbert, periodogram

from beepwatch.channels.rounds import Round, render
from beepwatch.channels.tone import (
    END,
    FREQUENCY,
    INTERVALS,
    PEAK,
    PULSE,
    PULSES,
    Samples,
    onsets,
    wake_tone,
)
from beepwatch.patterns.profiles import Breaths, Bursts, LongTone, Steady, packaged

RATE = 48_000
ROOM = 0.7 * 10 / 60
"""s by which a room of T60 0.7 s lengthens a pulse that is cut 10 dB below its plateau (computed)."""
BRIDGED = 0.4
"""s: hearing bridges no longer gap."""


def spectrum(rate: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(Hz, power) of the steady part of one pulse, by scipy's periodogram: 1 Hz a bin."""
    pulse = wake_tone(rate)[round(0.01 * rate) : round((PULSE - 0.01) * rate)]
    bins, power = periodogram(pulse.astype(np.float64), rate, window="blackman", nfft=rate)
    return bins, power


def level(rate: int, frequency: float) -> float:
    """dB of the line at this frequency, within 5 Hz."""
    bins, power = spectrum(rate)
    return float(10 * np.log10(power[np.abs(bins - frequency) < 5].max()))


def pulses(samples: Samples, rate: int) -> list[tuple[float, float]]:
    """(onset, length) of each pulse, from the envelope: not from the constants that made it."""
    envelope = np.convolve(np.abs(hilbert(samples)), np.ones(rate // 200) / (rate // 200), "same")
    on = np.concatenate([[0], (envelope > 0.25 * envelope.max()).astype(int), [0]])
    starts, ends = np.flatnonzero(np.diff(on) == 1), np.flatnonzero(np.diff(on) == -1)
    return [(s / rate, (e - s) / rate) for s, e in zip(starts, ends, strict=True)]


@pytest.mark.parametrize("rate", [16_000, 22_050, 44_100, 48_000, 96_000])
def test_the_strongest_line_is_520_hz(rate: int) -> None:
    """520 Hz within 1 %, where 10 % are allowed (NFPA 72 18.4, quoted), at any rate a device may have."""
    bins, power = spectrum(rate)
    assert bins[np.argmax(power)] == pytest.approx(520, rel=0.01)


def test_the_spectrum_is_that_of_a_square_wave() -> None:
    """Odd harmonics fall by 1/k, even ones are absent (Thomas & Bruck 2008 woke sleepers with such a wave)."""
    first = level(RATE, FREQUENCY)
    for k in (3, 5, 7, 9):
        assert level(RATE, k * FREQUENCY) - first == pytest.approx(-20 * np.log10(k), abs=0.3)
    for k in (2, 4, 6):
        assert level(RATE, k * FREQUENCY) < first - 60


@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100])
def test_nothing_folds_back(rate: int) -> None:
    """Band-limited: no line above the highest harmonic made, none between the harmonics."""
    bins, power = spectrum(rate)
    near = np.abs(bins / FREQUENCY - np.round(bins / FREQUENCY)) < 0.1
    assert power[~near].max() < 1e-6 * power.max()


def test_it_is_as_loud_as_full_scale_allows_and_does_not_clip() -> None:
    """Peak 0.95; while a pulse lasts, a sine of that peak would be quieter."""
    tone = wake_tone(RATE)
    assert np.abs(tone).max() == pytest.approx(PEAK, abs=1e-6)
    pulse = tone[round(0.02 * RATE) : round((PULSE - 0.02) * RATE)]
    assert np.sqrt(np.mean(np.square(pulse))) > PEAK / np.sqrt(2)


def test_a_rate_too_low_is_refused() -> None:
    """One sentence with the value."""
    with pytest.raises(ValueError, match="rate=3000"):
        wake_tone(3000)


@pytest.mark.parametrize("number", PULSES)
def test_the_samples_have_the_rhythm_that_the_constants_say(number: int) -> None:
    """Measured on the envelope: each onset within 5 ms, each length within 15 ms."""
    found = pulses(wake_tone(RATE, number), RATE)
    assert [onset for onset, _ in found] == pytest.approx(onsets(number), abs=0.005)
    assert [length for _, length in found] == pytest.approx([PULSE] * len(found), abs=0.015)


def test_the_first_pulse_begins_at_once() -> None:
    """No wait before the first sound: within 10 ms it is at half its peak."""
    assert np.abs(wake_tone(RATE)[: RATE // 100]).max() > 0.5 * PEAK


def test_no_pulse_has_the_length_of_any_pattern() -> None:
    """Dry or lengthened by a room, a pulse is no breath, no long tone and no pulse of any standard's burst."""
    for profile in packaged():
        for length in (PULSE, PULSE + ROOM / 2, PULSE + ROOM):
            match profile:
                case Breaths() | LongTone():
                    assert not profile.length[0] <= length <= profile.length[1], profile.name
                case Bursts():
                    low, high = profile.pulse
                    assert not low - profile.slack <= length <= high + profile.slack, profile.name


def test_it_is_no_burst_of_a_medical_device() -> None:
    """IEC 60601-1-8, tables 3 and 4 (quoted): pulses of 75-250 ms in bursts of ten or three, 50-250 ms apart, with four
    lines at least within 15 dB: here each pulse and each pause is longer, no group has three, and three lines are.
    """
    assert PULSE > 0.25
    assert min(INTERVALS) - PULSE > 0.25
    spectrum_lines = [k for k in range(1, 8) if level(RATE, k * FREQUENCY) > level(RATE, FREQUENCY) - 15]
    assert len(spectrum_lines) < 4


def test_it_is_no_evacuation_signal() -> None:
    """ISO 8201, temporal three (read in building codes): 0.5 s on, 0.5 s off, three times, 1.5 s off, each +-10 %."""
    gaps = [interval - PULSE for interval in INTERVALS]
    assert not 0.45 <= PULSE <= 0.55
    assert not [gap for gap in pairwise(gaps) if all(0.45 <= one <= 0.55 for one in gap)]


def test_no_two_pulses_are_bridged_into_a_long_one() -> None:
    """Each pause outlasts what hearing bridges, even with the room's decay in it."""
    assert min(INTERVALS) - PULSE > BRIDGED
    assert min(INTERVALS) - PULSE - ROOM > PULSE / 4  # the rule for short beeps: a quarter of the beep


def test_there_are_never_three_pulses_in_a_group() -> None:
    """The evacuation signal is groups of three (ISO 8201): here are groups of one and two."""
    groups, size = [], 1
    for interval in INTERVALS:
        if interval < 1.0:
            size += 1
        else:
            groups.append(size)
            size = 1
    assert {*groups, size} == {1, 2}


def test_no_three_pulses_in_a_row_are_evenly_spaced() -> None:
    """Neighbouring intervals differ by an eighth at least; the evacuation signal's two are alike (ISO 8201)."""
    for before, after in pairwise(INTERVALS):
        assert max(before, after) / min(before, after) > 1.125


def even(times: tuple[float, ...]) -> bool:
    """Are these evenly spaced, within 6 %, at the period of breaths?"""
    (breaths,) = [profile for profile in packaged() if isinstance(profile, Breaths)]
    low, high = breaths.period
    steps = [after - before for before, after in pairwise(times)]
    return low <= steps[0] <= high and all(abs(step - steps[0]) <= 0.06 * steps[0] for step in steps)


def test_pulses_do_not_keep_the_time_of_breaths() -> None:
    """Neighbours or not: no three of the shortest row and no four of the longest are evenly spaced."""
    assert not [times for times in combinations(onsets(), 3) if even(times)]
    assert not [times for times in combinations(onsets(max(PULSES)), 4) if even(times)]


def test_rounds_do_not_repeat_in_even_time() -> None:
    """Any five rounds in a row differ in length by more than a steady beeping may: its periods' relative sd."""
    (steady,) = [profile for profile in packaged() if isinstance(profile, Steady)]
    tones = [onsets(number)[-1] + PULSE for number in PULSES] * 2
    for speech in (0.0, 15.0, 32.0):
        lengths = [tone + speech for tone in tones]
        for start in range(len(PULSES)):
            five = lengths[start : start + steady.beeps_known]
            assert np.std(five) / np.mean(five) > steady.wander


def test_each_round_ends_in_half_a_second_of_silence() -> None:
    """A sound server may drop the last 0.02-0.3 s when a stream closes (measured): nothing is there to lose."""
    samples, _ = render(Round((1,), "high"), None, RATE)
    assert END == 0.5
    assert not samples[-RATE // 2 :].any()
    assert samples[: len(wake_tone(RATE))].any()
