"""Blocks of any rate and size, with holes: the recogniser gets the same stream time as the clock on the wall."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from beepwatch.events import Beep
from beepwatch.recognizer import Recognizer
from beepwatch.sources.block import Block, Samples
from beepwatch.watch.ears import Ears
from tests.watch.hand import ScriptedRecogniser


def tone_bursts(rate: int, onsets: list[float], seconds: float) -> Samples:
    """Bursts of 1 s of 2.73 kHz in low noise, one channel."""
    at = np.arange(int(rate * seconds)) / rate
    sound = np.random.default_rng(5).normal(0, 0.001, len(at))
    for onset in onsets:
        inside = (at >= onset) & (at < onset + 1.0)
        sound[inside] += 0.1 * np.sin(2 * np.pi * 2730 * at[inside])
    return sound[:, None].astype(np.float32)


@settings(max_examples=30, deadline=None)
@given(
    rate=st.sampled_from([16_000, 44_100, 48_000]),
    parts=st.lists(st.tuples(st.integers(0, 5_000), st.integers(0, 20_000)), max_size=12),
)
@example(rate=44_100, parts=[(1, 1), (0, 1)])  # a stream of under one sample of 16 kHz between two holes
def test_the_recogniser_keeps_the_time_of_the_stream(rate: int, parts: list[tuple[int, int]]) -> None:
    """After any row of blocks and holes it stands where the source stands, to one sample."""
    recogniser = ScriptedRecogniser([])
    ears, end = Ears(rate, 1, lambda: recogniser), 0
    for frames, lost in parts:
        ears.take(Block(np.zeros((frames, 1), np.float32), end + lost, lost))
        end += lost + frames
    ears.flush()
    assert recogniser.position == pytest.approx(end * 16_000 / rate, abs=1)


def test_beeps_after_a_hole_stand_where_they_sounded() -> None:
    """3.1 s lost between two beeps at 44.1 kHz: both onsets are right to 20 ms, and the hole is no silence."""
    rate = 44_100
    sound = tone_bursts(rate, [2.0, 8.0], 11.0)
    cut = slice(int(4.0 * rate), int(7.1 * rate))
    ears = Ears(rate, 1, Recognizer)
    events = ears.take(Block(sound[: cut.start], 0))
    events += ears.take(Block(sound[cut.stop :], cut.stop, cut.stop - cut.start))
    events += ears.flush()
    assert ears.fault is None
    onsets = [event.onset for event in events if isinstance(event, Beep)]
    assert onsets == pytest.approx([2.0, 8.0], abs=0.02)


def test_an_unheard_block_is_a_gap() -> None:
    """Digital silence of a deaf microphone goes in as lost samples, not as a quiet room."""
    recogniser = ScriptedRecogniser([])
    ears = Ears(16_000, 1, lambda: recogniser)
    ears.take(Block(np.zeros((1_600, 1), np.float32), 0), unheard=True)
    assert recogniser.skipped == [1_600]


def test_a_fault_is_kept_and_cleared_by_the_next_success() -> None:
    """`fault` tells what happened; the samples of the faulty block count, so time does not slip."""
    made: list[ScriptedRecogniser] = []

    def make() -> ScriptedRecogniser:
        made.append(ScriptedRecogniser([], [] if made else [0.0]))
        return made[-1]

    ears = Ears(16_000, 1, make)
    ears.take(Block(np.zeros((1_600, 1), np.float32), 0))
    assert ears.fault == "the recogniser failed (RuntimeError: a division by zero, say)"
    ears.take(Block(np.zeros((1_600, 1), np.float32), 1_600))
    assert ears.fault is None
    assert made[1].position == 3_200
