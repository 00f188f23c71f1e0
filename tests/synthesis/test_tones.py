"""Single beeps against independent routines: librosa's pitch, scipy's analytic signal, plain sums."""

import librosa
import numpy as np
import pytest
from scipy.signal import hilbert

from beepwatch.errors import InputError
from beepwatch.synthesis import Tone, beep

RATE = 16_000


@pytest.mark.parametrize("frequency", [450.0, 1424.3, 2730.0])
@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_pitch_as_librosa_hears_it(frequency: float, rate: int) -> None:
    """librosa.yin (de Cheveigne & Kawahara 2002) agrees to 0.5 % (coarser where a period is 6 samples)."""
    samples = beep(frequency, 1.0, rate, harmonics=(-14.0, -10.0))
    track = librosa.yin(samples, fmin=400, fmax=4500, sr=rate, frame_length=2048)
    assert float(np.median(track[8:-8])) == pytest.approx(frequency, rel=0.005)


def test_pitch_track_follows_the_warm_up() -> None:
    """librosa.pyin (Mauch & Dixon 2014) sees 3 % of drift at the start and almost none at the end."""
    samples = beep(1000.0, 2.0, RATE, drift=0.03, warm_up=0.4)
    track, voiced, _ = librosa.pyin(samples, fmin=600, fmax=1600, sr=RATE, frame_length=1024, resolution=0.01)
    at = librosa.times_like(track, sr=RATE, hop_length=256)
    inside = voiced & (at > 0.1) & (at < 1.9)
    expected = 1000 * (1 + 0.03 * np.exp(-at / 0.4))
    assert np.count_nonzero(inside) > 90
    assert np.max(np.abs(track[inside] / expected[inside] - 1)) < 0.004


def test_mean_frequency_is_the_number_of_turns_over_the_length() -> None:
    """The unwrapped phase of scipy.signal.hilbert's analytic signal turns as often as the property says."""
    tone = Tone(0.0, 1.5, 2000.0, drift=0.02, warm_up=0.6, ramp=0.0)
    turns = np.unwrap(np.angle(hilbert(tone.at(0, 24_000, RATE)))) / (2 * np.pi)
    inner = turns[23_900] - turns[100]
    assert tone.mean_frequency * 1.5 == pytest.approx(inner * 24_000 / 23_800, rel=5e-4)


@pytest.mark.parametrize("level", [0.0, -20.0, -66.0])
def test_level_of_a_full_scale_sine_is_0_dbfs(level: float) -> None:
    """The mean square of the steady part, summed plainly, is half the amplitude squared (AES17, memory)."""
    steady = beep(1000.0, 1.0, RATE, level=level)[800:-800].astype(float)
    assert 10 * np.log10(2 * np.mean(steady**2)) == pytest.approx(level, abs=0.01)


def test_harmonics_stand_where_and_as_high_as_asked() -> None:
    """Direct sums at 2 and 3 times the tone give the dB asked for; one over half the rate is left out."""
    samples = beep(2500.0, 1.0, RATE, harmonics=(-6.0, -12.0, 0.0))[160:-160].astype(float)
    t = np.arange(len(samples)) / RATE
    window = np.hanning(len(samples))
    line = [abs(np.sum(window * samples * np.exp(-2j * np.pi * f * t))) for f in (2500, 5000, 7500, 6000)]
    db = 20 * np.log10(np.array(line) / line[0])
    assert db[1:3] == pytest.approx([-6, -12], abs=0.05)
    assert db[3] < -60


def test_edges_lie_where_the_envelope_passes_half() -> None:
    """The analytic envelope (scipy) is half at onset and end, to 0.2 ms, whatever the ramp."""
    for ramp in (0.004, 0.02, 0.1):
        tone = Tone(0.5, 1.2, 3000.0, ramp=ramp)
        envelope = np.abs(hilbert(tone.at(0, 2 * RATE, RATE)))
        over = np.flatnonzero(envelope >= 0.5) / RATE
        assert over[0] == pytest.approx(0.5, abs=2e-4)
        assert over[-1] == pytest.approx(1.7, abs=2e-4)


def test_any_piece_is_a_piece_of_the_whole() -> None:
    """A tone made in blocks is the tone, and is zero outside its begin and end."""
    tone = Tone(0.1, 0.3, 2730.0, -6.0, (-10.0,), 0.01, 0.2, 0.01, 1.0)
    whole = tone.at(0, 8000, RATE)
    parts = [tone.at(first, 1000, RATE) for first in range(0, 8000, 1000)]
    assert np.array_equal(np.concatenate(parts), whole)
    assert not whole[: int(tone.begin * RATE)].any()
    assert not whole[int(tone.end * RATE) + 1 :].any()


def test_a_tone_past_half_the_rate_is_refused() -> None:
    """It would come out at another frequency."""
    with pytest.raises(InputError, match="4100 Hz does not fit a rate of 8000 Hz"):
        beep(4100.0, 1.0, 8000)
