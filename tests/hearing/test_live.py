"""When things are told: a beep within half a second of its end, a long one while it sounds."""

import numpy as np
import pytest

from beepwatch.events import Sounding
from beepwatch.hearing import RATE, Hearing
from beepwatch.synthesis import Tone
from tests.hearing.scenes import add, background, beeps, hear, level, matched, spread


@pytest.mark.parametrize(
    ("length", "snr"), [(0.3, -13), (0.3, 10), (1.2, -13), (1.2, 0), (1.2, 20), (5.0, -13), (5.0, 0), (5.0, 20)]
)
def test_a_beep_is_known_within_half_a_second_of_its_end(length: float, snr: float) -> None:
    """95 % of them within 0.5 s, all within 0.9 s, counted from the true end."""
    seconds, tones = spread(20, length, snr, 81)
    pairs = matched(beeps(hear(add(background(seconds, 81), tones))), tones)
    late = [beep.known - tone.onset - tone.length for beep, tone in pairs]
    assert len(late) >= 18
    assert float(np.quantile(late, 0.95)) <= 0.5
    assert max(late) < 0.9


def test_known_is_when_the_push_returns_it() -> None:
    """Pushed in blocks of 10 ms, each beep comes out of the block in which `known` lies."""
    scene = add(background(14, 82), [Tone(3, 1.2, 2500, level(0)), Tone(8, 1.2, 2500, level(-10))])
    hearing = Hearing()
    told = []
    for first in range(0, len(scene), 160):
        told += [(first + 160, beep) for beep in beeps(hearing.push(scene[None, first : first + 160]))]
    assert len(told) == 2
    for position, beep in told:
        assert 0 <= position / RATE - beep.known < 0.0101


@pytest.mark.parametrize("snr", [-18.0, 0.0, 20.0])
def test_a_beep_under_way_is_told_within_a_second_of_13_s(snr: float) -> None:
    """The length that a backup-battery beep never has; a 10 s one is not told under way."""
    tones = [Tone(4, 20, 3000, level(snr)), Tone(30, 10, 3000, level(snr))]
    events = hear(add(background(45, 83), tones))
    [one] = [event for event in events if isinstance(event, Sounding)]
    assert 17 <= one.known <= 18
    assert one.onset == pytest.approx(4, abs=0.1)
    assert one.lasted == pytest.approx(13, abs=1)
    assert one.known == pytest.approx(one.onset + one.lasted, abs=0.1)
    assert one.frequency == pytest.approx(3000, abs=1)
    assert one.level == pytest.approx(level(snr), abs=1)
    assert one.onset_known


def test_any_lengths_may_be_asked_for() -> None:
    """`asked` holds them, rising."""
    scene = add(background(16, 84), [Tone(3, 9, 2000, level(0))])[None]
    hearing = Hearing(1, None, 8000.0, (2.0, 5.0, 8.0, 11.0))
    events = hearing.push(scene) + hearing.flush()
    known = [event.known - 3 for event in events if isinstance(event, Sounding)]
    assert known == pytest.approx([2.5, 5.5, 8.5], abs=0.5)


def test_a_known_tone_is_heard_a_little_deeper() -> None:
    """Where the device's tone is taught fewer nats are asked: never fewer beeps found, and some more near the limit."""
    rng = np.random.default_rng(85)
    tones = [Tone(4 + 4 * i, 1.2, 2500 + float(rng.uniform(-5, 5)), level(-24)) for i in range(40)]
    scene = add(background(168, 85), tones)
    near = [len([b for b in beeps(hear(scene, tone=tone)) if abs(b.frequency - 2500) < 30]) for tone in (None, 2500.0)]
    assert near[1] >= near[0]
    assert near[1] > 4
