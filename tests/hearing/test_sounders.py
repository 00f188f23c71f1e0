"""One sounder is one beep, whatever its harmonics; two sounders are two; a drifting tone is followed."""

import numpy as np
import pytest

from beepwatch.hearing import RATE
from beepwatch.hearing.background import Background
from beepwatch.hearing.following import Following
from beepwatch.hearing.stream import Stream
from beepwatch.hearing.track import Track
from beepwatch.synthesis import Tone
from tests.hearing.scenes import RMS, add, background, beeps, found, hear, level, matched

SQUARE = (-100.0, -9.54, -100.0, -13.98, -100.0, -16.9, -100.0, -19.08)
"""dB of the harmonics 2 to 9 of a square wave: 1/3, 1/5, 1/7, 1/9 of the fundamental's amplitude (theory)."""


@pytest.mark.parametrize("snr", [-10.0, 0.0, 20.0])
def test_a_520_hz_square_wave_is_one_beep_a_pulse(snr: float) -> None:
    """The wake-up sounder of NFPA 72, 0.5 s on, 0.5 s off: one beep a pulse, at 520 Hz, none of its harmonics."""
    tones = [Tone(3 + i, 0.5, 520, level(snr), SQUARE) for i in range(20)]
    heard = beeps(hear(add(background(26, 71), tones)))
    assert len(heard) == 20
    assert [beep.frequency for beep in heard] == pytest.approx([520] * 20, abs=2)


@pytest.mark.parametrize("harmonics", [(-3.0, -6.0), (3.0, 0.0), (-30.0, 6.0), (-6.0,) * 6])
@pytest.mark.parametrize("fundamental", [700.0, 1480.0])
def test_harmonics_make_one_beep_of_the_fundamental(harmonics: tuple[float, ...], fundamental: float) -> None:
    """Also where a harmonic is the strongest line."""
    tones = [Tone(3 + 4 * i, 1.2, fundamental, level(5), harmonics, drift=-0.002) for i in range(5)]
    heard = beeps(hear(add(background(24, 72), tones)))
    assert len(heard) == 5
    assert [beep.frequency for beep in heard] == pytest.approx([fundamental] * 5, rel=0.003)


@pytest.mark.parametrize("weaker", [20.0, 30.0])
@pytest.mark.parametrize("partial", [0.3, 0.6])
def test_a_partial_that_fades_long_before_its_fundamental_is_no_beep(weaker: float, partial: float) -> None:
    """A room's null takes the second harmonic after `partial` s of 1.8 s; it waits until the fundamental ends."""
    whole = [Tone(3 + 4 * i, 1.8, 2500, level(20)) for i in range(4)]
    parts = [Tone(3 + 4 * i, partial, 5000, level(20 - weaker), ramp=0.05) for i in range(4)]
    heard = beeps(hear(add(background(20, 75), [*whole, *parts])))
    assert [beep.frequency for beep in heard] == pytest.approx([2500] * 4, rel=0.001)


def test_a_lower_tone_that_goes_on_keeps_no_beep_waiting_for_long() -> None:
    """It begins with a beep at twice its frequency, far weaker than it, and lasts for 10 s: told 3.5 s late at most."""
    tones = [Tone(3, 10, 2050, level(20)), Tone(3, 0.5, 4100, level(0))]
    heard = beeps(hear(add(background(16, 76), tones)))
    assert [beep.duration for beep in heard] == pytest.approx([10, 0.5], abs=0.02)
    assert heard[1].known < 3.5 + 3.5


@pytest.mark.parametrize("other", [1700.0, 2750.0, 4400.0])
def test_two_sounders_at_once_are_two_beeps(other: float) -> None:
    """Of about the same level, at no simple ratio, one beginning within the other."""
    tones = [Tone(3, 1.2, 2100, level(5)), Tone(3.5, 1.5, other, level(3))]
    heard = beeps(hear(add(background(9, 73), tones)))
    assert len(heard) == 2
    assert all(found(heard, tone) for tone in tones)


