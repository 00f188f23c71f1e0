"""What a clip keeps: the beep can be heard again, talk cannot be followed, by a measure that is not ours."""

import io
import subprocess

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
import soxr
from pystoi import stoi

from beepwatch.records.narrow import RATE, middles, narrowed
from tests.realsounds import Sound as Recording
from tests.realsounds import mono
from tests.realsounds import recorded_sounds as recorded_sounds  # noqa: PLC0414 - the fixture

Sound = npt.NDArray[np.float32]
TALK = 0.05
"""rms of the talk, of full scale."""
TEXT = "Did you put the kettle on? Speak quietly and close the door behind you, for the child is asleep now, I think."


@pytest.fixture(scope="module")
def talks(recorded_sounds: list[Recording]) -> list[Sound]:
    """Recorded prompts in one voice (three pieces of 10 s), and a synthesised one."""
    files = [sound.path for sound in recorded_sounds if sound.package == "asterisk-core-sounds-en-wav"]
    recorded = np.concatenate([mono(file) for file in sorted(files)[::40]])
    pieces = [recorded[turn * 10 * RATE : (turn + 1) * 10 * RATE] for turn in range(3)]
    spoken = subprocess.run(["espeak-ng", "--stdout", TEXT], capture_output=True, check=True).stdout
    pieces.append(at_rate(*soundfile.read(io.BytesIO(spoken), dtype="float32")))
    return [piece * (TALK / np.sqrt(np.mean(piece**2))) for piece in pieces]


def at_rate(sound: Sound, rate: int) -> Sound:
    """One channel of 16 kHz."""
    made: Sound = soxr.resample(sound, rate, RATE)
    return made


def beeps(count: int, tone: float, level: float, steady: bool) -> Sound:
    """Beeps of 1.2 s each 5 s, or one tone all along; level: rms while it sounds."""
    time = np.arange(count) / RATE
    on = np.ones(count) if steady else (time % 5 < 1.2)
    made: Sound = (level * np.sqrt(2) * np.sin(2 * np.pi * tone * time) * on).astype(np.float32)
    return made


def followed(talk: Sound, clip: npt.NDArray[np.int16]) -> float:
    """STOI of the clip against the clean talk, at the 10 kHz for which it is defined."""
    kept = clip.astype(np.float64) / 32768
    return float(stoi(soxr.resample(talk, RATE, 10_000), soxr.resample(kept, RATE, 10_000), 10_000))


@pytest.mark.real
def test_talk_mixed_with_a_beep_cannot_be_followed_in_a_clip(talks: list[Sound]) -> None:
    """STOI under 0.3 for each talk at tones from 420 Hz to 4 kHz; no beep, beeps as loud, a long one 10 dB louder."""
    for tone in (420.0, 520.0, 1000.0, 2730.0, 4000.0):
        figures = []
        for talk in talks:
            for level, steady in ((0.0, False), (TALK, False), (3.16 * TALK, True)):
                room = talk + beeps(len(talk), tone, level, steady)
                figures.append(followed(talk, narrowed(room[:, None], tone)))
        print(f"{tone:.0f} Hz: STOI {np.mean(figures):.2f} on average, {max(figures):.2f} at most")
        assert max(figures) < 0.3


@pytest.mark.real
def test_the_measure_reads_high_where_talk_can_be_followed(talks: list[Sound]) -> None:
    """The same talk with the same beep, unfiltered, and what a band of 4 kHz would let through."""
    talk = talks[0]
    room = talk + beeps(len(talk), 2730.0, TALK, steady=False)
    assert stoi(soxr.resample(talk, RATE, 10_000), soxr.resample(room, RATE, 10_000), 10_000) > 0.8


def test_the_beep_is_heard_again_in_the_clip() -> None:
    """Five beeps of 1.2 s at the level of the room's noise: each with its length, and loud, where it was faint."""
    chance = np.random.default_rng(20260301)
    room = beeps(25 * RATE, 2730.0, 0.001, steady=False) + 0.001 * chance.standard_normal(25 * RATE).astype(np.float32)
    clip = narrowed(room[:, None], 2730.0).astype(np.float64) / 32768
    step = RATE // 100
    loud = np.sqrt(np.mean(clip.reshape(-1, step) ** 2, axis=1))
    on = np.convolve(loud, np.ones(9) / 9, "same") > 0.15  # half of a beep's 0.35 and less
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
    begins, ends = edges[::2] / 100, edges[1::2] / 100
    assert begins == pytest.approx([0, 5, 10, 15, 20], abs=0.06)
    assert ends - begins == pytest.approx([1.2] * 5, abs=0.08)


def test_nothing_is_kept_outside_the_bands() -> None:
    """A tone 100 Hz beside them adds nothing to the crackle at its place."""
    time = np.arange(4 * RATE) / RATE
    beside = (0.3 * np.sin(2 * np.pi * 2830 * time)).astype(np.float32)
    tone = (0.3 * np.sin(2 * np.pi * 2730 * time)).astype(np.float32)
    alone, both = narrowed(tone[:, None], 2730.0), narrowed((tone + beside)[:, None], 2730.0)
    there = slice(2 * 2825, 2 * 2835)  # of a spectrum of 2 s, so 0.5 Hz apart
    with_it, without = (
        np.abs(np.fft.rfft(one[RATE : 3 * RATE] * np.hanning(2 * RATE)))[there] for one in (both, alone)
    )
    assert np.sum(with_it**2) == pytest.approx(np.sum(without**2), rel=0.1)
    assert middles(2730.0) == [2730.0, 5460.0]
    assert middles(520.0) == [520.0]


def test_the_channel_with_the_beep_is_the_one_that_is_kept() -> None:
    """And a clip of nothing is empty."""
    tone = beeps(2 * RATE, 2730.0, 0.1, steady=True)
    stereo = np.stack([np.zeros_like(tone), tone], axis=1)
    assert np.array_equal(narrowed(stereo, 2730.0), narrowed(tone[:, None], 2730.0))
    assert len(narrowed(np.zeros((0, 1), np.float32), 2730.0)) == 0
