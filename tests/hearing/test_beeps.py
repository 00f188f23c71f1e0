"""Edges, tone, level and SNR of a beep against what was put in, against their bounds, and whatever the level."""

import numpy as np
import pytest

from beepwatch.events import Beep, Sounding
from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone
from tests.hearing.scenes import RMS, add, background, beeps, hear, level, matched, spread


def heard(
    count: int, length: float, snr: float, seed: int, *, drift: float = -0.002, least: float = 0.97
) -> list[tuple[Beep, Tone]]:
    """The beeps found of a scene with their truths, a share `least` of them or more; none besides."""
    seconds, tones = spread(count, length, snr, seed, drift=drift)
    told = beeps(hear(add(background(seconds, seed), tones)))
    assert len(told) <= count
    pairs = matched(told, tones)
    assert len(pairs) >= least * count
    return pairs


@pytest.mark.parametrize(
    ("snr", "length_error", "onset_error"), [(0, 0.005, 0.004), (-15, 0.015, 0.012), (-20, 0.05, 0.03)]
)
def test_edges_against_the_truth(snr: float, length_error: float, onset_error: float) -> None:
    """Median error of length and onset of 1.2 s beeps; onsets are unbiased to a third of it and 2 ms."""
    pairs = heard(30, 1.2, snr, 21, least=0.93 if snr < -18 else 0.99)
    onset = np.array([beep.onset - tone.onset for beep, tone in pairs])
    length = np.array([beep.duration - tone.length for beep, tone in pairs])
    assert float(np.median(np.abs(length))) < length_error
    assert float(np.median(np.abs(onset))) < onset_error
    assert abs(float(np.median(onset))) < onset_error / 3 + 0.002


@pytest.mark.parametrize("snr", [-15, -10, 0, 15, 30])
def test_the_length_does_not_depend_on_the_level(snr: float) -> None:
    """1.2 s stays 1.2 s to 12 ms on the median from -15 to +30 dB."""
    durations = [beep.duration for beep, _ in heard(16, 1.2, snr, 22)]
    assert float(np.median(durations)) == pytest.approx(1.2, abs=0.012)


def test_edges_near_their_bound() -> None:
    """At -10 dB the rms onset error is within five times of the bound sqrt(rise / (2 C/N0)) (derived, rise 5 ms).

    Steps of 4 ms and an unknown drift keep it from the bound itself.
    """
    errors = np.array([beep.onset - tone.onset for beep, tone in heard(40, 1.2, -10, 23)])
    bound = np.sqrt(0.005 / (2 * 10 ** (-10 / 10) * RATE / 2))
    assert float(np.sqrt(np.mean(errors**2))) < 5 * bound


@pytest.mark.parametrize("snr", [-18, -10])
def test_the_tone_is_within_thrice_its_bound(snr: float) -> None:
    """0.39 / (T sqrt(rho)) Hz, rho = E / N0 (Rife & Boorstyn 1974), for steady tones of 1.2 s.

    That a tone may drift, which the bound does not allow for, costs the rest.
    """
    errors = np.array([beep.frequency - tone.frequency for beep, tone in heard(30, 1.2, snr, 24, drift=0.0)])
    bound = 0.39 / (1.2 * np.sqrt(10 ** (snr / 10) * 1.2 * RATE / 2))
    assert float(np.median(np.abs(errors))) < 3 * 0.67 * bound


def test_a_drifting_tone_is_told_by_its_mean() -> None:
    """A warm-up drift of 0.2 % or 0.5 %: the mean over the beep, to 1.5 Hz."""
    for drift in (-0.002, 0.005):
        for beep, tone in heard(10, 1.2, 0, 25, drift=drift):
            assert beep.frequency == pytest.approx(tone.mean_frequency, abs=1.5)


@pytest.mark.parametrize("dbfs", [-60.0, -30.0, -6.0, -0.5])
def test_a_sine_has_its_level_in_dbfs(dbfs: float) -> None:
    """Full scale is 0 dBFS (AES17, from memory), whatever the tone lies at between the bins."""
    for frequency in (1000.0, 1003.9, 2731.2, 4433.0):
        quiet = background(6, 26) * np.float32(1e-3)
        [beep] = beeps(hear(add(quiet, [Tone(2.5, 1.2, frequency, dbfs)])))
        assert beep.level == pytest.approx(dbfs, abs=0.15)


