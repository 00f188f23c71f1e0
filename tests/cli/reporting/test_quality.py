"""Notes on a recording as sound: silence, clipping, gaps, a short file, a low rate."""

import numpy as np
import pytest

from beepwatch.cli.reporting.quality import Quality
from beepwatch.cli.reporting.words import clock, count, lasted, tone

RATE = 8000


def quality(samples: np.ndarray[tuple[int], np.dtype[np.float32]], channels: int = 1) -> Quality:
    """What one block of equal channels shows."""
    seen = Quality(RATE)
    seen.take(np.repeat(samples[:, np.newaxis], channels, axis=1))
    return seen


def test_a_good_recording_has_no_notes() -> None:
    """Loud, but not clipped; two samples at full scale are a peak."""
    samples = np.full(RATE, 0.5, np.float32)
    samples[100:102] = 1.0
    assert quality(samples).after() == []
    assert Quality(16_000).before(None) == []


def test_digital_silence_is_told() -> None:
    """All zeros: the microphone was off or muted."""
    assert quality(np.zeros(RATE, np.float32)).after() == [
        "all of it is digital silence: was the microphone off or muted?"
    ]


@pytest.mark.parametrize("level", [1.0, -1.0, 32767 / 32768, 1.7])
def test_clipping_is_counted(level: float) -> None:
    """Runs of three or more samples at full scale, in each channel."""
    samples = np.zeros(RATE, np.float32)
    samples[10:13] = samples[20:30] = level
    samples[50] = level
    assert quality(samples, 2).after()[0].startswith("clipped (26 samples at full scale)")


def test_nan_is_a_gap() -> None:
    """Its length is told and is not counted as heard; one broken channel of two is none."""
    samples = np.full(RATE, 0.1, np.float32)
    samples[:4000] = np.nan
    seen = quality(samples, 2)
    assert seen.gaps == 0.5
    assert seen.after() == ["0.5 s hold no numbers (NaN) and were taken as a gap"]
    half = Quality(RATE)
    half.take(np.stack([samples, np.full(RATE, 0.1, np.float32)], axis=1))
    assert half.gaps == 0


def test_one_sample_is_told() -> None:
    """A block of one sample is no reason to fail."""
    assert quality(np.full(1, 0.1, np.float32)).after() == ["only 1 sample: too short for a beep"]
    assert quality(np.ones(2, np.float32)).after() == ["only 2 samples: too short for a beep"]


def test_low_rates_declare_what_is_not_heard() -> None:
    """8 kHz: nothing above 3.6 kHz; a device's tone above that is named."""
    assert Quality(8000).before(2700.0) == ["sampled at 8 kHz: tones above 3.6 kHz are not heard"]
    assert "the tone of 4 kHz lies above them" in Quality(8000).before(4000.0)[1]
    assert Quality(11_025).before(None) == ["sampled at 11.025 kHz: tones above 4.96 kHz are not heard"]


def test_words() -> None:
    """Times, lengths, tones and counts as a person reads them."""
    assert [clock(x) for x in (-0.1, 24.9, 3723)] == ["0:00", "0:24", "1:02:03"]
    assert [lasted(x) for x in (-1, 0.44, 9.96, 59.7, 300, 28_920)] == [
        "0.0 s",
        "0.4 s",
        "10 s",
        "1 min 0 s",
        "5 min 0 s",
        "8 h 2 min",
    ]
    assert [tone(520.2), tone(2730.1)] == ["520 Hz", "2.73 kHz"]
    assert [count(1, "beep"), count(2, "beep")] == ["1 beep", "2 beeps"]
