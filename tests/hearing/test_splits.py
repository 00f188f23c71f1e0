"""Hearing as a stream: how samples are cut into blocks changes nothing, nothing is lost, and memory stays flat."""

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beepwatch.events import Beep, Heard, SteadyTone
from beepwatch.hearing import RATE, Hearing
from beepwatch.hearing.floor import BLOCK
from beepwatch.hearing.rows import Rows
from beepwatch.hearing.spectrum import HOP
from beepwatch.synthesis import Tone
from tests.hearing.scenes import Floats, add, background, beeps, hear, level, row, spread

SCENES = ("strong", "weak", "pulses", "long", "two channels")


def made(name: str) -> Floats:
    """A scene by name, shape (channels, n)."""
    if name == "pulses":
        return add(background(14, 3), row(12, 0.15, 0.2, 2900, 5))[None]
    if name == "long":
        return add(background(34, 4), [Tone(4, 20, 3100, level(-5), drift=-0.002)])[None]
    seconds, tones = spread(4, 1.2, {"strong": 20, "weak": -20}.get(name, -10), 5)
    if name == "two channels":
        return np.stack([add(background(seconds, 6), tones), add(background(seconds, 7), tones[1:])])
    return add(background(seconds, 6), tones)[None]


MADE = {name: made(name) for name in SCENES}
EXPECTED = {name: hear(samples, len(samples)) for name, samples in MADE.items()}


KNOWN = 2730.0
FAINT = add(background(30, 13), row(5, 1.2, 4.0, KNOWN, -26.0))


def crowded(seed: int) -> Floats:
    """Rows of tones of many lengths, gaps, levels, drifts and harmonics at once, in noise that jumps, stops or clips:
    (channels, n)."""
    rng = np.random.default_rng(seed)
    seconds = float(rng.uniform(20, 40))
    tones = [tone for _ in range(rng.integers(2, 9)) for tone in some_row(rng, seconds) if tone.begin < seconds - 0.1]
    return np.stack([spoilt(add(background(seconds, seed, "pink"), tones), rng) for _ in range(rng.integers(1, 3))])


def some_row(rng: np.random.Generator, seconds: float) -> list[Tone]:
    """A row of pulses of one sounder, with up to three partials."""
    hertz, on, off = rng.uniform(400, 2500), rng.choice([0.1, 0.15, 0.3, 0.6, 1.2, 3, 10, 20]), rng.uniform(0.1, 3)
    snr, drift, begin = rng.uniform(-22, 30), rng.choice([0, -0.002, 0.01, -0.03]), rng.uniform(0, 0.7 * seconds)
    return [
        Tone(begin + i * (on + off), on, n * hertz, level(snr - 6 * n), drift=drift, warm_up=0.3)
        for i in range(rng.integers(1, 12))
        for n in range(1, rng.integers(2, 5))
    ]


def spoilt(samples: Floats, rng: np.random.Generator) -> Floats:
    """The level jumps, the sound stops, or it clips."""
    for gain in 10 ** rng.uniform(-1.5, 1, rng.integers(0, 4)):
        first = rng.integers(len(samples))
        samples[first : first + rng.integers(1, 5 * RATE)] *= np.float32(gain)
    first = rng.integers(len(samples))
    samples[first : first + rng.integers(0, 2 * RATE)] = 0
    return np.clip(samples, -0.05, 0.05)


def in_pieces(samples: Floats, cuts: list[int], hearing: Hearing | None = None) -> list[Heard]:
    """Hear the scene in pieces whose lengths are `cuts`, again and again."""
    hearing = Hearing(len(samples)) if hearing is None else hearing
    events, first, turn = [], 0, 0
    while first < samples.shape[1]:
        events += hearing.push(samples[:, first : first + cuts[turn % len(cuts)]])
        first += cuts[turn % len(cuts)]
        turn += 1
    return events + hearing.flush()


@pytest.mark.parametrize("name", SCENES)
@settings(max_examples=4, deadline=None, derandomize=True)
@given(cuts=st.lists(st.integers(0, 40_000), min_size=1, max_size=12).filter(lambda cuts: sum(cuts) > 2000))
def test_any_split_gives_the_events_of_the_whole(name: str, cuts: list[int]) -> None:
    """Beeps, noise and the moment at which each is known are equal for every way to cut the stream."""
    assert beeps(EXPECTED[name])
    assert in_pieces(MADE[name], cuts) == EXPECTED[name]


@settings(max_examples=6, deadline=None, derandomize=True)
@given(cuts=st.lists(st.integers(0, 40_000), min_size=1, max_size=12).filter(lambda cuts: sum(cuts) > 2000))
def test_any_split_gives_the_faint_beeps_of_a_known_tone(cuts: list[int]) -> None:
    """They come of the search near the tone; each split tells the same."""
    hearing = Hearing(tone=KNOWN, length=1.2)
    assert in_pieces(FAINT[None], cuts, hearing) == hear(FAINT, tone=KNOWN, length=1.2)


def test_a_known_tone_is_heard_fainter() -> None:
    """At -26 dB most of five breaths of a known tone and length are told, none of an unknown one."""
    assert len(beeps(hear(FAINT, tone=KNOWN, length=1.2))) >= 3
    assert not beeps(hear(FAINT))


def test_a_tone_may_become_known_while_it_listens() -> None:
    """From then on it is as if it had been known; a beep that is under way is whole."""
    hearing = Hearing()
    hearing.know(KNOWN, 1.2)
    assert hearing.push(FAINT[None]) + hearing.flush() == hear(FAINT, tone=KNOWN, length=1.2)
    loud = add(background(12, 2), row(2, 1.2, 3.0, KNOWN, 0.0))
    hearing = Hearing()
    events = hearing.push(loud[None, : 4 * RATE])
    hearing.know(KNOWN, 1.2)
    assert events + hearing.push(loud[None, 4 * RATE :]) + hearing.flush() == hear(loud)


