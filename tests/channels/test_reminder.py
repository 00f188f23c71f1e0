"""A reminder: a short tone and its words, once, at full level at once; then silence."""

import numpy as np

from beepwatch.channels.rounds import REMINDER, Round, render, track_of
from beepwatch.channels.tone import onsets

RATE = 8_000


def test_a_reminder_is_played_once() -> None:
    """Two pulses, then nothing more, however long the stream stays open."""
    round_ = Round((1,), "medium", once=True)
    samples, _ = render(round_, None, RATE)
    track = track_of(round_, samples, RATE)
    out = np.ones((RATE, 2), np.float32)
    heard = []
    for _ in range(8):
        track.fill(out)
        heard.append(float(np.abs(out).max()))
    assert heard[0] > 0.9
    assert onsets(REMINDER)[-1] < 1.0
    assert heard[5:] == [0.0, 0.0, 0.0]
    assert track.over


def test_a_round_is_played_on_and_on() -> None:
    """What is no reminder is never over by itself."""
    round_ = Round((1,), "high")
    track = track_of(round_, render(round_, None, RATE)[0], RATE)
    out = np.ones((RATE, 1), np.float32)
    for _ in range(60):
        track.fill(out)
    assert not track.over
    assert track.turn >= 4
