"""`beepwatch review` over whole files: the contract, causality, several files, and sound that is not right."""

import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from beepwatch.cli import CAUTION, main
from beepwatch.cli.reporting.progress import progress
from beepwatch.synthesis import Background, Ring, Scenario, beep, noise, render

RATE = 16_000
Line = dict[str, str | float | None]
LEAD = Ring(pattern="lead-disconnect", start=8.0, count=6, breaths_a_minute=12, length=1.2, snr=20.0)


def scene(rate: int = RATE, duration: float = 75.0) -> NDArray[np.float32]:
    """Six beeps of 1.2 s from 8 s on, one every 5 s, in white noise."""
    night = Scenario(duration=duration, rate=rate, seed=1, level=-50, alarms=(LEAD,), background=Background())
    return render(night).samples


@pytest.fixture(scope="module")
def lead(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The scene as a 16-bit WAV file."""
    path = tmp_path_factory.mktemp("review") / "lead.wav"
    soundfile.write(path, scene(), RATE)
    return path


def lines(capsys: pytest.CaptureFixture[str], *arguments: str | Path, code: int = 0) -> list[Line]:
    """The JSON Lines of a review that must exit with `code`."""
    assert main(["review", "--format", "jsonl", *map(str, arguments)]) == code
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def alarms(found: list[Line]) -> list[Line]:
    """Only the alarms."""
    return [line for line in found if line["record"] == "alarm"]


def test_beeps_and_alarm_of_a_file(lead: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each beep once, where and how the truth has it, and one alarm that ended with its last beep."""
    found = lines(capsys, lead)
    beeps = [line for line in found if line["record"] == "beep"]
    assert [line["onset"] for line in beeps] == pytest.approx([8, 13, 18, 23, 28, 33], abs=0.05)
    for line in beeps:
        assert line["file"] == str(lead)
        assert line["duration"] == pytest.approx(1.2, abs=0.05)
        assert line["frequency"] == pytest.approx(2730, abs=5)
        assert line["level"] == pytest.approx(-30, abs=1)
        assert line["snr"] == pytest.approx(20, abs=1.5)
    (alarm,) = alarms(found)
    assert (alarm["pattern"], alarm["priority"], alarm["beeps"]) == ("lead-disconnect", "high", 6)
    assert alarm["onset"] == pytest.approx(8, abs=0.05)
    assert alarm["ended"] == pytest.approx(34.2, abs=0.05)
    assert alarm["period"] == pytest.approx(5, abs=0.05)


def test_lines_come_in_order_of_time_known(lead: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The alarm stands among the beeps where it was raised: all before it had ended by then."""
    found = lines(capsys, lead)
    at = found.index(alarms(found)[0])
    raised = alarms(found)[0]["raised"]
    assert 1 < at < len(found) - 1
    ends = [float(line["onset"] or 0) + float(line["duration"] or 0) for line in found if line["record"] == "beep"]
    assert raised is not None
    assert max(ends[:at]) < float(raised) < ends[at] + 1


def test_cut_where_it_was_raised_the_file_still_gives_the_alarm(
    lead: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """`raised` is causal: nothing after it was needed. In the cut file the alarm is still going."""
    whole = alarms(lines(capsys, lead))[0]
    end = round(float(whole["raised"] or 0) * RATE)
    soundfile.write(tmp_path / "cut.wav", soundfile.read(lead, dtype="int16")[0][:end], RATE)
    (cut,) = alarms(lines(capsys, tmp_path / "cut.wav"))
    assert (cut["pattern"], cut["onset"], cut["raised"]) == ("lead-disconnect", whole["onset"], whole["raised"])
    assert cut["ended"] is None


@pytest.mark.parametrize("name", ["a.flac", "a.ogg", "a.mp3", "float.wav", "stereo.wav", "fast.wav"])
def test_formats_rates_and_channels_agree(
    lead: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    """The same scene as other files gives the same alarm, to 0.1 s."""
    sound, rate = scene(48_000 if name == "fast.wav" else RATE), 48_000 if name == "fast.wav" else RATE
    if name == "stereo.wav":
        sound = np.stack([sound, 0.5 * sound], axis=1)
    soundfile.write(tmp_path / name, sound, rate, "FLOAT" if name == "float.wav" else None)
    (alarm,) = alarms(lines(capsys, tmp_path / name))
    (expected,) = alarms(lines(capsys, lead))
    assert alarm["pattern"] == expected["pattern"]
    for key in ("onset", "raised", "ended", "duration", "period"):
        assert alarm[key] == pytest.approx(expected[key], abs=0.1)


def test_tsv_and_text_tell_the_same_night(lead: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Seven rows under the header; the alarm in words, and the caution once."""
    assert main(["review", "--format", "tsv", str(lead)]) == 0
    rows = [row.split("\t") for row in capsys.readouterr().out.splitlines()]
    assert rows[0] == ["onset", "offset", "event_label", "filename"]
    assert sorted(row[2] for row in rows[1:]) == [*["beep"] * 6, "lead-disconnect"]
    assert main(["review", str(lead)]) == 0
    text = capsys.readouterr().out
    assert "Lead disconnect (high priority)" in text
    assert text.count(CAUTION) == 1


def test_a_bad_file_does_not_stop_the_others(lead: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """It is named on standard error, the rest is done, exit 2."""
    soundfile.write(tmp_path / "hiss.wav", 0.01 * noise("pink", 3 * RATE, np.random.default_rng(1)), RATE)
    bad = tmp_path / "none.wav"
    code = main(["review", "--format", "jsonl", str(lead), str(bad), str(tmp_path / "hiss.wav")])
    caught = capsys.readouterr()
    assert code == 2
    assert '"lead-disconnect"' in caught.out
    assert caught.err.count("\n") == 1
    assert str(bad) in caught.err


@pytest.mark.parametrize("kind", ["missing", "folder", "empty", "text"])
def test_what_is_no_sound_is_one_line_and_exit_2(capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str) -> None:
    """No traceback, nothing on standard output but a header or the caution."""
    path = tmp_path / "night.wav"
    if kind == "folder":
        path.mkdir()
    elif kind != "missing":
        path.write_bytes(b"" if kind == "empty" else b"good night\n" * 50)
    assert lines(capsys, path, code=2) == []
    assert main(["review", str(path)]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert str(path) in told


@pytest.mark.parametrize("tone", ["27", "90000", "-3", "nan"])
def test_a_tone_that_cannot_be_heard_is_refused(lead: Path, capsys: pytest.CaptureFixture[str], tone: str) -> None:
    """Hz, not kHz: the range is told."""
    assert main(["review", f"--tone={tone}", str(lead)]) == 2
    assert "400 to 5000 Hz" in capsys.readouterr().err


def test_a_truncated_file_is_read_as_far_as_it_goes(
    lead: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A warning, exit 0, and the alarm that is in what is there."""
    cut = tmp_path / "cut.wav"
    cut.write_bytes(lead.read_bytes()[: 44 + 2 * 40 * RATE])
    assert main(["review", "--format", "jsonl", str(cut)]) == 0
    caught = capsys.readouterr()
    assert "cut off or damaged" in caught.err
    assert '"lead-disconnect"' in caught.out


@pytest.mark.parametrize(
    ("kind", "told"),
    [
        ("silence", "digital silence"),
        ("clipping", "at full scale"),
        ("one", "only 1 sample"),
        ("nan", "were taken as a gap"),
        ("low", "sampled at 8 kHz: tones above 3.6 kHz are not heard"),
    ],
)
def test_sound_that_is_not_right_is_noted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str, told: str
) -> None:
    """Exit 0 and one line on standard error that names the file."""
    hiss = 0.01 * noise("white", 10 * RATE, np.random.default_rng(2))
    sounds = {
        "silence": np.zeros(5 * RATE, np.float32),
        "clipping": np.clip(3 * beep(1000.0, 5.0), -1, 1),
        "one": np.full(1, 0.1, np.float32),
        "nan": np.where(np.arange(len(hiss)) // RATE == 4, np.float32(np.nan), hiss),
        "low": hiss,
    }
    path = tmp_path / f"{kind}.wav"
    soundfile.write(path, sounds[kind], 8000 if kind == "low" else RATE, "FLOAT")
    assert main(["review", "--format", "jsonl", str(path)]) == 0
    caught = capsys.readouterr()
    assert caught.err.count("\n") == 1
    assert f"{path}: " in caught.err
    assert told in caught.err
    assert not [line for line in caught.out.splitlines() if '"alarm"' in line]


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def test_the_progress_bar_is_for_terminals(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal's standard error the file's name and how far it is; elsewhere, or unwanted, nothing."""
    shown = {}
    for name, stream, wanted in (("a", Terminal(), True), ("b", Terminal(), False), ("c", io.StringIO(), True)):
        monkeypatch.setattr(sys, "stderr", stream)
        with progress("night.wav", 10.0, wanted) as show:
            show(5.0)
        shown[name] = stream.getvalue()
    assert "night.wav" in shown["a"]
    assert (shown["b"], shown["c"]) == ("", "")
