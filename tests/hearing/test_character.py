"""What a burst is like, of sound whose figures are known."""

import numpy as np
import pytest

from beepwatch.hearing.baseband import STEP_NOISE, STEP_SECONDS
from beepwatch.hearing.body import Inside
from beepwatch.hearing.character import purity


def _inside(loud: float, *, bent: float, seconds: float = 10.0) -> Inside:
    """A tone whose first `bent` s warm up, by up to 8 turns, and are `loud` dB over the rest, 30 dB over noise."""
    rng, n = np.random.default_rng(41), round(seconds / STEP_SECONDS)
    time = np.arange(n) * STEP_SECONDS
    phase = 2 * np.pi * 8 * np.sin(2 * np.pi * time / 0.35) * np.maximum(1 - time / max(bent, 1e-9), 0.0) / 3
    u = np.where(time < bent, 10 ** (loud / 20), 1.0) * np.exp(1j * phase) * np.sqrt(1000 * STEP_NOISE)
    u += np.sqrt(STEP_NOISE / 2) * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    return Inside(u, np.ones(n))


@pytest.mark.parametrize("loud", [0.0, 10.0, 20.0])
def test_a_warm_up_that_a_room_makes_louder_does_not_spoil_a_long_tone(loud: float) -> None:
    """A tenth of 10 s drifts through the room's loudest frequencies; the other nine tenths are a pure tone."""
    assert purity(_inside(loud, bent=1.0)) > 0.8


def test_a_long_tone_that_never_settles_is_not_pure() -> None:
    """As a voice or a bowed string: bent from its begin to its end."""
    assert purity(_inside(0.0, bent=30.0)) < 0.5
