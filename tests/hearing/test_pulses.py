"""Gaps: a cough in a long beep leaves it whole, the pauses of the standards' patterns do not."""

from collections.abc import Iterator
from dataclasses import replace
from typing import cast

import numpy as np
import pytest

from beepwatch.hearing.drift import Envelope
from beepwatch.hearing.nulls import Harmonics
from beepwatch.hearing.pulses import silences
from beepwatch.hearing.spectrum import HOP_SECONDS
from beepwatch.synthesis import Tone
from tests.hearing.rooms import row_in_room
from tests.hearing.scenes import add, background, beeps, hear, level, matched, row


@pytest.mark.parametrize("snr", [-10.0, 0.0, 20.0])
@pytest.mark.parametrize("hole", [0.15, 0.25, 0.35, 0.38])
def test_a_hole_in_20_s_leaves_one_beep(snr: float, hole: float) -> None:
    """A cough covers the tone, or it drops out, for up to 0.4 s: still one beep of 20 s."""
    tones = [Tone(4, 8, 3000, level(snr)), Tone(12 + hole, 12 - hole, 3000, level(snr))]
    [beep] = beeps(hear(add(background(30, 61), tones)))
    assert (beep.onset, beep.duration) == pytest.approx((4, 20), abs=0.05)


@pytest.mark.parametrize(
    ("on", "off"), [(0.1, 0.1), (0.15, 0.1), (0.15, 0.15), (0.2, 0.2), (0.25, 0.25), (0.5, 0.5), (1.2, 0.5)]
)
@pytest.mark.parametrize("frequency", [960.0, 3012.0])
@pytest.mark.parametrize("snr", [8.0, 15.0])
def test_pulses_stay_apart(on: float, off: float, frequency: float, snr: float) -> None:
    """From the 0.1 s pulses of carbon monoxide alarms to the 0.5 s of temporal three: each its own beep."""
    tones = row(6, on, off, frequency, snr)
    heard = beeps(hear(add(background(3 + 6 * (on + off) + 3, 63), tones)))
    assert len(heard) == 6
    assert [beep.onset for beep in heard] == pytest.approx([tone.onset for tone in tones], abs=0.02)
    assert [beep.duration for beep in heard] == pytest.approx([on] * 6, abs=0.025)


@pytest.mark.parametrize("left", [-9.5, -9.0])
def test_pulses_stay_apart_where_the_room_fills_their_pauses(left: float) -> None:
    """As much as it can that still looks like a pause: `left` dB of the tone, which is more than half of its mean."""
    pulses = row(4, 0.1, 0.1, 2700.0, 6.0)
    echo = Tone(3.0, 0.7, 2700.0, level(6.0 + left))
    added = 20 * np.log10(10 ** (level(6) / 20) - 10 ** (echo.level / 20))
    told = beeps(hear(add(background(8, 5), [*(replace(one, level=added) for one in pulses), echo])))
    assert len(matched(told, pulses)) == 4


@pytest.mark.parametrize(("on", "count"), [(0.1, 4), (0.15, 5)])
def test_faint_groups_of_pulses_are_told_by_all_their_gaps(on: float, count: int) -> None:
    """At -10 dB one gap of 0.1-0.15 s may be noise, three or four in a row are not: many pulses are told."""
    tones = [one for group in range(12) for one in row(count, on, on, 2700.0, -10.0, first=4.0 + 6 * group)]
    told = beeps(hear(add(background(78, 907), tones)))
    assert len(matched(told, tones)) > 0.45 * len(tones)


@pytest.mark.parametrize("seed", [908, 909])
def test_noise_does_not_part_faint_beeps(seed: int) -> None:
    """Beeps of 0.8 s at -15 dB, where a dip of 0.1 s holds too little to be sure of: none is told in pieces."""
    tones = row(30, 0.8, 1.2, 2700.0, -15.0)
    told = beeps(hear(add(background(66, seed), tones)))
    assert len(matched(told, tones)) >= 29
    assert all(beep.duration > 0.5 for beep in told if abs(beep.frequency / 2700 - 1) < 0.01)


@pytest.mark.parametrize("gap", [0.5, 0.7, 1.5])
def test_long_beeps_that_are_apart_stay_apart(gap: float) -> None:
    """Beyond 0.4 s nothing is joined, however long the beeps."""
    tones = [Tone(4, 5, 3000, level(0)), Tone(9 + gap, 5, 3000, level(0))]
    first, second = beeps(hear(add(background(20, 65), tones)))
    assert (first.end, second.onset) == pytest.approx((9, 9 + gap), abs=0.03)


@pytest.mark.parametrize("on", [0.3, 0.6])
def test_a_gap_over_a_quarter_of_the_beep_is_not_joined(on: float) -> None:
    """0.3 s beeps a third of their length apart are two; those 15 % apart (under a tenth of a second) one."""
    apart = [Tone(3, on, 2000, level(10)), Tone(3 + on * 1.4, on, 2000, level(10))]
    assert len(beeps(hear(add(background(8, 66), apart)))) == 2
    near = [Tone(3, on, 2000, level(10)), Tone(3 + on * 1.1, on, 2000, level(10))]
    assert len(beeps(hear(add(background(8, 66), near)))) == 1


