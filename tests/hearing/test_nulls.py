"""A tone that fades into a room's null is one beep; what an ideal listener has of it is counted right."""

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.signal import fftconvolve

from beepwatch.events import Beep, Sounding
from beepwatch.hearing import RATE
from beepwatch.hearing.spectrum import Floats
from beepwatch.synthesis import Tone
from tests.hearing.rooms import RoomScene, row_in_room, scene_in_room
from tests.hearing.scenes import RMS, add, background, beeps, hear, level, matched

ROOMS = range(500, 510)


def test_a_faint_tone_in_a_null_is_often_whole() -> None:
    """At -14 dB 28 of 50 and more in ten rooms (11 where a fade counts as an end), at the fundamental, few pieces."""
    found, told = 0, 0
    for seed in ROOMS:
        samples, tones = row_in_room(seed, 5, 1.2, pause=3.8, snr=-14.0, null=True)
        heard = beeps(hear(samples))
        found += len(matched(heard, tones))
        told += len(heard)
    assert found >= 28
    assert told <= 60


def test_a_tone_that_drifts_through_a_null_is_told_each_time() -> None:
    """At 0 dB all of eight (six while a half-turn of phase in a null's short middle was taken for a wander)."""
    samples, tones = row_in_room(20_031, 8, 1.2, pause=3.8, snr=0.0, kind="breathing")
    assert len(matched(beeps(hear(samples)), tones)) == 8


def test_a_tone_that_the_room_weakens_is_pure_in_its_middle() -> None:
    """One echo, 0.15 s late and 6 dB weaker, takes half of it away once it has come; a throbbing tone is never pure."""
    time = np.arange(round(1.2 * RATE)) / RATE
    tone = 10 ** (level(10) / 20) * np.sin(2 * np.pi * 2400 * time)
    throbbing = tone * (1 + 0.4 * np.sin(2 * np.pi * 6 * time))
    echo = round(0.15 * RATE)
    weakened = np.pad(tone, (0, echo)) - 0.5 * np.pad(tone, (echo, 0))
    sound = background(14, 8).astype(np.float64)
    for begin, one in ((3, weakened), (8, throbbing)):
        sound[begin * RATE : begin * RATE + len(one)] += one
    first, second = (beep.character for beep in beeps(hear(sound.astype(np.float32))))
    assert first.purity < 0.95
    assert first.settled == pytest.approx(1.0, abs=0.01)
    assert second.settled == pytest.approx(1 / 1.08, abs=0.02)


def _weakened(length: float, snr: float, depth: float, begins: Sequence[float], t60: float = 0.4) -> Floats:
    """Tones of 2.5 kHz of which reverberation of `t60` s leaves `depth` dB less than the direct sound, at `snr`."""
    hertz, n = 2500.0, round((length + 0.6) * RATE)
    dry = Tone(0, length, hertz, level(snr) + depth).at(0, n, RATE)
    time = np.arange(round(0.6 * RATE)) / RATE
    ringing = 10 ** (-3 * time / t60) * np.cos(2 * np.pi * hertz * time)
    echoes = fftconvolve(dry, ringing / (ringing @ np.cos(2 * np.pi * hertz * time)))[:n]
    wet = dry - (1 - 10 ** (-depth / 20)) * echoes
    sound = background(begins[-1] + length + 2, 9)
    for begin in begins:
        sound[round(begin * RATE) :][:n] += wet.astype(np.float32)
    return sound


@pytest.mark.parametrize("snr", [0.0, 10.0, 30.0])
@pytest.mark.parametrize("length", [0.85, 1.2, 2.0])
def test_what_a_room_rings_on_with_is_no_part_of_the_beep(length: float, snr: float) -> None:
    """Reverberation, T60 0.4 s, that takes away 0.8 of the direct sound and so is four times as loud as the tone.

    It was 80 to 110 ms too long, for the rest passes half of the tone long after the end.
    """
    told = beeps(hear(_weakened(length, snr, 14, [3, 6, 9])))
    assert [beep.onset for beep in told] == pytest.approx([3, 6, 9], abs=0.02)
    assert [beep.duration for beep in told] == pytest.approx([length] * 3, abs=0.02)


@pytest.mark.parametrize("snr", [-15.0, -12.0])
@pytest.mark.parametrize("depth", [22.0, 25.0])
@pytest.mark.parametrize("length", [10.0, 20.0])
def test_a_tone_that_a_room_nearly_takes_away_is_not_lost_at_its_loud_end(
    length: float, depth: float, snr: float
) -> None:
    """Its decay, 20 dB and more over it, was taken for another tone, for which it gave way with all that was heard."""
    told = [beep for beep in beeps(hear(_weakened(length, snr, depth, [3.02, 28.05]))) if beep.duration > 1]
    assert [beep.onset for beep in told] == pytest.approx([3.02, 28.05], abs=0.2)
    assert [beep.duration for beep in told] == pytest.approx([length] * 2, abs=0.25)
    assert all(beep.character.flatness < 7 for beep in told)


def test_a_louder_beep_on_the_tone_of_one_under_way_is_told() -> None:
    """Whatever became of the weaker one."""
    weak, strong = Tone(3, 6, 2700, level(-17)), Tone(6, 1.2, 2703, level(5))
    told = beeps(hear(add(background(13, 4), [weak, strong])))
    assert len(matched(told, [strong])) == 1


