"""Recordings: every sample once and in order, and one clear sentence for what is no recording."""

import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.errors import InputError
from beepwatch.sources.block import Samples
from beepwatch.sources.recording import Recording


def ramp(frames: int, channels: int = 1) -> Samples:
    """Numbered samples: each value tells its own place, so a lost, doubled or swapped block shows."""
    steps = (np.arange(frames * channels) % 60_000 - 30_000) / 32_768
    return steps.reshape(frames, channels).astype(np.float32)


def sine(frames: int, channels: int, rate: int) -> Samples:
    at = np.arange(frames) / rate
    return np.repeat(0.3 * np.sin(2 * np.pi * 2000 * at)[:, None], channels, axis=1).astype(np.float32)


def read(path: Path, size: int = 4_096) -> tuple[Samples, Recording]:
    with Recording(path) as recording:
        blocks = list(recording.blocks(size))
    assert [block.start for block in blocks] == list(np.cumsum([0] + [len(b.samples) for b in blocks])[:-1])
    return np.concatenate([block.samples for block in blocks]), recording


@pytest.mark.parametrize("size", [1, 17, 999, 5_000, 10_000])
@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_numbered_samples_arrive_whole_and_in_order(tmp_path: Path, suffix: str, size: int) -> None:
    """A ramp through blocks of any size is the ramp."""
    path = tmp_path / f"ramp.{suffix}"
    soundfile.write(path, ramp(5_000, 2), 16_000, subtype="PCM_16")
    samples, recording = read(path, size)
    assert np.array_equal(samples, ramp(5_000, 2))
    assert (recording.rate, recording.channels, recording.frames, recording.warning) == (
        16_000,
        2,
        5_000,
        None,
    )


@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100])
def test_blocks_of_an_mp3_join_without_a_fault(tmp_path: Path, rate: int) -> None:
    """In blocks of any size it is what one read gives: a decoder that has to begin again each time would not."""
    path = tmp_path / "tone.mp3"
    soundfile.write(path, sine(8 * rate, 1, rate) * np.linspace(0, 1, 8 * rate, dtype=np.float32)[:, None], rate)
    whole = soundfile.read(path, dtype="float32", always_2d=True)[0]
    for size in (1_000, 1 << 14, 1 << 16):
        np.testing.assert_allclose(read(path, size)[0], whole, atol=1e-4)


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg", "mp3"])
@pytest.mark.parametrize("start", [1, 20_001, 47_999, 48_000])
def test_reading_can_begin_anywhere(tmp_path: Path, suffix: str, start: int) -> None:
    """From a sample on it is what the whole file has there; at its end nothing, and no warning."""
    path = tmp_path / f"tone.{suffix}"
    soundfile.write(path, sine(48_000, 1, 16_000) * np.linspace(0, 1, 48_000, dtype=np.float32)[:, None], 16_000)
    whole, _ = read(path)
    with Recording(path) as recording:
        blocks = list(recording.blocks(4_096, start))
        assert recording.warning is None
    assert [block.start for block in blocks[:1]] == [start] * (start < 48_000)
    rest = np.concatenate([np.zeros((0, 1), np.float32), *(block.samples for block in blocks)])
    np.testing.assert_allclose(rest, whole[start:], atol=1e-4)


@pytest.mark.parametrize("start", [1_000, 30_000, 45_000])
def test_reading_can_begin_in_a_damaged_file(tmp_path: Path, start: int, rng: np.random.Generator) -> None:
    """A FLAC file cut off at two thirds: before the cut the sound that is there, behind it nothing."""
    path = tmp_path / "cut.flac"
    soundfile.write(path, 0.1 * rng.standard_normal((48_000, 1)).astype(np.float32), 16_000)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    whole, _ = read(path)
    with Recording(path) as recording:
        parts = [block.samples for block in recording.blocks(4_096, start)]
    rest = np.concatenate([np.zeros((0, 1), np.float32), *parts])
    np.testing.assert_array_equal(rest, whole[start:])


