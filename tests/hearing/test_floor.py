"""The noise floor: it follows the room, is not lifted by a beep, and survives digital silence."""

import numpy as np
import pytest

from beepwatch.events import Noise
from beepwatch.hearing import RATE, Hearing
from beepwatch.hearing.floor import BLOCK, NoiseFloor, running_median
from beepwatch.hearing.spectrum import BAND_BINS, BANDS, BINS, HOP_SECONDS, Floats
from beepwatch.synthesis import Tone
from tests.hearing.scenes import RMS, add, background, beeps, found, hear, level
from tests.hearing.spectra import normalised, power_rows


def ratios(samples: Floats) -> Floats:
    """Power over noise of a scene without tracks, each frame by a floor that knows only what came before."""
    rows = power_rows(samples)
    floor = NoiseFloor(rows[:16])
    out = []
    for first in range(0, len(rows) - BLOCK + 1, BLOCK):
        ratio, gains = normalised(floor, rows[first : first + BLOCK])
        floor.learn(ratio, gains, np.zeros(BINS, np.bool_))
        out.append(ratio)
    return np.concatenate(out)


@pytest.mark.parametrize("kind", ["white", "pink", "fan", "breathing"])
def test_noise_of_any_colour_and_swell_comes_out_flat(kind: str) -> None:
    """After ten seconds each frame and each band has the mean ratio 1, to 1 dB and 0.3 dB; a breath swells by 12 dB."""
    ratio = ratios(background(90, 1, kind))[160:]
    frames = 10 * np.log10(ratio.mean(axis=1))
    bands = 10 * np.log10(ratio.reshape(len(ratio), BANDS, BAND_BINS).mean(axis=(0, 2)))
    assert float(np.quantile(np.abs(frames), 0.99)) < 1
    assert float(np.abs(bands).max()) < 0.4


@pytest.mark.parametrize("step", [-15.0, 6.0, 15.0])
def test_a_step_of_the_noise_is_followed_within_a_frame_or_two(step: float) -> None:
    """A door opens: 0.2 s later frames are flat again."""
    samples = background(60, 2)
    samples[30 * RATE :] *= np.float32(10 ** (step / 20))
    ratio = ratios(samples)
    later = ratio[round(30.2 / HOP_SECONDS) : round(34 / HOP_SECONDS)]
    assert float(np.abs(10 * np.log10(later.mean(axis=1))).max()) < 1


def told(samples: Floats) -> list[Noise]:
    """The noise that is told."""
    return [event for event in hear(samples) if isinstance(event, Noise)]


def test_the_noise_told_is_that_of_the_room_in_dbfs() -> None:
    """White noise of RMS 0.01: -37 dBFS in each band (full-scale sine 0), each 2 s, to a tenth of a dB."""
    events = told(background(40, 3))
    assert all(db == round(db, 1) for event in events for _, db in event.bands)
    assert np.diff([event.at for event in events]) == pytest.approx(np.full(len(events) - 1, 2.048))
    levels = [event.near(tone) for event in events[2:] for tone in (450, 1000, 3000, 4900)]
    assert levels == pytest.approx(np.full(len(levels), 10 * np.log10(2 * RMS**2)), abs=0.7)


def test_the_noise_told_follows_a_louder_room_within_seconds() -> None:
    """6 s after a step of 12 dB it is told."""
    samples = background(60, 4)
    samples[30 * RATE :] *= 4
    before = [event.near(2000) for event in told(samples) if 20 < event.at < 30]
    after = [event.near(2000) for event in told(samples) if event.at > 36]
    assert float(np.mean(after) - np.mean(before)) == pytest.approx(12.04, abs=1)


