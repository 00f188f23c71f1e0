"""A tone that moves by bins within half a second is one beep, and its own course is no company for it."""

import numpy as np
import pytest
from scipy.signal import fftconvolve

from beepwatch.events import Beep, Raised
from beepwatch.hearing import RATE
from beepwatch.hearing.drift import Drift
from beepwatch.recognizer import Recognizer
from beepwatch.synthesis import Tone
from tests.hearing.rooms import bedroom
from tests.hearing.scenes import Floats, add, background, beeps, hear, level

STRAIGHT = 4.0
"""s: so long a warm-up is straight over a beep."""


def gliding(onset: float, frequency: float, snr: float, share: float) -> Tone:
    """1.2 s in which the frequency moves by `share` of it, all but straight."""
    drift = share / (1 - float(np.exp(-1.2 / STRAIGHT)))
    return Tone(onset, 1.2, frequency, level(snr), drift=drift, warm_up=STRAIGHT)


@pytest.mark.parametrize("share", [-0.03, -0.02, 0.02, 0.03])
@pytest.mark.parametrize("frequency", [1500.0, 2900.0, 4500.0])
def test_a_drift_of_three_percent_within_a_breath_is_followed(frequency: float, share: float) -> None:
    """One beep, edges to 30 ms, told by its mean tone, pure and alone."""
    tone = gliding(3, frequency, 6, share)
    [beep] = beeps(hear(add(background(8, 75), [tone])))
    assert (beep.onset, beep.duration) == pytest.approx((3, 1.2), abs=0.03)
    assert beep.frequency == pytest.approx(tone.mean_frequency, rel=0.001)
    assert beep.character.purity > 0.95
    assert min(beep.character.neighbours, beep.character.company) > 20


def test_it_is_followed_where_it_is_weak() -> None:
    """At -6 dB: 3 % of 1.5 kHz, in eight places."""
    tones = [gliding(3 + 4.03 * i, 1500, -6, 0.03) for i in range(8)]
    heard = beeps(hear(add(background(38, 76), tones)))
    assert [one.onset for one in heard] == pytest.approx([tone.onset for tone in tones], abs=0.06)
    assert [one.duration for one in heard] == pytest.approx([1.2] * 8, abs=0.06)


def test_a_course_that_turns_is_followed() -> None:
    """Up by 2 % and down again."""
    time = np.arange(round(1.2 * RATE)) / RATE
    hertz = 2900 * (1 + 0.02 * np.sin(np.pi * time / 1.2))
    sound: Floats = background(8, 77)
    amplitude = 10 ** (level(10) / 20) * np.sqrt(2)
    sound[3 * RATE : 3 * RATE + len(time)] += (amplitude * np.sin(2 * np.pi * np.cumsum(hertz) / RATE)).astype(
        np.float32
    )
    [beep] = beeps(hear(sound))
    assert (beep.onset, beep.duration) == pytest.approx((3, 1.2), abs=0.08)
    assert beep.frequency == pytest.approx(float(hertz.mean()), rel=0.002)


def test_a_null_that_it_passes_does_not_cut_it() -> None:
    """3 % of 3 kHz within 1.2 s: 0.16 s of it, in a null some 12 Hz wide, is 20 dB weaker."""
    tone = gliding(3, 3000, 10, 0.03)
    sound = add(np.zeros(8 * RATE, np.float32), [tone])
    time = np.arange(len(sound)) / RATE
    sound[np.abs(time - 3.6) < 0.08] *= 0.1
    [beep] = beeps(hear(background(8, 81) + sound))
    assert (beep.onset, beep.duration) == pytest.approx((3, 1.2), abs=0.03)


def test_breaths_that_glide_are_named_in_time() -> None:
    """Lead-disconnect at 3 %, untaught: within a second of the third beep's end."""
    tones = [gliding(5 + 4 * i, 2900, 6, 0.03) for i in range(6)]
    recognizer = Recognizer(1)
    events = recognizer.push(add(background(30, 78), tones)[:, None]) + recognizer.flush()
    [raised] = [event for event in events if isinstance(event, Raised)]
    assert raised.alarm.pattern == "lead-disconnect"
    assert raised.at - (5 + 8 + 1.2) < 1.0


def test_a_tone_beside_it_is_a_beep_of_its_own() -> None:
    """A steady one, 700 Hz higher, that begins and ends with it."""
    tones = [gliding(3, 2400, 6, 0.03), Tone(3, 1.2, 3100, level(6))]
    heard = sorted(beeps(hear(add(background(8, 79), tones))), key=lambda one: one.frequency)
    assert [one.frequency for one in heard] == [pytest.approx(tone.mean_frequency, rel=0.002) for tone in tones]


@pytest.mark.parametrize(("drift", "moved"), [(0.0, 0.0), (0.005, 13.3), (-0.01, 26.6)])
def test_how_far_a_tone_moves_is_told(drift: float, moved: float) -> None:
    """10 s that settle within 4 s: the part of the drift that is left at the end is not moved through."""
    tone = Tone(3, 10, 2900, level(0), drift=drift, warm_up=4.0)
    [beep] = beeps(hear(add(background(16, 80), [tone])))
    assert beep.character.moved == pytest.approx(moved, abs=0.6)


@pytest.mark.parametrize("seed", [30_004, 30_009, 30_015])
def test_a_battery_tone_that_drifts_in_a_room_is_named_at_its_end(seed: int) -> None:
    """10 s that move by 1 %: the room makes them 7 to 12 dB uneven, each sound by sound."""
    rng = np.random.default_rng([seed, 2])
    tone = Tone(6, 10, float(rng.uniform(1900, 4600)), 0.0, (-20.0, -26.0), drift=0.01, warm_up=10.0)
    dry = tone.at(0, 22 * RATE, RATE)
    wet = fftconvolve(dry, bedroom(seed).response)[: len(dry)]
    loud = 10 ** (level(6) / 20) * wet / np.sqrt(np.mean(wet[round(6.3 * RATE) : round(15.5 * RATE)] ** 2) * 2)
    recognizer = Recognizer(1)
    events = recognizer.push((background(22, seed) + loud).astype(np.float32)[:, None]) + recognizer.flush()
    [beep] = [event for event in events if isinstance(event, Beep) and event.duration > 5]
    assert beep.character.flatness > 7.0
    [raised] = [event for event in events if isinstance(event, Raised)]
    assert raised.alarm.pattern == "backup-battery"
    assert raised.at - 16 < 1.0


def test_a_drift_counted_from_another_adds_to_it() -> None:
    """Each is held still outside its own span."""
    steps = np.array([0.0, 5.0, 10.0, 20.0])
    course = Drift((250.0, 0.0), 5.0, 0.0, 10.0)
    whole = Drift((3.0,), 0.0, 0.0, 20.0, beside=course)
    assert whole.hertz(steps).tolist() == (3.0 + course.hertz(steps)).tolist() == [-2.0, 3.0, 8.0, 8.0]