@pytest.mark.parametrize("size", [160, HOP - 1, HOP, BLOCK * HOP, 7 * RATE])
@pytest.mark.parametrize("name", ["strong", "pulses", "two channels"])
def test_blocks_of_one_size_give_the_events_of_the_whole(name: str, size: int) -> None:
    """A sound card's 10 ms, hearing's own hop and block, one less than it, and a long read."""
    assert in_pieces(MADE[name], [size]) == EXPECTED[name]


@pytest.mark.parametrize("size", [250, 1024, 4500, 30_000])
@pytest.mark.parametrize("seed", range(6))
def test_a_crowd_of_tones_is_told_alike_in_any_pieces(seed: int, size: int) -> None:
    """Tracks that hold, free and spoil each other's bins in one block."""
    scene = crowded(seed)
    whole = hear(scene, len(scene))
    assert beeps(whole)
    assert in_pieces(scene, [size, size // 7, 3 * size // 2]) == whole


def notes(seed: int) -> Floats:
    """Music of a kind: 300 notes in a minute that come and go in one another's bins, up to 40 dB apart."""
    lot = np.random.default_rng([71, seed])
    lines = lot.uniform(500, 4000, 12)
    tones = [
        Tone(
            float(lot.uniform(1, 56)), float(lot.choice([0.1, 0.3, 0.8, 3.0])) * float(lot.uniform(0.7, 1.4)),
            float(lot.choice(lines) + lot.uniform(-40, 40)), level(float(lot.uniform(-10, 30))),
        )
        for _ in range(300)
    ]  # fmt: skip
    return add(background(60, seed + 80), tones)


@pytest.mark.parametrize("seed", [4, 5, 10, 11])
def test_notes_in_one_anothers_bins_are_told_alike_in_any_pieces(seed: int) -> None:
    """Which track gives way to which must not depend on how many frames came at once."""
    scene = notes(seed)[None]
    assert in_pieces(scene, [1600, 900, 2300]) == hear(scene)


def test_single_samples_give_the_events_of_the_whole() -> None:
    """Even one sample at a time (two seconds of the scene so, the rest at once)."""
    samples = MADE["strong"]
    hearing = Hearing()
    events = [event for i in range(2 * RATE) for event in hearing.push(samples[:, i : i + 1])]
    events += hearing.push(samples[:, 2 * RATE :]) + hearing.flush()
    assert events == EXPECTED["strong"]


@pytest.mark.parametrize("cut", [4.0, 4.6, 5.15])
def test_flush_loses_nothing(cut: float) -> None:
    """A beep that still sounds when the stream ends is told by flush, to the end of the stream."""
    scene = add(background(8, 8), [Tone(3, 5, 2700, level(0))])[: round(cut * RATE)]
    hearing = Hearing()
    assert not beeps(hearing.push(scene[None]))
    [beep] = beeps(hearing.flush())
    assert beep.onset == pytest.approx(3, abs=0.03)
    assert beep.end == pytest.approx(cut, abs=0.06)
    assert beep.known <= cut


def test_flush_of_nothing_is_nothing() -> None:
    """An empty stream and a second flush tell nothing."""
    hearing = Hearing()
    assert hearing.flush() == []
    hearing.push(background(3, 1)[None])
    hearing.flush()
    assert hearing.flush() == []


def test_events_come_in_the_order_in_which_they_are_known() -> None:
    """Within a stream, `known` never goes back, and no event is known before what it tells of."""
    for name, events in EXPECTED.items():
        known = [event.known for event in events if isinstance(event, Beep)]
        assert known == sorted(known), name
        assert all(beep.known >= beep.end - 0.02 for beep in beeps(events)), name


def test_memory_stays_flat() -> None:
    """Twelve more minutes take less than 100 kB more: all that is kept is bounded (a long track's sound is 180 kB)."""
    seconds, tones = spread(12, 1.2, -5, 9)
    scene = add(background(seconds, 9), tones)[None]
    hearing = Hearing()
    sizes = []
    for _ in range(24):
        hearing.push(scene)
        sizes.append(len(pickle.dumps(hearing)))
    assert max(sizes[12:]) - max(sizes[:12]) < 100_000


def test_a_gap_ends_what_sounded_and_time_goes_on() -> None:
    """A beep before lost samples is told; stream time counts the lost ones; hearing goes on after them."""
    scene = add(background(12, 11), [Tone(3, 2, 2700, level(5)), Tone(9, 1.2, 2700, level(5))])
    hearing = Hearing()
    events = hearing.push(scene[None, : 4 * RATE]) + hearing.skip(2 * RATE)
    assert hearing.position == 6 * RATE
    events += hearing.push(scene[None, 6 * RATE :]) + hearing.flush()
    first, second = beeps(events)
    assert (first.onset, first.end) == pytest.approx((3, 4), abs=0.06)
    assert (second.onset, second.duration) == pytest.approx((9, 1.2), abs=0.03)
    assert not any(isinstance(event, SteadyTone) for event in events)


def test_no_look_reaches_behind_what_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two faint tones of 14 and 15 s whose ends stay in doubt: frames that were let go would be read as others."""
    asked: list[int] = []
    ratio = Rows.ratio

    def watched(rows: Rows, first: int, stop: int) -> Floats:
        asked.append(first - rows.since(rows.end))
        return ratio(rows, first, stop)

    monkeypatch.setattr(Rows, "ratio", watched)
    tones = [Tone(5, 14, 1200, level(-27)), Tone(30, 15, 2100, level(-27))]
    hear(add(background(70, 12), tones))
    assert min(asked) >= -BLOCK
