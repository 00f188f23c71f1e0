"""Several channels of one device, and sound that ends at 4 kHz."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import fftconvolve

from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone
from tests.hearing.rooms import bedroom, two_places
from tests.hearing.scenes import Floats, add, background, beeps, found, hear, level, matched, spread


def scene(snr: float, seed: int = 91) -> tuple[Floats, list[Tone]]:
    """Twelve beeps."""
    seconds, tones = spread(12, 1.2, snr, seed)
    return add(background(seconds, seed), tones), tones


def noise_like(samples: Floats, seed: int, gain: float = 1.0) -> Floats:
    """Noise alone, as long."""
    return background(len(samples) / RATE, seed)[: len(samples)] * np.float32(gain)


def spoilt(other: str, good: Floats, tones: list[Tone]) -> Floats:
    """The second channel: deaf ones hold no tones, the others all of them."""
    noise = noise_like(good, 92)
    deaf = {
        "dead": noise * 0,
        "deaf": noise,
        "10 dB more noise": noise_like(good, 92, 3.2),
        "30 dB more noise": noise_like(good, 92, 31.6),
        "60 dB more noise": noise_like(good, 92, 1000),
        "clicking": noise + np.where(np.arange(len(good)) % (RATE // 3) == 0, np.float32(0.5), np.float32(0)),
        "DC": noise + np.float32(0.3),
    }
    if other in deaf:
        return deaf[other]
    hearing = add(noise, tones)
    late = add(noise, [replace(tone, onset=tone.onset + 0.003) for tone in tones])
    return {
        "heard in 30 dB more noise": add(noise_like(good, 92, 31.6), tones),
        "20 dB quieter": hearing * np.float32(0.1),
        "opposite": noise - (hearing - noise),
        "a metre further": late,
        "clipping": np.clip(hearing * 100, -1, 1),
        "offset": hearing + np.float32(0.3),
    }[other]


DEAF = ["dead", "deaf", "10 dB more noise", "30 dB more noise", "60 dB more noise", "clicking", "DC"]
HEARING = ["heard in 30 dB more noise", "20 dB quieter", "opposite", "a metre further", "clipping", "offset"]


@pytest.mark.parametrize("other", DEAF + HEARING)
@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("snr", [-12.0, 0.0])
def test_a_bad_channel_does_no_harm(other: str, first: bool, snr: float) -> None:
    """One channel hears, the other is spoilt: no beep is lost or cut at -12 dB or 0 dB, none added."""
    good, tones = scene(snr)
    bad = spoilt(other, good, tones)
    heard = beeps(hear(np.stack([good, bad] if first else [bad, good]), 2))
    assert len(matched(heard, tones)) == len(tones) == len(heard)


@pytest.mark.parametrize("snr", [-12.0, 0.0])
def test_a_channel_that_is_noisy_each_second_5_s_does_no_harm(snr: float) -> None:
    """30 dB more noise in the second channel, on and off."""
    good, tones = scene(snr, 94)
    bad = add(noise_like(good, 95), tones)
    loud = (np.arange(len(good)) // (5 * RATE)) % 2 == 1
    bad[loud] += noise_like(good, 96, 31.6)[loud]
    heard = beeps(hear(np.stack([good, bad]), 2))
    assert len(matched(heard, tones)) == len(tones) == len(heard)


def test_a_channel_that_dies_and_comes_back_does_no_harm() -> None:
    """Zeros for 20 s in the middle of one channel."""
    good, tones = scene(-12, 93)
    bad = add(noise_like(good, 94), tones)
    bad[10 * RATE : 30 * RATE] = 0
    heard = beeps(hear(np.stack([good, bad]), 2))
    assert len(matched(heard, tones)) == len(tones) == len(heard)


@pytest.mark.parametrize("snr", [-12.0, 5.0])
def test_a_fade_of_one_channel_does_not_matter(snr: float) -> None:
    """Each beep is 20 dB down in one of the two channels, by turns."""
    seconds, tones = spread(12, 1.2, snr, 95)
    faded = [Tone(t.onset, t.length, t.frequency, t.level - 20, drift=t.drift, warm_up=0.3) for t in tones]
    left = [one if i % 2 else other for i, (one, other) in enumerate(zip(tones, faded, strict=True))]
    right = [other if i % 2 else one for i, (one, other) in enumerate(zip(tones, faded, strict=True))]
    stereo = np.stack([add(background(seconds, 95), left), add(background(seconds, 96), right)])
    heard = beeps(hear(stereo, 2))
    assert len(matched(heard, tones)) == len(tones) == len(heard)
    assert [beep.level for beep in heard] == pytest.approx([level(snr)] * 12, abs=1.5)


@pytest.mark.parametrize("snr", [0.0, 10.0, 20.0])
def test_two_places_in_a_room_leave_the_length_as_it_is(snr: float) -> None:
    """At each of the two the echoes are others; added up to find the edges they made a beep up to 90 ms too long."""
    tones = [Tone(3 + 3 * i, 1.0, 2300 + 200 * i, level(snr), drift=-0.002, warm_up=0.3) for i in range(10)]
    dry = add(np.zeros(34 * RATE, np.float32), tones)
    places = [fftconvolve(dry, bedroom(seed).response)[: len(dry)] for seed in (515, 516)]
    gain = float(np.sqrt(np.square(dry).sum() / np.square(places).mean(axis=0).sum()))
    sound = np.stack([background(34, seed) + gain * place for seed, place in enumerate(places)])
    told = beeps(hear(sound.astype(np.float32), 2))
    errors = sorted(abs(beep.duration - 1.0) for beep in told)
    assert len(errors) == 10
    assert errors[5] < 0.01
    assert errors[7] < 0.025


@pytest.mark.parametrize(("seed", "hertz"), [(1023, 4300), (1027, 4200), (1034, 3000)])
def test_pulses_are_told_apart_by_the_channel_that_shows_them(seed: int, hertz: float) -> None:
    """0.1 s on, 0.1 s off; 10 cm apart echoes fill the pauses in one place (none told there) and not in the other."""
    tones = [Tone(3 + 5.7 * group + 0.2 * i, 0.1, hertz, level(15)) for group in range(2) for i in range(4)]
    dry = add(np.zeros(13 * RATE, np.float32), tones)
    places = np.stack([fftconvolve(dry, response)[: len(dry)] for response in two_places(seed, 0.1)])
    gain = np.sqrt(np.mean(dry**2) / np.mean(places[0] ** 2))
    sound = (np.stack([background(13, 94), background(13, 95)]) + gain * places).astype(np.float32)
    assert sorted(len(matched(beeps(hear(channel)), tones)) for channel in sound) == [0, 8]
    assert len(matched(beeps(hear(sound, 2)), tones)) == 8


def test_two_channels_hear_deeper_than_one() -> None:
    """At -22 dB in each, with noises of their own, two find more beeps than the better one of them."""
    seconds, tones = spread(40, 1.2, -22.5, 97)
    ears = [add(background(seconds, seed), tones) for seed in (97, 98)]
    alone = [len(matched(beeps(hear(ear)), tones)) for ear in ears]
    both = len(matched(beeps(hear(np.stack(ears), 2)), tones))
    assert both > max(alone)


@pytest.mark.parametrize(("frequency", "told"), [(1000.0, True), (3500.0, True), (3700.0, False), (3950.0, False)])
def test_at_8_khz_tones_over_3600_hz_are_unheard(frequency: float, told: bool) -> None:
    """With a bandwidth of 4 kHz its filter's edge begins there; what lies below is heard as ever."""
    tone = Tone(4, 1.2, frequency, level(5))
    heard = beeps(hear(add(background(10, 99), [tone]), bandwidth=4000.0))
    assert (found(heard, tone) is not None) == told
    assert len(heard) == told


def test_sound_that_ends_at_4_khz_is_heard_below() -> None:
    """Resampled from 8 kHz: nothing above 4 kHz, no false beep at the filter's edge, beeps found."""
    import soxr  # noqa: PLC0415 - only here

    tones = [Tone(4 + 4 * i, 1.2, 600 + 450 * i, level(-8)) for i in range(6)]
    scene8 = soxr.resample(add(background(40, 100), tones), RATE, 8000)
    scene16 = soxr.resample(scene8, 8000, RATE).astype(np.float32)
    heard = beeps(hear(scene16, bandwidth=4000.0))
    assert len(matched(heard, tones)) == len(heard) == 6