@pytest.mark.parametrize("apart", [60.0, 100.0, 150.0, 270.0, 500.0, 1000.0])
@pytest.mark.parametrize("weaker", [0.0, 6.0, 12.0])
@pytest.mark.parametrize("later", [0.0, 0.5])
def test_two_sounders_near_each_other_are_two_beeps(apart: float, weaker: float, later: float) -> None:
    """From 60 Hz on, also with one up to 12 dB weaker, at once or one after the other has begun."""
    tones = [Tone(3, 1.2, 2100, level(5)), Tone(3 + later, 1.2, 2100 + apart, level(5 - weaker), phase=2.0)]
    heard = beeps(hear(add(background(9, 78), tones)))
    assert [beep.frequency for beep in sorted(heard, key=lambda beep: beep.frequency)] == pytest.approx(
        [2100, 2100 + apart], abs=3
    )
    assert [beep.duration for beep in heard] == pytest.approx([1.2, 1.2], abs=0.1)


@pytest.mark.parametrize(("snr", "other_snr"), [(30.0, 10.0), (25.0, 35.0), (55.0, 30.0)])
@pytest.mark.parametrize("apart", [-120.0, 300.0, -400.0])
def test_a_loud_beep_beside_a_steady_tone_is_heard(apart: float, snr: float, other_snr: float) -> None:
    """All of five: clipped sums tell nothing of a line so loud, and into the splash of the other no pair opens."""
    tones = [Tone(5 + 4 * i, 1.2, 2500, level(snr), drift=-0.002) for i in range(5)]
    told = beeps(hear(add(background(27, 5), [*tones, Tone(0.5, 26, 2500 + apart, level(other_snr))])))
    assert len(matched(told, tones)) == 5


@pytest.mark.parametrize(
    ("below", "snr", "other_snr"), [(150.0, 39.0, 27.0), (350.0, 30.0, 30.0), (-200.0, 30.0, 15.0)]
)
def test_fast_pulses_over_a_beep_are_told_apart(below: float, snr: float, other_snr: float) -> None:
    """17 of 18 and more (14 where a tail's level was not freed of the noise that the beep's splash raises)."""
    pulses = [Tone(5 + 4 * i + j, 0.5, 2900, level(snr)) for i in range(6) for j in range(3)]
    tones = [Tone(4.6 + 4.8 * i, 1.4, 2900 - below, level(other_snr), drift=-0.002) for i in range(5)]
    told = beeps(hear(add(background(31, 5), [*pulses, *tones])))
    assert len(matched(told, pulses)) >= 17
    assert len(matched(told, tones)) >= 3


def test_a_sounder_at_twice_the_tone_is_another_when_its_edges_are_its_own() -> None:
    """An octave apart, but beginning and ending at other times."""
    tones = [Tone(3, 2.5, 1200, level(5)), Tone(4.0, 1.0, 2400, level(5))]
    heard = beeps(hear(add(background(9, 74), tones)))
    assert all(found(heard, tone) for tone in tones)


@pytest.mark.parametrize("drift", [-0.01, -0.002, 0.002, 0.01])
@pytest.mark.parametrize("frequency", [800.0, 2900.0])
@pytest.mark.parametrize("snr", [0.0, 15.0])
def test_a_drift_of_a_percent_is_followed(drift: float, frequency: float, snr: float) -> None:
    """One beep of 1.2 s, edges to 30 ms, told by its mean tone."""
    tone = Tone(3, 1.2, frequency, level(snr), drift=drift, warm_up=0.6)
    [beep] = beeps(hear(add(background(8, 75), [tone])))
    assert (beep.onset, beep.duration) == pytest.approx((3, 1.2), abs=0.03)
    assert beep.frequency == pytest.approx(tone.mean_frequency, rel=0.001)


@pytest.mark.parametrize("drift", [0.02, 0.03])
def test_a_drift_of_three_percent_over_a_long_beep_is_followed(drift: float) -> None:
    """10 s: one piece."""
    tone = Tone(3, 10, 2900, level(5), drift=drift, warm_up=4)
    [beep] = beeps(hear(add(background(18, 76), [tone])))
    assert (beep.onset, beep.duration) == pytest.approx((3, 10), abs=0.05)


def test_a_voice_like_sound_is_no_beep() -> None:
    """Harmonics each 120 Hz that glide by a tenth: none of its lines is told as a beep of over 0.5 s."""
    voice = [
        Tone(3 + 2 * i, 1.2, 120 * n, level(12 - n), drift=0.1, warm_up=0.5, ramp=0.1)
        for i in range(6)
        for n in range(3, 25)
    ]
    heard = beeps(hear(add(background(18, 77), voice)))
    assert not [beep for beep in heard if beep.duration > 0.5]


