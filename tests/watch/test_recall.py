"""The last sound, in memory of a fixed size."""

import numpy as np
import pytest

from beepwatch.watch.recall import RATE, Recall


def ramp(begin: int, count: int, channels: int = 1) -> "np.ndarray[tuple[int, int], np.dtype[np.float32]]":
    """Samples that tell their own place."""
    values = (np.arange(begin, begin + count) % 1000 / 1000).astype(np.float32)
    return np.repeat(values[:, None], channels, axis=1)


@pytest.mark.parametrize("size", [1, 160, 7001, 40_000])
def test_any_split_gives_back_the_last_seconds(size: int) -> None:
    """What is cut is what was pushed, at its own place, however it came."""
    recall = Recall(seconds=1.0)
    whole = ramp(0, 50_000)
    for begin in range(0, len(whole), size):
        recall.push(whole[begin : begin + size])
    begin_s, cut = recall.cut(2.5, 3.0)
    assert begin_s == 2.5
    assert cut == pytest.approx(whole[40_000:48_000], abs=1e-4)


def test_what_is_gone_is_left_off() -> None:
    """A cut that begins too early begins where there still is sound; one that ends in the future ends now."""
    recall = Recall(seconds=1.0)
    recall.push(ramp(0, 3 * RATE))
    begin, cut = recall.cut(0.0, 9.0)
    assert (begin, len(cut)) == (2.0, RATE)
    assert len(recall.cut(0.0, 1.0)[1]) == 0
    assert len(Recall().cut(0.0, 1.0)[1]) == 0


def test_what_was_not_heard_is_silence() -> None:
    """At its own place; a gap longer than the ring leaves nothing else."""
    recall = Recall(seconds=1.0)
    recall.push(ramp(0, RATE // 2) + 0.5)
    recall.skip(RATE // 4)
    recall.push(ramp(0, RATE // 4) + 0.5)
    _, cut = recall.cut(0.0, 1.0)
    assert np.flatnonzero(cut[:, 0] == 0).tolist() == list(range(RATE // 2, 3 * RATE // 4))
    recall.skip(100 * RATE)
    assert not np.any(recall.cut(100.0, 101.0)[1])


def test_of_many_channels_two_are_kept_and_odd_samples_do_no_harm() -> None:
    """NaN and values beyond full scale become silence and full scale."""
    recall = Recall(seconds=1.0)
    samples = ramp(0, RATE, channels=6)
    samples[0], samples[1] = np.nan, 7.0
    recall.push(samples)
    _, cut = recall.cut(0.0, 1.0)
    assert cut.shape == (RATE, 2)
    assert (cut[0, 0], cut[1, 0]) == (0.0, 1.0)
