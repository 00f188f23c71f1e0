"""Long tones near the limit: their edges on their own line, warm-up and all, and no end that noise made up."""

import numpy as np
import pytest

from beepwatch.hearing.baseband import STEP_SECONDS
from beepwatch.hearing.drift import Envelope
from beepwatch.hearing.faint import Line, goes_on, line_before, onset, place
from beepwatch.hearing.spectrum import Doubles
from beepwatch.synthesis import Tone
from tests.hearing.scenes import add, background, beeps, hear, level, matched, row, spread


def made(rate: float, span: tuple[int, int], n: int, seed: int, warm_up: tuple[float, float] = (0.0, 0.3)) -> Envelope:
    """n steps of baseband: a tone of `rate` energy in a second over noise 1, over `span`, with a warm-up of (Hz, s)."""
    rng, (begin, end) = np.random.default_rng(seed), span
    noise = (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)
    steps = np.arange(n)
    late = np.maximum(steps - begin, 0) * STEP_SECONDS
    hertz, seconds = warm_up
    turns = 3.0 * late - hertz * seconds * np.expm1(-late / seconds)
    tone = np.sqrt(rate * STEP_SECONDS) * np.exp(2j * np.pi * turns) * ((steps >= begin) & (steps < end))
    return Envelope((noise + tone)[None], np.ones((1, n)), 0, 3000.0)


@pytest.mark.parametrize("warm_up", [(0.0, 0.3), (6.0, 0.2), (-6.0, 0.4), (-6.0, 0.5)])
def test_an_onset_is_found_through_its_warm_up(warm_up: tuple[float, float]) -> None:
    """At -23 dB (40 nats a second) 17 of 20 to 0.2 s, their median to 0.1 s: 0.2 % either way."""
    off = []
    for seed in range(20):
        whole = made(40.0, (600, 2600), 2800, seed, warm_up)
        off.append((onset(whole, 650.0, 2600.0) - 600) * STEP_SECONDS)
    assert sum(abs(one) <= 0.2 for one in off) >= 17
    assert abs(float(np.median(off))) < 0.1


def test_a_sharp_likelihood_gives_its_median_and_a_wide_one_the_place_within_the_collar() -> None:
    """Two peaks 1 s apart: their median lies in neither; the better one is told."""
    places: Doubles = np.arange(1000.0)
    narrow = -0.5 * ((places - 400) / 10) ** 2
    assert place(places, narrow) == pytest.approx(400, abs=1)
    two = np.logaddexp(narrow, np.log(0.6) - 0.5 * ((places - 650) / 10) ** 2)
    assert place(places, two) == pytest.approx(400, abs=15)


def test_a_tone_goes_on_or_has_ended() -> None:
    """At -24 dB, a second after a dip of the noise: told right 40 times of 40, and nothing is said of too little."""
    for seed in range(20):
        sounding, ended = made(32.0, (0, 3000), 1250, seed), made(32.0, (0, 1000), 1250, seed)
        for whole, expected in ((sounding, True), (ended, False)):
            line = line_before(whole, 0.0, 1000.0)
            assert isinstance(line, Line)
            assert line.rate == pytest.approx(32, rel=0.5)
            assert goes_on(whole, line, 1000.0) == expected
    assert line_before(made(32.0, (0, 3000), 1250, 1), 900.0, 1000.0) is None


def test_ten_seconds_near_the_limit_are_one_beep_with_its_onset() -> None:
    """At -24 dB 16 of 20 lie in the collars of event scores, at most four pieces are told besides."""
    seconds, tones = spread(20, 10.0, -24.0, 36)
    told = beeps(hear(add(background(seconds, 36), tones)))
    assert len(matched(told, tones)) >= 16
    assert len(told) <= 24


@pytest.mark.parametrize("beside", [-100.0, -70.0, 80.0])
def test_a_faint_line_does_not_take_louder_beeps_beside_it_for_its_own(beside: float) -> None:
    """They lie in its baseband, but not in its bins: it was told as one tone of 10 s with their frequency."""
    line = Tone(10, 12, 3600 + beside, level(-25))
    beeps_ = row(4, 0.9, 6.0, 3600, 3, first=4.0)
    told = beeps(hear(add(background(32, 11), [line, *beeps_]), tone=3600.0))
    assert len(matched(told, beeps_)) == 4
    assert all(abs(beep.frequency / 3600 - 1) > 0.01 for beep in told if beep.duration > 1.2)