@pytest.mark.parametrize(("tone", "waited_for"), [(1350.2, (7,)), (1340.0, (7,)), (1365.0, ())])
def test_a_partial_waits_for_a_fundamental_whose_tone_is_known_to_a_bin(tone: float, waited_for: tuple[int]) -> None:
    """While it sounds a track's tone is up to 1 % off: a note may have begun with it."""
    stream = Stream(1)
    following = Following(stream, Background(1, stream), RATE / 2, ())
    following.tracks = [Track(130, 5, 30, tone, opened=6, serial=7)]
    kin = following.relatives(Track(472, 5, 30, 4020.1, opened=6, serial=8, closed=29), 29)
    assert tuple(one.serial for one in kin) == waited_for


@pytest.mark.parametrize(("order", "off", "length"), [(7, 0.003, 0.06), (7, 0.0, 0.06), (11, 0.003, 4.3)])
def test_a_note_at_a_part_of_a_long_tone_is_not_its_fundamental(order: int, off: float, length: float) -> None:
    """A voice's or an instrument's, that begins with it: too short, or beside the part it would have to be."""
    tone = Tone(3, 20, 4340, level(10))
    note = Tone(3.03, length, 4340 / order * (1 + off), level(-5))
    [beep] = [one for one in beeps(hear(add(background(26, 79), [tone, note]))) if one.duration > 10]
    assert beep.frequency == pytest.approx(4340, abs=1)


@pytest.mark.parametrize(("order", "length", "begins"), [(4, 0.6, 6.0), (2, 1.0, 6.0), (5, 3.0, 12.0)])
def test_a_louder_note_within_a_long_tone_does_not_take_it_away(order: int, length: float, begins: float) -> None:
    """At a part of its frequency, 16 dB louder: one note is no row of pulses that the tone were a partial of."""
    tone = Tone(3, 20, 3400, level(0))
    note = Tone(3 + begins, length, 3400 / order * 1.001, level(16))
    assert found(beeps(hear(add(background(27, 79), [tone, note]))), tone)


def test_a_louder_note_within_a_breath_does_not_take_it_away() -> None:
    """The same of a beep of 1.2 s, half of which it fills."""
    tone, note = Tone(3, 1.2, 3400, level(0)), Tone(3.3, 0.6, 850.9, level(16))
    assert found(beeps(hear(add(background(8, 79), [tone, note]))), tone)


@pytest.mark.parametrize(
    "notes",
    [[(2600, 18, 3, 12), (3510, 18.4, 3, 10)], [(4630, 17, 4, 14), (4170, 17.5, 4, 12)], [(725.2, 0.5, 6, 12)]],
)
def test_what_sounds_for_a_while_does_not_take_a_long_tone_away(notes: list[tuple[float, float, float, float]]) -> None:
    """Two louder notes at its end, far from it and near it; one at a sixth of it that begins half a second after it."""
    tone = Tone(3, 20, 4351, level(0))
    others = [Tone(3 + begins, length, hertz, level(louder)) for hertz, begins, length, louder in notes]
    assert found(beeps(hear(add(background(28, 79), [tone, *others]))), tone)


def test_two_louder_notes_do_not_take_a_long_tone_away() -> None:
    """One 0.3 % beside a third of its frequency, then one at a sixth, with harmonics: no row of pulses."""
    tone = Tone(3, 10, 4368, level(0))
    notes = [Tone(6, 1.5, 1460.4, level(16)), Tone(10, 1.5, 728, level(16), (-3.0, -6.0, -9.0))]
    assert found(beeps(hear(add(background(18, 79), [tone, *notes]))), tone)


def test_a_faint_partial_that_runs_on_for_a_minute_is_told_nowhere() -> None:
    """Of 520 Hz pulses, half of the time: only the last 20 s of them are remembered (it was told as a tone of 57 s)."""
    noise = np.float32(RMS) * np.random.default_rng([10_002, 100]).standard_normal(96 * RATE, np.float32)
    tones = [Tone(3 + i, 0.5, 520.0, level(0), SQUARE) for i in range(90)]
    heard = beeps(hear(add(noise, tones)))
    assert len(heard) == len(matched(heard, tones)) == 90


def test_partials_that_end_first_wait_for_a_low_fundamental() -> None:
    """520 Hz is known to a bin, 1.5 %, while it sounds: at 69 s its seventh and fifth were told by themselves."""
    tones = [Tone(3 + i, 0.5, 520.0, level(0), SQUARE) for i in range(70)]
    assert len(beeps(hear(add(background(76, 81), tones)))) == 70
