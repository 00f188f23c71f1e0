"""Second opinions on the same beeps, from packages that share no code with ours.

Pitch: librosa.pyin (probabilistic YIN), scipy.signal.periodogram. Onset: librosa.onset, and the analytic signal of
scipy.signal.hilbert after a Butterworth band-pass, which also gives the length.
"""

import warnings

import numpy as np
import pytest
from scipy import signal

from beepwatch.events import Beep
from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone
from tests.hearing.scenes import Floats, add, background, beeps, hear, level

TONES = (523.7, 1411.2, 2714.9, 3907.3)


def scene(frequency: float, snr: float = 12) -> tuple[Floats, Beep]:
    """A beep of 1.2 s at 3 s in 7 s of noise, and what hearing says of it."""
    samples = add(background(7, 41), [Tone(3, 1.2, frequency, level(snr))])
    [beep] = beeps(hear(samples))
    return samples, beep


@pytest.mark.parametrize("frequency", TONES[:2])
def test_pitch_against_librosa_pyin(frequency: float) -> None:
    """The median of voiced frames inside the beep is ours to pyin's own step of a tenth of a semitone (0.6 %)."""
    import librosa  # noqa: PLC0415 - slow to import

    samples, beep = scene(frequency)
    inside = samples[round((beep.onset + 0.1) * RATE) : round((beep.end - 0.1) * RATE)]
    pitch, voiced, _ = librosa.pyin(inside, fmin=400, fmax=2500, sr=RATE, frame_length=1024)
    assert float(np.mean(voiced)) > 0.7
    assert float(np.median(pitch[voiced])) == pytest.approx(beep.frequency, rel=0.006)


@pytest.mark.parametrize("frequency", TONES)
def test_pitch_against_scipy_periodogram(frequency: float) -> None:
    """The peak of one long zero-padded transform of the beep lies within 0.1 Hz."""
    samples, beep = scene(frequency)
    inside = samples[round(beep.onset * RATE) : round(beep.end * RATE)]
    hertz, power = signal.periodogram(inside, RATE, window="boxcar", nfft=1 << 19)
    assert float(hertz[int(np.argmax(power))]) == pytest.approx(beep.frequency, abs=0.1)


@pytest.mark.parametrize("frequency", TONES)
def test_onset_against_librosa(frequency: float) -> None:
    """The strongest onset in lines within 200 Hz of the tone lies within a frame (32 ms) of ours."""
    import librosa  # noqa: PLC0415 - slow to import

    samples, beep = scene(frequency)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        rows = np.abs(librosa.stft(samples, n_fft=512, hop_length=64))
        near = np.abs(librosa.fft_frequencies(sr=RATE, n_fft=512) - frequency) < 200
        strength = librosa.onset.onset_strength(S=librosa.amplitude_to_db(rows[near]), sr=RATE)
    times = librosa.frames_to_time(np.arange(len(strength)), sr=RATE, hop_length=64)
    inside = (times > 1) & (times < 6)
    first = float(times[inside][int(np.argmax(strength[inside]))])
    assert first == pytest.approx(beep.onset, abs=0.032)


@pytest.mark.parametrize("frequency", TONES)
@pytest.mark.parametrize("snr", [6, 25])
def test_edges_against_the_analytic_signal(frequency: float, snr: float) -> None:
    """Half of the plateau's amplitude in a band of 120 Hz, both ways: onset and end to 6 ms."""
    samples, beep = scene(frequency, snr)
    band = signal.butter(2, [frequency - 60, frequency + 60], "bandpass", fs=RATE, output="sos")
    envelope = np.abs(signal.hilbert(signal.sosfiltfilt(band, samples.astype(np.float64))))
    over = np.flatnonzero(envelope > 0.5 * np.median(envelope[round(3.2 * RATE) : round(4.0 * RATE)])) / RATE
    over = over[(over > 2.5) & (over < 4.7)]
    assert (beep.onset, beep.end) == pytest.approx((over[0], over[-1]), abs=0.006)


@pytest.mark.parametrize("frequency", TONES)
def test_level_against_a_goertzel_sum(frequency: float) -> None:
    """Amplitude by one direct sum over the beep, in dB of a full-scale sine."""
    samples, beep = scene(frequency)
    part = samples[round((beep.onset + 0.02) * RATE) : round((beep.end - 0.02) * RATE)].astype(np.float64)
    turn = np.exp(-2j * np.pi * beep.frequency / RATE * np.arange(len(part)))
    assert 20 * np.log10(2 * np.abs(np.mean(part * turn))) == pytest.approx(beep.level, abs=0.15)


def test_noise_told_against_welch() -> None:
    """Density of pink noise by scipy.signal.welch, as if it filled 0-8 kHz, against what is told near four tones."""
    from beepwatch.events import Noise  # noqa: PLC0415 - only here

    samples = background(60, 42, "pink")
    hertz, density = signal.welch(samples, RATE, nperseg=2048)
    events = [event for event in hear(samples) if isinstance(event, Noise)]
    for tone in (600.0, 1200.0, 2600.0, 4600.0):
        near = density[(hertz > tone - 250) & (hertz < tone + 250)].mean()
        told = float(np.median([event.near(tone) for event in events[5:]]))
        assert told == pytest.approx(10 * np.log10(2 * near * 8000), abs=1.2)
