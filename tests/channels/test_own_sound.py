"""Twenty minutes of our own wake sound through the recogniser: heard as beeps, taken for no alarm (two beepwatches)."""

import shutil

import numpy as np
import pytest
from scipy.signal import fftconvolve

from beepwatch.channels.rounds import Round, render
from beepwatch.channels.tone import FREQUENCY, OWN_SOUND, PULSES, Samples
from beepwatch.channels.voice import Voice
from beepwatch.events import Beep, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.waking.messages import Messages

SECONDS = 300
"""Of each of the four cases; the hour is in `tests/bench/loud.py`."""
TAUGHT = 5 * FREQUENCY
"""A device's tone at the worst place: on one of our harmonics, in the range where sounders are."""


def night(pattern: str | None, t60: float) -> Samples:
    """Round after round of an alarm's wake sound, as heard in a room: noise that decays by 60 dB in `t60` s."""
    voice = Voice(pytest.fail)
    lines = Messages("Anna", "Sam").lines(pattern) if pattern and shutil.which("espeak-ng") else ()
    voice.prepare(lines)
    assert voice.wait(20)
    turns = [render(Round((1,), "high", lines), voice, RATE, turn)[0] for turn in range(15 * len(PULSES))]
    dry = 0.3 * np.concatenate(turns)[: SECONDS * RATE]
    rng = np.random.default_rng(11)
    time = np.arange(int(1.2 * t60 * RATE)) / RATE
    room = rng.standard_normal(len(time)) * 10 ** (-3 * time / t60)
    room *= 0.75 / np.sqrt(np.sum(room**2))
    room[0] += 1
    wet = fftconvolve(dry, room)[: len(dry)]
    return np.asarray(wet + 1e-3 * rng.standard_normal(len(wet)), np.float32)


@pytest.mark.parametrize(("pattern", "t60", "tone"), [
    (None, 0.7, None),
    ("lead-disconnect", 0.4, None),
    ("lead-disconnect", 0.7, TAUGHT),
    ("fire", 0.4, TAUGHT),
])  # fmt: skip
def test_our_own_wake_sound_is_no_alarm(pattern: str | None, t60: float, tone: float | None) -> None:
    """Five minutes of tone and speech in a furnished room (T60 0.35-0.7 s: Master Handbook of Acoustics).

    As another beepwatch hears it, who is not told of it; and, in the last case, as this one does.
    """
    sound, recognizer = night(pattern, t60), Recognizer(tone=tone)
    recognizer.own_sound(OWN_SOUND if pattern == "fire" else None)
    events = [event for start in range(0, len(sound), RATE) for event in recognizer.push(sound[start : start + RATE])]
    events += recognizer.flush()
    assert [event.alarm.why for event in events if isinstance(event, Raised)] == []
    own = [e for e in events if isinstance(e, Beep) and abs(e.frequency - FREQUENCY) < 20]
    assert len(own) > SECONDS / 10  # it was heard
