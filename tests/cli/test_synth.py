"""`beepwatch synth`: files, truth beside them, the same bytes each time, and one line for each fault."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.cli import main

SCENARIO = """
duration = 12.0
seed = 4
[room]
t60 = 0.3
[[alarms]]
pattern = "lead-disconnect"
start = 2.0
count = 2
"""


def written(folder: Path, text: str = SCENARIO) -> str:
    """A scenario file; return its name."""
    path = folder / "night.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_the_same_scenario_gives_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    """Sound and both truth files, byte for byte."""
    first, second = tmp_path / f"a.{suffix}", tmp_path / f"b.{suffix}"
    for path in (first, second):
        assert main(["synth", written(tmp_path), "-o", str(path)]) == 0
    for ending in (suffix, "json", "tsv"):
        assert first.with_suffix(f".{ending}").read_bytes() == second.with_suffix(f".{ending}").read_bytes()


def test_wav_and_flac_hold_the_same_sound(tmp_path: Path) -> None:
    """16 bits, mono, the scenario's rate and length."""
    for name in ("a.wav", "a.flac"):
        assert main(["synth", written(tmp_path), "-o", str(tmp_path / name)]) == 0
    wav, rate = soundfile.read(tmp_path / "a.wav", dtype="int16")
    flac, _ = soundfile.read(tmp_path / "a.flac", dtype="int16")
    assert rate == 16_000
    assert wav.shape == (12 * 16_000,)
    assert np.array_equal(wav, flac)


def test_the_truth_stands_beside_the_sound(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON with beeps and alarms, TSV with a row each; the line on standard output names both."""
    assert main(["synth", written(tmp_path), "-o", str(tmp_path / "out.wav")]) == 0
    truth = json.loads((tmp_path / "out.json").read_text())
    assert [beep["onset"] for beep in truth["beeps"]] == [2.0, 7.0]
    assert truth["alarms"][0]["pattern"] == "lead-disconnect"
    assert len((tmp_path / "out.tsv").read_text().splitlines()) == 1 + 2 + 1
    assert "2 beeps, 1 alarms; the truth is in out.json and out.tsv" in capsys.readouterr().out


def test_a_recorded_background_is_found_beside_the_scenario(tmp_path: Path) -> None:
    """It is resampled, its channels averaged, and set to the level asked for."""
    rng = np.random.default_rng(1)
    soundfile.write(tmp_path / "room.wav", 0.1 * rng.standard_normal((30_000, 2)), 22_050)
    text = 'duration = 4\nlevel = -40\n[background]\nkind = "recording"\nfile = "room.wav"\n'
    assert main(["synth", written(tmp_path, text), "-o", str(tmp_path / "out.wav")]) == 0
    sound, _ = soundfile.read(tmp_path / "out.wav")
    assert 10 * np.log10(2 * np.mean(sound**2)) == pytest.approx(-40, abs=0.1)


def test_clipping_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A beep over full scale is cut to it, and the count is told."""
    text = SCENARIO + "level = 6.0\n"
    assert main(["synth", written(tmp_path, text), "-o", str(tmp_path / "out.wav")]) == 0
    assert "samples clipped: lower `level`" in capsys.readouterr().out
    sound, _ = soundfile.read(tmp_path / "out.wav", dtype="int16")
    assert int(sound.max()) == 32767


@pytest.mark.parametrize(
    ("text", "output", "told"),
    [
        (SCENARIO + "breath = 3\n", "out.wav", "there is no key 'breath'"),
        (SCENARIO + "period = 1\n", "out.wav", "is too short for beeps"),
        (SCENARIO, "out.mp3", "name the output .wav or .flac"),
        (SCENARIO, "none/out.wav", "there is no folder"),
        ("duration = 1e6\n", "out.wav", "too long for a WAV file"),
        ('duration = 1\n[background]\nkind = "recording"\nfile = "none.wav"\n', "out.wav", "none.wav"),
    ],
)
def test_a_fault_is_one_line_and_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, output: str, told: str
) -> None:
    """Nothing is written, nothing goes to standard output."""
    assert main(["synth", written(tmp_path, text), "-o", str(tmp_path / output)]) == 2
    caught = capsys.readouterr()
    assert told in caught.err
    assert caught.err.count("\n") == 1
    assert caught.out == ""
    assert not (tmp_path / output).exists()


def test_a_scenario_that_is_no_text_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Missing, a folder, or no text."""
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    for name in ("none.toml", "", "binary.toml"):
        assert main(["synth", str(tmp_path / name), "-o", str(tmp_path / "out.wav")]) == 2
        assert capsys.readouterr().err.count("\n") == 1