@pytest.mark.parametrize("snr", [20.0, 40.0, 50.0, 60.0])
@pytest.mark.parametrize(("on", "off", "count"), [(0.5, 0.5, 12), (0.5, 0.5, 3), (0.3, 0.5, 6)])
def test_pulses_beside_the_microphone_are_each_told(snr: float, on: float, off: float, count: int) -> None:
    """A smoke alarm in the same quiet room is 50 dB over it: what its pulse leaves must not hide the next."""
    tones = row(count, on, off, 3100.0, snr, first=5.0)
    told = beeps(hear(add(background(9 + count * (on + off), 31), tones)))
    assert len(matched(told, tones)) == count


@pytest.mark.parametrize("snr", [20.0, 40.0, 50.0])
def test_a_loud_tail_is_not_told(snr: float) -> None:
    """What a beep leaves in a room with T60 of 0.5 s is no beep of its own, however loud the beep was."""
    samples, tones = row_in_room(44, 8, 0.5, pause=1.5, snr=snr, kind="white")
    assert len(beeps(hear(samples))) <= len(tones) + 1


@pytest.mark.parametrize("snr", [-3.0, 0.0])
@pytest.mark.parametrize(("on", "count"), [(0.15, 5), (0.2, 3), (0.25, 3)])
def test_a_pulse_that_returns_at_a_chunk_border_is_no_other_tone(on: float, count: int, snr: float) -> None:
    """Wherever frames and chunks begin: what is back a moment ago is expected as loud as it was before."""
    tones = [
        one for i in range(24) for one in row(count, on, on, 2100.0, snr, first=4.0 + 6 * i + HOP_SECONDS * i / 24)
    ]
    told = beeps(hear(add(background(152, 902), tones)))
    assert len(matched(told, tones)) >= len(tones) - 2


@pytest.mark.parametrize("seed", [3, 4])
def test_noise_at_a_harmonic_bridges_no_gap(seed: int) -> None:
    """A harmonic that was not there before a gap does not go on through it: 90 gaps of 0.35 s after pure tones."""
    tones = [one for i in range(45) for one in row(3, 0.3, 0.35, 2100.0, 10.0, first=4.0 + 5 * i)]
    told = beeps(hear(add(background(232, seed), tones)))
    assert len(matched(told, tones)) == len(tones)


@pytest.mark.parametrize("snr", [-3.0, 10.0])
@pytest.mark.parametrize("apart", [0.9, 1.12])
def test_two_holes_near_each_other_leave_a_long_tone_whole(snr: float, apart: float) -> None:
    """How long a tone has lasted counts from its onset, however little of it is looked at: holes of 0.34 s in 10 s."""
    onsets = [4 + (15 + HOP_SECONDS) * i for i in range(8)]
    places = ((0, 2.7), (3.04, apart), (3.38 + apart, 6.62 - apart))
    tones = [Tone(onset + at, length, 3400, level(snr)) for onset in onsets for at, length in places]
    told = beeps(hear(add(background(130, 67), tones)))
    assert [(beep.onset, beep.duration) for beep in told] == [pytest.approx((one, 10), abs=0.05) for one in onsets]


def test_each_pulse_is_matched_with_its_own_beep() -> None:
    """Though the one before it begins within the collar of 0.2 s: a count by the collar alone would miss it."""
    tones = row(6, 0.1, 0.1, 3012.0, -6.0)
    pairs = matched(beeps(hear(add(background(8, 63), tones))), tones)
    assert [beep.onset for beep, _ in pairs] == pytest.approx([tone.onset for tone in tones], abs=0.02)


class _None:
    """No harmonics."""

    def envelopes(self, whole: Envelope, first: int | None = None) -> Iterator[Envelope]:
        return iter(())


def test_clicks_in_changing_noise_fail_nothing() -> None:
    """Most of the time there is less than the noise expected: a tone's own level seems to be below nothing."""
    for seed in range(300):
        rng, n = np.random.default_rng(seed), 300
        z = np.zeros((1, n), np.complex128)
        z += 0.3 * (seed % 2) * (rng.normal(size=(1, n)) + 1j * rng.normal(size=(1, n)))
        for first in rng.integers(0, n, rng.integers(1, 6)):
            z[0, first : first + int(rng.integers(1, 12))] += 10 ** rng.uniform(0, 3)
        weight = np.repeat(10 ** rng.uniform(0, 1.5, (1, n // 20)), 20, axis=1)
        found = silences(Envelope(z, weight, 100, 2000.0), cast("Harmonics", _None()), final=True)
        assert all(100 <= a < b <= 100 + n for a, b in found)
