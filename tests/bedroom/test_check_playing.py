"""Recording and playing at once, with sources and outputs by hand: nothing waits for a clock."""

from collections.abc import Iterator

import numpy as np
import pytest

from beepwatch.bedroom.playing import Player, record
from beepwatch.channels.output import Fill, Output
from beepwatch.errors import CannotHear
from beepwatch.sources.block import Block


class Blocks:
    """A live source of one channel at 1000 Hz; each `take` gives the next (value, lost), None where nothing came."""

    live, rate, channels, ended = True, 1000, 1, False

    def __init__(self, *blocks: tuple[float, int] | None) -> None:
        self._blocks: Iterator[tuple[float, int] | None] = iter(blocks)
        self.now = 0.0

    def take(self, timeout: float) -> Block | None:
        """100 samples of a value."""
        self.now += timeout
        block = next(self._blocks, None)
        return None if block is None else Block(np.full((100, 1), block[0], np.float32), 0, block[1])


def test_what_waited_while_a_question_was_asked_is_forgotten() -> None:
    """Sound from before the step, and what was lost then, are no part of it."""
    source = Blocks((1.0, 0), (2.0, 0), None, (3.0, 5000), (4.0, 0))
    heard = record(source, 0.2)
    assert heard.samples[:, 0].tolist() == [3.0] * 100 + [4.0] * 100


def test_a_loss_on_the_way_is_a_gap_of_its_length() -> None:
    """NaN for as many samples as were lost."""
    heard = record(Blocks(None, (1.0, 0), (2.0, 50), (3.0, 0)), 0.3)
    assert len(heard.samples) == 300
    assert np.flatnonzero(np.isnan(heard.samples[:, 0])).tolist() == list(range(100, 150))


def test_a_microphone_that_gives_nothing_is_told() -> None:
    """After 5 s of the clock, in one line."""
    source = Blocks()
    with pytest.raises(CannotHear, match="check the microphone's plug"):
        record(source, 1.0, clock=lambda: source.now)


class System:
    """An output that is filled by hand."""

    def __init__(self) -> None:
        self.fill: Fill | None = None
        self.abandoned = False
        self.active = True
        self.latency = 0.1

    def find(self, device: str | int | None) -> Output:
        """One output."""
        assert device in (None, "left")
        return Output(0, "left", 8000, 2)

    def open(self, output: Output, fill: Fill) -> "System":
        """Itself."""
        assert output.rate == 8000
        self.fill = fill
        return self

    def abandon(self) -> None:
        """Closed."""
        self.abandoned = True


def test_a_sound_is_played_once_on_all_channels_and_then_silence() -> None:
    """In any split, made for the output's own rate; closed at the end."""
    system = System()
    with Player(lambda rate: np.full(rate // 1000, 0.5, np.float32), "left", system) as player:
        out = np.ones((5, 2), np.float32)
        heard = []
        for _ in range(3):
            assert system.fill is not None
            system.fill(out)
            heard.append(out.copy())
        assert player.done.is_set()
    whole = np.concatenate(heard)
    assert whole[:8].tolist() == [[0.5, 0.5]] * 8
    assert not whole[8:].any()
    assert system.abandoned
