"""A steady hum is not a beep, is told once, and a tone that was there at the start says that its onset is unknown."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import soxr
from numpy.typing import NDArray

from beepwatch.events import Heard, Sounding, SteadyTone
from beepwatch.hearing import RATE, following
from beepwatch.hearing.finish import Found, fitted
from beepwatch.synthesis import Tone
from tests.hearing.scenes import add, background, beeps, found, hear, level


def steady(events: list[Heard]) -> list[SteadyTone]:
    """The hums that are told."""
    return [event for event in events if isinstance(event, SteadyTone)]


@pytest.mark.parametrize("frequency", [450.0, 1000.0, 3141.6])
@pytest.mark.parametrize("snr", [-15.0, 0.0, 25.0])
def test_a_hum_from_the_start_is_no_beep(frequency: float, snr: float) -> None:
    """Two minutes of it: no beep, and at most one line about it."""
    events = hear(add(background(120, 51), [Tone(-1, 130, frequency, level(snr))]))
    assert not beeps(events)
    assert len(steady(events)) <= 1


@pytest.mark.parametrize("kind", ["fan", "white"])
def test_blades_and_whines_are_no_beeps(kind: str) -> None:
    """Mains-like lines of a fan with its harmonics, and a charger's whine of three lines."""
    whine = [Tone(-1, 130, f, level(-6)) for f in (2400.0, 3600.0, 4800.0)]
    events = hear(add(background(120, 52, kind), whine))
    assert not beeps(events)


@pytest.mark.parametrize("snr", [-12.0, 5.0, 30.0])
def test_a_hum_that_switches_on_is_told_once_after_a_minute(snr: float) -> None:
    """As a SteadyTone with its onset, tone to a bin and level; never as a beep; told by 62 s."""
    events = hear(add(background(200, 53), [Tone(20, 200, 1000, level(snr))]))
    [tone] = steady(events)
    assert tone.onset == pytest.approx(20, abs=0.3)
    assert tone.frequency == pytest.approx(1000, abs=7.8)
    assert tone.level == pytest.approx(level(snr), abs=2.5)
    assert 80 <= tone.known < 82
    assert not beeps(events)


def test_a_tone_of_ten_minutes_is_no_beep_when_it_ends() -> None:
    """Its end is not the end of a beep."""
    events = hear(add(background(330, 54), [Tone(10, 300, 1700, level(5))]))
    assert not beeps(events)
    assert len(steady(events)) == 1


@pytest.mark.parametrize("apart", [120.0, 200.0, 1000.0])
@pytest.mark.parametrize("since", ["the start", "40 s"])
def test_a_beep_near_a_hum_is_heard(apart: float, since: str) -> None:
    """6 dB over the hum, half a minute and longer after the hum became known."""
    hum = Tone(-1 if since == "the start" else 40, 300, 1000, level(0))
    tones = [Tone(130 + 5 * i, 1.2, 1000 + apart, level(6)) for i in range(3)]
    heard = beeps(hear(add(background(150, 55), [hum, *tones])))
    assert all(found(heard, tone) for tone in tones)
    assert len(heard) == 3


@pytest.mark.parametrize("apart", [60.0, 100.0, 200.0])
@pytest.mark.parametrize("over", [0.0, 10.0, 20.0])
@pytest.mark.parametrize("wobble", [0.0, 0.005])
def test_a_beep_close_to_a_stronger_hum_is_heard(apart: float, over: float, wobble: float) -> None:
    """With its length and its tone; the hum is up to 20 dB stronger, and steady or wobbles by half a percent."""
    tones = [Tone(113 + 5 * i, 1.2, 1000 + apart, level(0), phase=float(i)) for i in range(3)]
    samples = add(background(130, 61), tones)
    t = np.arange(len(samples)) / RATE
    turns = 1000 * (t - wobble / (2 * np.pi * 0.3) * np.cos(2 * np.pi * 0.3 * t))
    hum = np.where(t > 30, 10 ** (level(over) / 20) * np.sin(2 * np.pi * turns), 0).astype(np.float32)
    heard = beeps(hear(samples + hum))
    told = [found(heard, tone) for tone in tones]
    assert [beep.duration for beep in told if beep] == pytest.approx([1.2] * 3, abs=0.03)
    assert [beep.frequency for beep in told if beep] == pytest.approx([1000 + apart] * 3, abs=1)


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_mains_hum_hides_no_beep(mains: float) -> None:
    """Forty harmonics, the first 20 dB over the noise: beeps half way between two are heard, nothing else."""
    hums = [Tone(-1, 200, mains * n, level(20 - 20 * np.log10(n))) for n in range(1, 41)]
    places = [mains * (n + 0.5) for n in (9, 16, 25, 33)]
    tones = [Tone(80 + 4 * i, 1.2, place, level(5)) for i, place in enumerate(places)]
    heard = beeps(hear(add(background(110, 62), [*hums, *tones])))
    assert [beep.onset for beep in heard] == pytest.approx([tone.onset for tone in tones], abs=0.05)