def test_a_loud_build_up_hides_no_tone_under_way() -> None:
    """Its 30 ms, far over the rest, looked like a click, and a tone of 13 s was not told before its end."""
    heard = hear(_weakened(20.0, -5.0, 16.0, [3.0], t60=0.15))
    under_way = [event for event in heard if isinstance(event, Sounding)]
    assert [event.lasted for event in under_way] == pytest.approx([13.3], abs=0.3)


@pytest.mark.parametrize("snr", [0.0, 15.0, 30.0])
@pytest.mark.parametrize("gap", [0.3, 0.45])
def test_the_tail_of_a_room_is_no_fade(snr: float, gap: float) -> None:
    """0.5 s pulses in a furnished room stay apart, however long it rings (T60 up to 0.55 s) and whatever the level."""
    samples, tones = row_in_room(44, 8, 0.5, pause=gap, snr=snr)
    assert len(matched(beeps(hear(samples)), tones)) >= 7


def test_a_tone_that_goes_on_in_its_second_harmonic_is_one_beep() -> None:
    """The fundamental is away for half a second in the middle, the harmonic sounds on: one beep at the fundamental."""
    harmonic = Tone(4, 1.6, 5400, level(-6))
    tones = [Tone(4, 0.6, 2700, level(0)), Tone(5.1, 0.5, 2700, level(0)), harmonic]
    [beep] = beeps(hear(add(background(9, 71), tones)))
    assert (beep.onset, beep.end, beep.frequency) == pytest.approx((4, 5.6, 2700), rel=0.01)


def test_two_beeps_without_it_are_two() -> None:
    """The same with no harmonic: nothing says that the first went on."""
    tones = [Tone(4, 0.6, 2700, level(0)), Tone(5.1, 0.5, 2700, level(0))]
    assert len(beeps(hear(add(background(9, 71), tones)))) == 2


def test_the_energy_of_a_tone_in_white_noise_is_that_of_theory() -> None:
    """E/N0 = snr x length x 8000 Hz (to 7 %: the noise is measured), and a room's has its settled part."""
    tone = Tone(3, 1.2, 3000, level(-14))
    sound = add(np.zeros(6 * RATE, np.float32), [tone]).astype(np.float64)
    noise = np.float32(RMS) * np.random.default_rng(72).standard_normal(6 * RATE, dtype=np.float32)
    [energy] = RoomScene(sound, noise, [tone]).energies()
    assert energy == pytest.approx(10**-1.4 * 1.2 * 8000, rel=0.07)
    scene = scene_in_room(500, 2, 1.2, pause=3.8, snr=-14.0, null=True)
    assert scene.energies().min() > 0.65 * 10**-1.4 * 1.2 * 8000


@pytest.mark.parametrize("gap", [0.3, 0.35, 0.45])
def test_pulses_that_go_on_for_longer_than_sound_is_kept_are_told(gap: float) -> None:
    """45 s of beeps of 1.6 s, so near that one track follows them: told apart or as one, and no fault."""
    row = [Tone(4 + k * (1.6 + gap), 1.6, 900.0, level(5)) for k in range(int(45 / (1.6 + gap)))]
    told = beeps(hear(add(background(75, 1), row)))
    assert told
    assert told[0].onset == pytest.approx(4, abs=0.2)


@pytest.mark.parametrize(("seed", "kind"), [(20_003, "breathing"), (20_012, "white")])
def test_a_decay_that_comes_back_does_not_take_the_beep_with_it(seed: int, kind: str) -> None:
    """Each of eight is told at its own tone.

    Its track took the decay after the null for the tone, whose level then sank with the silence until no frame could
    end it: it lasted for 6 s, and nothing was told.
    """
    samples, tones = row_in_room(seed, 8, 1.2, pause=3.8, snr=-14.0, kind=kind, null=True)
    told = beeps(hear(samples))
    near = [[b for b in told if abs(b.frequency / t.frequency - 1) < 0.01 and _overlaps(b, t)] for t in tones]
    assert all(near)


def _overlaps(beep: Beep, tone: Tone) -> bool:
    return beep.onset < tone.onset + tone.length and beep.end > tone.onset


@pytest.mark.parametrize(("null", "snr", "pieces", "least"), [(True, -11.0, 1, 32), (False, -5.0, 2, 40)])
def test_a_tone_that_comes_back_slowly_was_never_off(null: bool, snr: float, pieces: int, least: int) -> None:
    """Its level falls to nothing and grows again within 0.6 s: one beep (26 of 40 while one lucky moment made a return
    abrupt); switched off for 0.3 s it is two."""
    time = np.arange(round(1.2 * RATE)) / RATE
    course = np.minimum(np.abs(time - 0.55) / 0.3, 1.0) if null else (np.abs(time - 0.55) > 0.15).astype(np.float64)
    tone = 10 ** (level(snr) / 20) * course * np.sin(2 * np.pi * 2700 * time)
    counts = []
    for seed in range(40):
        sound = background(6, 300 + seed)
        sound[3 * RATE :][: len(tone)] += tone.astype(np.float32)
        counts.append(len(beeps(hear(sound))))
    assert counts.count(pieces) >= least