@pytest.mark.parametrize("kind", ["white", "pink"])
@pytest.mark.parametrize("snr", [-12, 3, 18])
def test_snr_is_over_all_the_noise_up_to_8_khz(snr: float, kind: str) -> None:
    """Tone over the whole noise, also where its density is not that at the tone; median to 0.5 dB, each to 2 dB."""
    seconds, tones = spread(12, 1.2, snr, 27)
    told = beeps(hear(add(background(seconds, 27, kind), tones)))
    values = [beep.snr for beep, _ in matched(told, tones)]
    assert len(values) >= 11
    assert float(np.median(values)) == pytest.approx(snr, abs=0.6)
    assert float(np.abs(np.array(values) - snr).max()) < 2


def test_scaling_the_sound_changes_levels_alone() -> None:
    """20 dB weaker altogether: the same beeps at the same places to 1 ms, 20 dB lower, the same SNR."""
    seconds, tones = spread(6, 1.2, -8, 28)
    scene = add(background(seconds, 28), tones)
    loud, soft = beeps(hear(scene)), beeps(hear(scene * np.float32(0.1)))
    assert len(loud) == len(soft) == 6
    for one, other in zip(loud, soft, strict=True):
        assert (other.onset, other.duration) == pytest.approx((one.onset, one.duration), abs=0.001)
        assert other.level == pytest.approx(one.level - 20, abs=0.01)
        assert other.snr == pytest.approx(one.snr, abs=0.01)


@pytest.mark.parametrize("frequency", [430.0, 700.0, 2000.0, 3999.0, 5000.0])
def test_tones_from_400_hz_to_5_khz(frequency: float) -> None:
    """At both ends and between, also exactly between two bins."""
    [beep] = beeps(hear(add(background(7, 29), [Tone(3, 1.2, frequency, level(-5))])))
    assert beep.frequency == pytest.approx(frequency, abs=0.5)
    assert (beep.onset, beep.duration) == pytest.approx((3, 1.2), abs=0.03)


@pytest.mark.parametrize("frequency", [150.0, 300.0, 5500.0, 7000.0])
def test_tones_outside_are_not_told(frequency: float) -> None:
    """Below 375 Hz and above 5050 Hz nothing is looked for, also where it is loud."""
    assert not beeps(hear(add(background(7, 30), [Tone(3, 1.2, frequency, level(10))])))


@pytest.mark.parametrize("frequency", [5060.0, 5081.0, 5120.0, 5200.0])
def test_loud_beeps_just_outside_are_no_long_tone_inside(frequency: float) -> None:
    """The splash of their edges opens a track in the band; their image in its baseband is no tone of 13 s."""
    tones = [Tone(3 + 3.3 * i, 0.9, frequency, level(55), ramp=0.002) for i in range(17)]
    told = hear(add(background(60, 3), tones))
    assert not [one for one in told if isinstance(one, Beep) and one.duration > 1]
    assert not [one for one in told if isinstance(one, Sounding)]


@pytest.mark.parametrize(("length", "snr"), [(0.1, 0), (0.3, -13), (0.7, -17), (3, -19), (10, -21), (20, -20)])
def test_a_longer_beep_is_heard_deeper(length: float, snr: float) -> None:
    """From a tenth of a second to the battery alarm's 20 s."""
    heard(max(4, min(30, int(80 / (length + 3)))), length, snr, 31, least=0.9)


@pytest.mark.parametrize("kind", ["white", "pink", "fan", "breathing"])
def test_noise_alone_is_no_beep(kind: str) -> None:
    """Ten minutes of each (the bench counts hours)."""
    told = beeps(hear(background(600, 32, kind)))
    assert not told


def test_the_scene_has_the_snr_it_says() -> None:
    """The helper itself: tone power over noise power in 0-8 kHz, by their mean squares."""
    noise = background(20, 33)
    with_tone = add(np.zeros(20 * RATE, np.float32), [Tone(0.1, 19.8, 2700, level(-7))])
    assert float(np.sqrt(np.mean(noise**2))) == pytest.approx(RMS, rel=0.01)
    assert 10 * np.log10(np.mean(with_tone**2) / np.mean(noise**2)) == pytest.approx(-7, abs=0.15)