@pytest.mark.parametrize("rate", [8_000, 11_025, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_any_rate_and_channel_count(tmp_path: Path, rate: int, channels: int) -> None:
    """WAV from 8 to 192 kHz with any number of channels is read as it is."""
    path = tmp_path / "sound.wav"
    soundfile.write(path, sine(rate // 10, channels, rate), rate, subtype="FLOAT")
    samples, recording = read(path)
    assert (recording.rate, samples.shape) == (rate, (rate // 10, channels))
    assert np.array_equal(samples, sine(rate // 10, channels, rate))


@pytest.mark.parametrize(("suffix", "rate"), [("mp3", 44_100), ("ogg", 48_000), ("opus", 48_000)])
def test_lossy_formats_keep_the_tone(tmp_path: Path, suffix: str, rate: int) -> None:
    """MP3, Vorbis and Opus: a sine of 2 kHz comes back as one, as long as it was, without a warning."""
    path = tmp_path / f"sound.{suffix}"
    kind = {"format": "OGG", "subtype": "OPUS"} if suffix == "opus" else {}
    soundfile.write(path, sine(rate, 2, rate), rate, **kind)
    samples, recording = read(path)
    assert recording.warning is None
    assert len(samples) == pytest.approx(rate, abs=rate * 0.03)
    spectrum = np.abs(np.fft.rfft(samples[:, 0] * np.hanning(len(samples))))
    assert np.argmax(spectrum) * rate / len(samples) == pytest.approx(2_000, abs=2)


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg", "mp3", "aiff", "au", "w64", "rf64"])
@pytest.mark.parametrize("part", [0.3, 0.8, 0.99])
def test_a_file_cut_off_is_read_as_far_as_it_goes(tmp_path: Path, suffix: str, part: float) -> None:
    """Its sound up to the cut arrives, and the warning names the file."""
    path, noise = tmp_path / f"cut.{suffix}", np.random.default_rng(2).normal(0, 0.1, 160_000)
    soundfile.write(path, noise, 16_000)
    whole, _ = read(path)
    os.truncate(path, int(path.stat().st_size * part))
    samples, recording = read(path)
    assert recording.warning is not None
    assert f"{path}: the file is cut off or damaged" in recording.warning
    # an MP3 frame or an Ogg page (over 1 s here) at the cut cannot be decoded
    assert part * 10 - 1.5 < len(samples) / 16_000 < part * 10 + 0.5
    if suffix != "mp3":  # whose last frame is spoilt by the missing next one
        assert np.array_equal(samples, whole[: len(samples)])


def test_a_header_that_does_not_know_the_length_is_no_fault(tmp_path: Path) -> None:
    """A WAV or FLAC written into a pipe: read to the end, no warning."""
    wav, flac = tmp_path / "pipe.wav", tmp_path / "pipe.flac"
    for path in (wav, flac):
        soundfile.write(path, ramp(48_000), 16_000, subtype="PCM_16")
    made = bytearray(wav.read_bytes())
    made[4:8] = made[40:44] = b"\xff" * 4  # RIFF and data sizes
    wav.write_bytes(made)
    made = bytearray(flac.read_bytes())
    made[21] &= 0xF0  # the 36 bits of STREAMINFO's total samples
    made[22:26] = bytes(4)
    flac.write_bytes(made)
    for path in (wav, flac):
        samples, recording = read(path)
        assert np.array_equal(samples, ramp(48_000))
        assert recording.warning is None


def test_not_a_number_is_passed_on(tmp_path: Path) -> None:
    """NaN in a float file is left for the recogniser, also at the very end."""
    path, samples = tmp_path / "nan.wav", ramp(1_000)
    samples[100:200] = samples[-5:] = np.nan
    soundfile.write(path, samples, 16_000, subtype="FLOAT")
    assert np.array_equal(read(path)[0], samples, equal_nan=True)


def test_one_sample_is_a_recording(tmp_path: Path) -> None:
    """The shortest sound there is."""
    path = tmp_path / "one.wav"
    soundfile.write(path, ramp(1), 16_000)
    assert len(read(path)[0]) == 1


def test_memory_does_not_grow_with_length(tmp_path: Path) -> None:
    """Half an hour is read in a few blocks' worth of memory."""
    path = tmp_path / "long.wav"
    with soundfile.SoundFile(path, "w", 16_000, 1, "PCM_16") as file:
        for _ in range(30):
            file.write(np.zeros(16_000 * 60, dtype=np.int16))
    tracemalloc.start()
    with Recording(path) as recording:
        frames = sum(len(block.samples) for block in recording.blocks())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert frames == 30 * 60 * 16_000
    assert peak < 4_000_000  # bytes: the file as float32 would be 115 MB


def write_text(path: Path) -> None:
    path.write_text("no sound at all, only words\n" * 100)


def write_nothing(path: Path) -> None:
    path.touch()


def write_header_only(path: Path) -> None:
    soundfile.write(path, np.zeros((0, 1)), 16_000, format="WAV")


def write_slow(path: Path) -> None:
    soundfile.write(path, np.zeros(100), 4_000, format="WAV")


def write_nowhere(path: Path) -> None:
    assert not path.exists()


BAD: list[tuple[Callable[[Path], object], str, str]] = [
    (write_nowhere, "x.wav", "there is no such file"),
    (Path.mkdir, "x.wav", "is a folder"),
    (write_nothing, "x.wav", "the file is empty"),
    (write_text, "x.wav", "is not a sound file that can be read"),
    (write_text, "x.mp3", "is not a sound file that can be read"),
    (write_text, "x.raw", "is not a sound file that can be read"),
    (os.mkfifo, "x.wav", "is not a file that can be read twice"),
    (write_header_only, "x.wav", "holds no sound"),
    (write_slow, "x.wav", "4000 Hz is outside 8000 to 192000 Hz"),
]


@pytest.mark.parametrize(("make", "name", "message"), BAD, ids=lambda value: getattr(value, "__name__", str(value)))
def test_what_is_no_recording_is_said_in_one_sentence(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], make: Callable[[Path], object], name: str, message: str
) -> None:
    """InputError names the path and the fault; nothing else reaches standard error, as from libmpg123."""
    path = tmp_path / name
    make(path)
    with pytest.raises(InputError, match=message) as caught:
        Recording(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert capfd.readouterr().err == ""
