"""One night, live, nothing replaced: a sound in the room goes through the sound server to the bedside speaker."""

import signal
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from beepwatch.channels.tone import FREQUENCY, onsets
from beepwatch.records.clips import FOLDER
from beepwatch.records.reading import History
from beepwatch.records.verify import verify
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live
SPEECH = 5.0
"""s of speech to wait for after the tone."""


def shares(samples: npt.NDArray[np.float64], rate: int) -> npt.NDArray[np.float64]:
    """For each 0.1 s: level (rms), and the share of its power at 520 Hz +-10 % and its odd harmonics to 3640 Hz."""
    frames = samples[: len(samples) // (rate // 10) * (rate // 10)].reshape(-1, rate // 10)
    power = np.abs(np.fft.rfft(frames * np.hanning(frames.shape[1]), axis=1)) ** 2
    hertz = np.fft.rfftfreq(frames.shape[1], 1 / rate)
    near = [np.abs(hertz - FREQUENCY * k) < FREQUENCY / 10 for k in (1, 3, 5, 7)]
    tone = power[:, np.any(near, axis=0)].sum(axis=1)
    rms = np.sqrt((frames**2).mean(axis=1))
    return np.stack([rms, tone / np.maximum(power.sum(axis=1), 1e-12)], axis=1)


def the_clip_has_the_beep(data: Path) -> None:
    """A FLAC file beside the history whose power is nearly all at the beep's tone; and all is as it was written."""
    with History(data) as history:
        first, *_ = history.clips()
    clip, rate = soundfile.read(data / FOLDER / first.clip.file)
    power = np.abs(np.fft.rfft(clip)) ** 2
    near = np.abs(np.fft.rfftfreq(len(clip), 1 / rate) - first.clip.tone) < 30
    assert first.clip.seconds > 5
    assert power[near].sum() > 0.9 * power.sum()
    assert verify(data).faults == ()


def test_an_alarm_in_the_room_wakes_at_the_bedside_and_is_remembered(
    room: Room, listen: Callable[..., Listening], lead: Path, hiss: Path, tmp_path: Path
) -> None:
    """Beeps, then tone and speech, then a key that ends it, Ctrl-C, exit 0, and all of it in the history."""
    room.play(hiss)
    recorder = room.record_bedside(tmp_path / "bedside.wav")
    listening = listen(terminal=True)
    listening.expect("Listening to 'pulse'", 15)
    room.play(lead)
    listening.expect("ALARM: lead-disconnect", 15)
    listening.expect("Check both ends of the cable", 2)
    listening.expect("The wake sound has begun", 2)
    time.sleep(onsets()[-1] + SPEECH)  # what sounds meanwhile is recorded
    listening.answer()
    listening.expect("Answered", 2)
    time.sleep(1.5)  # silence after the answer is recorded
    assert listening.end() == 0
    room.finish(recorder)

    (alarm,) = listening.history()
    assert (alarm["pattern"], alarm["priority"]) == ("lead-disconnect", "high")
    assert 0 < alarm["woken_after"] < 1.5
    assert 10 < alarm["acknowledged_after"] < 20
    (span,) = [row for row in listening.history("--listening") if row["record"] == "listening"]
    assert span["closed"]
    the_clip_has_the_beep(listening.data)

    samples, rate = soundfile.read(tmp_path / "bedside.wav")
    level, tone = shares(samples, rate).T
    loud = np.flatnonzero(level > 0.02)
    first = loud[0]
    during = slice(first, first + round(10 * onsets()[-1]))
    assert np.median(tone[during][level[during] > 0.02]) > 0.8
    after = slice(first + round(10 * onsets()[-1]) + 8, loud[-1])
    speech = level[after] > 0.02
    assert speech.sum() > 10 * SPEECH * 0.4
    assert np.median(tone[after][speech]) < 0.5
    assert len(level) - loud[-1] > 10  # s/10 of silence at the end: the answer ended it


def test_without_a_terminal_it_listens_until_it_is_told_to_stop(
    room: Room, listen: Callable[..., Listening], hiss: Path
) -> None:
    """Input closed, SIGTERM: exit 0, and the span of listening is closed in the history."""
    room.play(hiss)
    listening = listen("--silent")
    listening.expect("no key can answer", 15)
    time.sleep(2.0)  # some seconds of listening to be counted
    assert listening.end(signal.SIGTERM) == 0
    (span,) = [row for row in listening.history("--listening") if row["record"] == "listening"]
    assert span["closed"]
    assert listening.history() == []


def test_a_recording_plays_what_would_wake(
    room: Room, listen: Callable[..., Listening], lead: Path, tmp_path: Path
) -> None:
    """`watch FILE`: done with the file at once, it plays the wake sound at the bedside until a key is pressed."""
    recorder = room.record_bedside(tmp_path / "bedside.wav")
    listening = listen(recording=lead, terminal=True)
    listening.expect("The wake sound has begun for lead-disconnect", 15)
    time.sleep(2.0)  # of the tone are recorded
    listening.answer()
    listening.expect("Listened for 14 s", 5)
    assert listening.process.wait(timeout=8) == 0
    room.finish(recorder)
    (alarm,) = listening.history("--recordings")
    assert alarm["pattern"] == "lead-disconnect"
    assert alarm["woken_after"] is not None
    assert listening.history() == []
    samples, rate = soundfile.read(tmp_path / "bedside.wav")
    level, tone = shares(samples, rate).T
    assert np.median(tone[level > 0.02]) > 0.8


def test_a_second_listener_on_the_same_history_is_refused(room: Room, listen: Callable[..., Listening]) -> None:
    """One line, exit code 2; the first one listens on, and all is as it was written."""
    first = listen()
    first.expect("Listening to 'pulse'", 15)
    second = listen()
    assert second.process.wait(timeout=30) == 2
    second.expect("another beepwatch already listens and writes in", 1)
    assert not any("Traceback" in line for line in second.lines)
    assert first.end() == 0
    assert verify(first.data).faults == ()
