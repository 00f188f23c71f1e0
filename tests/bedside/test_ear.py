"""The bedside's microphone tells its own wake tone from the room."""

import numpy as np
import pytest

from beepwatch.bedside.ear import Ear
from beepwatch.channels.tone import wake_tone

RATE = 16_000


def room(seconds: float, seed: int, level: float = -60.0) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(round(seconds * RATE)) * 10 ** (level / 20) / np.sqrt(2)
    return np.asarray(noise, np.float32)


@pytest.mark.parametrize("loss", [0.0, -30.0, -50.0])
def test_it_hears_the_wake_tone(loss: float) -> None:
    """Whatever the speaker and the room leave of it, down to 10 dB over the noise of the whole band."""
    ear = Ear(RATE)
    ear.hear(room(5, 1))
    assert not ear.heard
    ear.sounding(True)
    tone = wake_tone(RATE)
    ear.hear(room(len(tone) / RATE, 2)[: len(tone)] + tone * np.float32(10 ** (loss / 20)))
    assert ear.heard


@pytest.mark.parametrize("seed", range(20))
def test_it_does_not_hear_what_is_not_there(seed: int) -> None:
    """A mute speaker in a quiet or noisy room is noticed: nothing is taken for the tone."""
    ear = Ear(RATE)
    ear.hear(room(10, seed))
    ear.sounding(True)
    ear.hear(room(10, seed + 100))
    assert not ear.heard


def test_each_alarm_is_judged_by_itself() -> None:
    """What was heard an hour ago says nothing of the speaker now."""
    ear = Ear(RATE)
    ear.hear(room(5, 1))
    ear.sounding(True)
    ear.hear(wake_tone(RATE))
    ear.sounding(False)
    ear.hear(room(5, 2))
    ear.sounding(True)
    ear.hear(room(5, 3))
    assert not ear.heard