@pytest.mark.parametrize("snr", [-10.0, 10.0, 30.0])
def test_a_20_s_beep_does_not_lift_the_floor(snr: float) -> None:
    """Noise told near it moves by under 1.5 dB, and a weak beep of the same tone 3 s later is found."""
    tones = [Tone(6, 20, 2700, level(snr)), Tone(32, 1.2, 2703, level(-14))]
    samples = add(background(40, 5), tones)
    levels = [event.near(2700) for event in told(samples)]
    assert max(levels) - min(levels) < 1.5
    heard = beeps(hear(samples))
    assert all(found(heard, tone) for tone in tones)


def test_20_s_beeps_each_minute_do_not_lift_the_floor() -> None:
    """The battery alarm: the tenth is heard as the first, its noise and length as well."""
    tones = [Tone(5 + 60 * i, 20, 3000, level(-8)) for i in range(5)]
    heard = beeps(hear(add(background(300, 6), tones)))
    assert len(heard) == 5
    assert [beep.duration for beep in heard] == pytest.approx(np.full(5, 20), abs=0.06)
    assert [beep.snr for beep in heard] == pytest.approx(np.full(5, -8), abs=0.8)


@pytest.mark.parametrize("seconds", [3, 40, 90])
def test_digital_silence_and_its_end_are_survived(seconds: int) -> None:
    """Zeros between two stretches of a room tell nothing; beeps before and 4 s after them are heard as ever."""
    tones = [Tone(5, 1.2, 2700, level(0)), Tone(10, 1.2, 2700, level(-12))]
    room = add(background(14, 7), tones)
    heard = beeps(hear(np.concatenate([room, np.zeros(seconds * RATE, np.float32), room])))
    again = 14 + seconds
    assert [beep.onset for beep in heard] == pytest.approx([5, 10, again + 5, again + 10], abs=0.03)
    assert [beep.snr for beep in heard] == pytest.approx([0, -12, 0, -12], abs=1)


def test_a_stream_that_begins_with_zeros_is_heard_once_sound_comes() -> None:
    """Drivers often start so."""
    tone = Tone(2.5, 1.2, 2700, level(0))
    samples = np.concatenate([np.zeros(2 * RATE, np.float32), add(background(8, 8), [tone])])
    [beep] = beeps(hear(samples))
    assert beep.onset == pytest.approx(4.5, abs=0.02)


def test_zeros_alone_tell_nothing_but_a_floor_that_is_finite() -> None:
    """No beep, no warning, and a finite noise at the least level of the converter."""
    events = hear(np.zeros(20 * RATE, np.float32))
    assert not beeps(events)
    levels = [event.near(2000) for event in events if isinstance(event, Noise)]
    assert np.isfinite(levels).all()
    assert max(levels) < -90


def test_full_scale_noise_and_a_constant_offset_tell_nothing() -> None:
    """Clipped noise with a DC offset is no beep either."""
    loud = np.clip(background(20, 9) * 60 + np.float32(0.3), -1, 1)
    assert not beeps(hear(loud.astype(np.float32)))


def test_a_running_median_by_its_definition() -> None:
    """Against numpy, one window at a time, ends repeated."""
    values = np.random.default_rng(10).exponential(size=BINS).astype(np.float32)
    padded = np.concatenate([np.full(20, values[0]), values, np.full(20, values[-1])])
    plain = [np.median(padded[k : k + 41]) for k in range(BINS)]
    assert np.allclose(running_median(values), plain)


def test_clicks_and_thumps_are_no_beeps() -> None:
    """A click each second, 30 dB over the noise, and dull thumps of 80 ms."""
    rng = np.random.default_rng(11)
    samples = background(60, 11)
    for second in range(3, 58):
        at = second * RATE + int(rng.integers(0, 8000))
        samples[at : at + 30] += (rng.standard_normal(30) * 0.3).astype(np.float32)
        n = np.arange(1280)
        samples[at + 6000 : at + 7280] += (0.2 * np.sin(2 * np.pi * 90 * n / RATE) * np.exp(-n / 300)).astype(
            np.float32
        )
    hearing = Hearing()
    assert not beeps(hearing.push(samples[None]) + hearing.flush())
