"""What a round is made of, turn after turn."""

from collections.abc import Iterator

import numpy as np
import pytest

from beepwatch.channels import feed
from beepwatch.channels.feed import Feed, Playing
from beepwatch.channels.rounds import ALONE, PAUSE, Round, Track, render
from beepwatch.channels.tone import END, PULSES, REST, Samples, wake_tone
from beepwatch.channels.voice import Voice
from tests.channels.bench import RATE, BenchStream, BenchSystem


class Spoken(Voice):
    """A voice whose lines are ready when the test says so: each is half a second at half of full scale."""

    def __init__(self) -> None:
        super().__init__(print)
        self.ready: set[str] = set()

    def speech(self, line: str, rate: int) -> Samples | None:
        """Half a second, or None."""
        return np.full(rate // 2, 0.5, np.float32) if line in self.ready else None


@pytest.fixture
def voice() -> Spoken:
    """A voice with nothing ready."""
    return Spoken()


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Feed, BenchStream]]:
    """A feed on the bench, open, and its stream."""
    monkeypatch.setattr(feed, "REFRESH", 0.0)
    system = BenchSystem()
    made = Feed(system, None)
    made.open()
    yield made, system.opened.get(timeout=5)
    made.give_up()


def silence(seconds: float) -> Samples:
    """Zeros."""
    return np.zeros(round(seconds * RATE), np.float32)


def test_a_round_is_tone_rest_lines_and_end(voice: Spoken) -> None:
    """In this order, with a pause after each line."""
    voice.ready = {"One.", "Two."}
    samples, whole = render(Round((1,), "high", ("One.", "Two.")), voice, RATE)
    said = np.full(RATE // 2, 0.5, np.float32)
    parts = [wake_tone(RATE), silence(REST), said, silence(PAUSE), said, silence(PAUSE), silence(END)]
    assert whole
    assert samples.dtype == np.float32
    assert np.array_equal(samples, np.concatenate(parts))


def test_a_line_that_is_not_ready_is_left_out_for_now(voice: Spoken) -> None:
    """The tone waits for nothing, and it is told that more is to come; without a voice nothing is to come."""
    voice.ready = {"Two."}
    samples, whole = render(Round((1,), "high", ("One.", "Two.")), voice, RATE)
    assert not whole
    assert np.array_equal(samples, render(Round((1,), "high", ("Two.",)), voice, RATE)[0])
    alone, whole = render(Round((1,), "high", ("One.", "Two.")), None, RATE)
    assert whole
    assert np.array_equal(alone, np.concatenate([wake_tone(RATE), silence(REST + ALONE + END)]))


def test_each_turn_has_another_length(opened: tuple[Feed, BenchStream]) -> None:
    """The row of pulses is cut at the places that the tone's constants say, over and over."""
    on, stream = opened
    playing = Playing(on, Round((1,), "high"), None)
    for number in (*PULSES, *PULSES[:2]):
        playing.prepare()
        tone = wake_tone(RATE, number)
        assert np.array_equal(stream.pump(len(tone) / RATE), tone)
        assert not stream.pump(REST + ALONE + END).any()


def test_a_line_that_is_ready_later_is_spoken_in_the_next_turn(opened: tuple[Feed, BenchStream], voice: Spoken) -> None:
    """The turn that plays is not disturbed."""
    on, stream = opened
    playing = Playing(on, Round((1,), "high", ("One.",)), voice)
    playing.prepare()
    assert stream.pump(1.0).any()
    voice.ready = {"One."}
    playing.prepare()
    stream.pump(len(wake_tone(RATE)) / RATE - 1.0)
    assert not stream.pump(REST + ALONE + END).any()
    tone = wake_tone(RATE, PULSES[1])
    assert np.array_equal(stream.pump(len(tone) / RATE), tone)
    assert not stream.pump(REST).any()
    assert (stream.pump(0.5) == 0.5).all()


@pytest.mark.parametrize("block", [1, 7, 160, 1600, 50_000])
def test_any_block_size_gives_the_same_sound(block: int) -> None:
    """The sound system asks for as much as it likes."""
    samples = np.random.default_rng(2).standard_normal(1234).astype(np.float32)
    for rise in (0.0, 0.5):
        whole, parts = np.empty((20_000, 2), np.float32), np.empty((20_000, 2), np.float32)
        Track(samples, RATE, rise).fill(whole)
        track = Track(samples, RATE, rise)
        for start in range(0, len(parts), block):
            track.fill(parts[start : start + block])
        assert np.array_equal(whole, parts)
        assert whole[-1234:, 0] == pytest.approx(np.roll(samples, -(20_000 % 1234)))


def test_begun_is_false_until_the_first_block() -> None:
    """So the speaker knows when sound left."""
    track = Track(wake_tone(RATE), RATE, 0.0)
    assert not track.begun
    track.fill(np.empty((10, 1), np.float32))
    assert track.begun