@pytest.mark.parametrize("ends", [4.0, 12.0, 24.0])
def test_a_tone_there_at_the_start_is_a_beep_of_unknown_onset(ends: float) -> None:
    """One that ends within 25 s is told, and says that its onset is not known."""
    [beep] = beeps(hear(add(background(40, 56), [Tone(-1, ends + 1, 1800, level(0))])))
    assert not beep.onset_known
    assert beep.onset == pytest.approx(0, abs=0.05)
    assert beep.end == pytest.approx(ends, abs=0.05)


def test_a_tone_there_at_the_start_that_ends_later_is_none() -> None:
    """After 25 s it was a hum."""
    assert not beeps(hear(add(background(60, 57), [Tone(-1, 41, 1800, level(0))])))


def test_a_beep_soon_after_the_start_has_a_known_onset() -> None:
    """From 1 s on the onset was heard."""
    [beep] = beeps(hear(add(background(10, 58), [Tone(1.5, 2, 1800, level(0))])))
    assert beep.onset_known
    assert beep.onset == pytest.approx(1.5, abs=0.02)


def test_after_lost_samples_an_onset_is_unknown_again() -> None:
    """A tone that sounds when the stream goes on may have begun in the gap."""
    from beepwatch.hearing import Hearing  # noqa: PLC0415 - only here

    scene = add(background(30, 59), [Tone(10, 8, 2400, level(5))])[None]
    hearing = Hearing()
    events = hearing.push(scene[:, : 5 * RATE]) + hearing.skip(7 * RATE)
    events += hearing.push(scene[:, 12 * RATE :]) + hearing.flush()
    [beep] = beeps(events)
    assert not beep.onset_known
    assert (beep.onset, beep.end) == pytest.approx((12, 18), abs=0.05)


def test_long_tones_under_way_are_told_at_13_and_23_s() -> None:
    """Also of a hum, which nobody can know to be one by then; each time once."""
    events = hear(add(background(120, 60), [Tone(20, 200, 1000, level(0))]))
    lasted = [event.lasted for event in events if isinstance(event, Sounding)]
    assert np.array(lasted) == pytest.approx([13, 23], abs=1)


def test_a_tone_whose_best_end_lies_far_behind_is_not_under_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """A track that is only not closed yet tells of no long tone: the fit says that it ended after 1.5 s."""
    sound = add(background(20, 58), [Tone(2, 15, 2600, level(0))])
    assert [event for event in hear(sound) if isinstance(event, Sounding)]

    def shorter(*given: Any, **more: Any) -> Found | None:
        found = fitted(*given, **more)
        return None if found is None else replace(found, duration=1.5)

    monkeypatch.setattr(following, "fitted", shorter)
    assert not [event for event in hear(sound) if isinstance(event, Sounding)]


@pytest.mark.parametrize(("gain", "seed"), [(34.0, 6), (44.0, 5), (44.0, 6)])
def test_the_edge_of_a_telephones_hiss_is_no_tone(gain: float, seed: int) -> None:
    """Noise of 8 kHz sound, `gain` dB over -80 dBFS, that comes on for 10 s, five times: no beep is told."""
    rng = np.random.default_rng([77, seed])
    parts: list[NDArray[np.float64]] = []
    for _ in range(5):
        narrow = rng.standard_normal(5 * RATE) * 1e-4 * 10 ** (gain / 20)
        parts += [np.zeros(RATE), soxr.resample(narrow, RATE // 2, RATE), np.zeros(RATE)]
    sound = np.concatenate(parts)
    sound += 3.5e-4 * rng.standard_normal(len(sound))
    assert not [beep for beep in beeps(hear(sound.astype(np.float32))) if beep.duration > 0.3]
