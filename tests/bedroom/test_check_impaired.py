"""Every kind of spoilt microphone is found, and in ten clean rooms nothing is."""

import os
from importlib.util import find_spec

import numpy as np
import pytest

from beepwatch.bedroom.check import room_check
from beepwatch.bedroom.findings import kinds
from beepwatch.bedroom.hold import hold
from beepwatch.bedroom.raw import raw_findings
from beepwatch.bedroom.sounds import steady
from beepwatch.bedroom.tone import echo_finding, tone_findings
from tests.bedroom.impaired import Impairment, during_tone, in_quiet, webrtc_echo, webrtc_suppressor
from tests.bedroom.rooms import RATE, bedroom, heard

TONE = 2730.0
needs_packages = pytest.mark.skipif(
    find_spec("pywebrtc_audio") is None and os.environ.get("CI") != "true",
    reason="WebRTC, RNNoise and Speex come as wheels for 64-bit Linux alone",
)
TONED, RESTED = during_tone(TONE, steady(TONE, RATE)), in_quiet(TONE)


def toned(seed: int, level: float = -16.0) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """The test tone in a room, 50 ms late."""
    late = np.concatenate([np.zeros(RATE // 20, np.float32), steady(TONE, RATE)])[: 21 * RATE]
    return heard(late, bedroom(seed).device, level, -62.0, seed)


def rested(seed: int) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """15 s of the quiet room."""
    return heard(np.zeros(15 * RATE, np.float32), bedroom(seed).device, 0.0, -62.0, seed)


@needs_packages
@pytest.mark.parametrize("seed", [0, 3])
@pytest.mark.parametrize("one", TONED, ids=[each.name for each in TONED])
def test_the_steady_tone_shows_it(one: Impairment, seed: int) -> None:
    """It is found, in a white and in a breathing room, under a fitting name, and is not a mere note."""
    told = tone_findings(one.spoil(toned(seed))[:, None], RATE, TONE)
    assert {each.kind for each in told} & one.kinds, told
    assert all(each.weight == "fault" for each in told)


@pytest.mark.parametrize("one", RESTED, ids=[each.name for each in RESTED])
def test_the_quiet_room_shows_it(one: Impairment) -> None:
    """It is found without any tone."""
    told = room_check(one.spoil(rested(1))[:, None], RATE, TONE).findings
    assert {each.kind for each in told} & one.kinds, told


@pytest.mark.parametrize("seed", range(10))
def test_a_clean_room_shows_nothing(seed: int) -> None:
    """White, pink, fan and breathing noise; tone known or not; loud or near the noise: no find is invented."""
    for level in (-16.0, -26.0):
        assert tone_findings(toned(seed, level)[:, None], RATE, TONE) == []
    for tone in (TONE, None):
        assert room_check(rested(seed)[:, None], RATE, tone).findings == ()


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000])
@pytest.mark.parametrize("tone", [450.0, 1000.0, 2730.0, 3400.0])
def test_any_rate_and_tone_hold_where_nothing_is_wrong(rate: int, tone: float) -> None:
    """At other rates and tones the line is level, the step whole and the tone right to 0.01 %."""
    rng = np.random.default_rng(3)
    sound = (0.1 * steady(tone, rate) + 1e-4 * rng.standard_normal(21 * rate)).astype(np.float32)
    told = hold(sound, rate, tone)
    assert told is not None
    assert told.frequency == pytest.approx(tone, rel=1e-4)
    assert told.level == pytest.approx(-26, abs=0.2)
    assert told.fade == pytest.approx(0, abs=0.2)
    assert told.step == pytest.approx(20, abs=0.3)
    assert tone_findings(sound[:, None], rate, tone) == []


@needs_packages
def test_an_echo_filter_is_told_from_a_noise_filter_by_the_phone() -> None:
    """This computer's own tone sinks, the phone's does not: echo. Both sink: no echo."""
    plain = toned(0)
    own = hold(webrtc_echo(steady(TONE, RATE))(plain), RATE, TONE)
    filtered = hold(webrtc_suppressor(2)(plain), RATE, TONE)
    phone = hold(plain, RATE, TONE)
    assert own is not None
    assert filtered is not None
    assert phone is not None
    echo = echo_finding(own, phone)
    assert echo is not None
    assert echo.kind == "echo"
    assert echo_finding(filtered, filtered) is None
    assert echo_finding(phone, phone) is None


def test_dead_channels_and_copies_are_told_by_their_number() -> None:
    """Channel 2 silent: dead. Channel 2 the same as 1: a copy, and only a note."""
    room = rested(2)
    dead = raw_findings(np.stack([room, 0 * room], axis=1), RATE)
    assert [(each.kind, each.figure, each.weight) for each in dead] == [("dead-channel", 2, "fault")]
    copy = raw_findings(np.stack([room, room], axis=1), RATE)
    assert [(each.kind, each.figure, each.weight) for each in copy] == [("copy", 2, "note")]


def test_the_hum_of_the_mains_is_a_note() -> None:
    """50 Hz and its multiples stand in the noise: told, but no fault; blades of a fan are no hum."""
    room = rested(2)
    t = np.arange(len(room)) / RATE
    hum = sum(1e-3 / k * np.sin(2 * np.pi * 50 * k * t) for k in range(1, 9))
    told = room_check((room + hum).astype(np.float32)[:, None], RATE, TONE).findings
    assert [(each.kind, each.figure, each.weight) for each in told] == [("hum", 50, "note")]


def test_no_tone_at_all_is_not_heard() -> None:
    """A recording without the tone says so; half a second of it too."""
    assert [each.kind for each in tone_findings(rested(0)[:, None], RATE, TONE)] == ["not-heard"]
    assert [each.kind for each in tone_findings(rested(0)[: RATE // 2, None], RATE, TONE)] == ["not-heard"]


def test_lost_sound_counts_as_holes() -> None:
    """NaN, as a live source marks what it lost, is told as drop-outs."""
    sound = toned(0)
    for at in range(4, 12):
        sound[at * RATE : at * RATE + 800] = np.nan
    assert [each.kind for each in tone_findings(sound[:, None], RATE, TONE)] == ["drop-outs"]


def test_the_tests_cover_the_kinds_that_can_be_found() -> None:
    """No kind of finding is without a test here or in test_check_places (far)."""
    tested = {kind for each in [*TONED, *RESTED] for kind in each.kinds}
    assert tested | {"echo", "dead-channel", "copy", "hum", "asleep", "far"} == set(kinds())


def test_a_room_that_goes_digitally_silent_is_asleep() -> None:
    """Seconds of exact zeros amid noise, and not a word of holes."""
    room = rested(0)
    room[4 * RATE : 9 * RATE] = 0
    told = room_check(room[:, None], RATE, TONE).findings
    assert [each.kind for each in told] == ["asleep"]
    assert told[0].figure == pytest.approx(5, abs=0.01)
