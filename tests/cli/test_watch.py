"""`beepwatch watch FILE`: a recording through the live loop, kept apart from the household's own history."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.cli import CAUTION, main
from beepwatch.records.reading import History

SAMPLES = Path(__file__).parents[2] / "samples"
PATTERNS = ["lead-disconnect", "backup-battery", "battery-critical"]


@pytest.fixture
def hiss(tmp_path: Path, rng: np.random.Generator) -> Path:
    """Two seconds of noise."""
    path = tmp_path / "hiss.wav"
    soundfile.write(path, 0.01 * rng.standard_normal(32_000), 16_000)
    return path


def test_a_recorded_night(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The caution, what is heard, a block for each alarm, the end of one, and where to read more."""
    data = tmp_path / "data"
    assert main(["watch", str(SAMPLES / "night.flac"), "--silent", "--data", str(data)]) == 0
    out = capsys.readouterr().out
    assert out.startswith(CAUTION)
    assert "16000 Hz, 1 channel" in out
    places = [out.index(f"ALARM: {pattern}") for pattern in PATTERNS]
    assert places == sorted(places)
    assert "Check both ends of the cable" in out
    assert "ENDED: lead-disconnect (high priority)" in out
    assert out.rstrip().endswith(f"beepwatch history --data {data} --recordings")
    with History(data) as history:
        assert history.alarms() == []
        assert [alarm.state.pattern for alarm in history.alarms(kind="recording")] == PATTERNS
        (span,) = history.spans(kind="recording")
    assert span.closed
    assert (span.until - span.began).total_seconds() == pytest.approx(300, abs=0.01)


def test_real_time_takes_its_time(tmp_path: Path, hiss: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2 s of sound take 2 s, and the history has the hour at which they were heard."""
    began = time.monotonic()
    assert main(["watch", str(hiss), "--real-time", "--silent", "--data", str(tmp_path)]) == 0
    assert 1.9 < time.monotonic() - began < 6
    assert "Listened for 2 s" in capsys.readouterr().out


def test_ctrl_c_ends_a_recording(tmp_path: Path, rng: np.random.Generator) -> None:
    """Stopped in the middle: exit 0, and the history ends where it was stopped."""
    path = tmp_path / "long.wav"
    soundfile.write(path, 0.01 * rng.standard_normal(60 * 16_000), 16_000)
    listening = subprocess.Popen(
        [sys.executable, "-u", "-m", "beepwatch", "watch", str(path), "--real-time", "--silent",
         "--data", str(tmp_path)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert listening.stdout is not None
    with listening.stdout as lines:
        next(line for line in lines if "ends the listening" in line)
        listening.send_signal(signal.SIGINT)
        rest = lines.read()
    assert listening.wait(timeout=10) == 0
    assert "Silence does not mean all is well" in rest
    with History(tmp_path) as history:
        (span,) = history.spans(kind="recording")
    assert span.closed
    assert (span.until - span.began).total_seconds() < 10


def test_closed_streams_do_no_harm(tmp_path: Path, hiss: Path) -> None:
    """Input, output and error closed: the history is not opened in their place, and it is whole."""
    command = [sys.executable, "-m", "beepwatch", "watch", str(hiss), "--silent", "--data", str(tmp_path)]
    closed = ["sh", "-c", '"$@" <&- >&- 2>&-', "sh", *command]
    assert subprocess.run(closed, check=False, timeout=60).returncode == 0
    with History(tmp_path) as history:
        assert [span.closed for span in history.spans(kind="recording")] == [True]


def test_the_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    """And the caution."""
    with pytest.raises(SystemExit):
        main(["watch", "--help"])
    out = capsys.readouterr().out
    assert "beepwatch watch samples/night.flac" in out
    assert "Not tested or approved as a medical device" in out


def test_the_folder_of_the_settings_is_the_one_of_watch_and_history(
    tmp_path: Path, hiss: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Unless --data names another."""
    assert main(["settings", "set", "history.folder", str(tmp_path / "kept")]) == 0
    assert main(["watch", str(hiss), "--silent"]) == 0
    assert f"The history is in {tmp_path / 'kept'}." in capsys.readouterr().out
    assert main(["history", "--recordings"]) == 0
    assert "Recordings heard: 1" in capsys.readouterr().out
    assert main(["watch", str(hiss), "--silent", "--data", str(tmp_path / "other")]) == 0
    assert f"The history is in {tmp_path / 'other'}." in capsys.readouterr().out


def test_what_the_devices_book_does_not_tell_of_is_not_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A "no" is said at the start, and that pattern is not raised; the others are."""
    assert main(["settings", "set", "armed.lead-disconnect", "no"]) == 0
    capsys.readouterr()
    assert main(["watch", str(SAMPLES / "night.flac"), "--silent", "--data", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "Not heard for, as set: lead-disconnect." in out
    assert "ALARM: lead-disconnect" not in out
    assert "ALARM: battery-critical" in out
