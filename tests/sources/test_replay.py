"""A recording by the microphone's door: at once, or at the pace of the room it was made in."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.sources.block import Block
from beepwatch.sources.recording import Recording
from beepwatch.sources.replay import Replay


@pytest.fixture
def ramp(tmp_path: Path) -> Path:
    """2.05 s of numbered samples."""
    path = tmp_path / "ramp.wav"
    soundfile.write(path, (np.arange(32_800) - 16_400) / 32_768, 16_000, subtype="PCM_16")
    return path


class HandTime:
    """A clock that goes on only by sleeping, and remembers for how long."""

    def __init__(self) -> None:
        self.now = 50.0
        self.slept: list[float] = []

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += seconds


def taken(replay: Replay, timeout: float = 0.25) -> list[Block]:
    found: list[Block] = []
    while not replay.ended:
        block = replay.take(timeout)
        if block is not None:
            found.append(block)
    replay.close()
    return found


def test_fast_form_gives_every_sample_without_a_time(ramp: Path) -> None:
    """All at once, no waiting, no time of arrival."""
    blocks = taken(Replay(Recording(ramp)))
    assert len(np.concatenate([block.samples for block in blocks])) == 32_800
    assert {block.arrived for block in blocks} == {None}


def test_real_time_gives_each_block_when_it_is_due(ramp: Path) -> None:
    """Blocks of 0.1 s, each at its own time, the short one at the end too."""
    hand = HandTime()
    blocks = taken(Replay(Recording(ramp), True, lambda: hand.now, hand.sleep))
    assert [block.arrived for block in blocks] == pytest.approx([50.0 + block.end / 16_000 for block in blocks])
    assert len(blocks) == 21
    assert [block.start for block in blocks] == [1_600 * number for number in range(21)]


def test_real_time_waits_no_longer_than_asked(ramp: Path) -> None:
    """The loop keeps its own pace: a block that is not due yet gives None."""
    hand = HandTime()
    replay = Replay(Recording(ramp), True, lambda: hand.now, hand.sleep)
    assert replay.take(0.03) is None
    assert hand.slept == [0.03]
    assert replay.take(0.08) is not None
    replay.close()
