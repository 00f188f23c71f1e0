"""What people give it by mistake: one clear line and exit code 2, or what is there is heard and the fault is noted."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

import beepwatch
from beepwatch.cli import CAUTION, main


def missing(path: Path) -> None:
    assert not path.exists()


def empty(path: Path) -> None:
    path.touch()


def folder(path: Path) -> None:
    path.mkdir()


def text(path: Path) -> None:
    path.write_text("this is no sound\n" * 50)


def no_sound(path: Path) -> None:
    soundfile.write(path, np.zeros((0, 1)), 16_000, format="WAV")


Make = Callable[[Path], None]
BAD: list[Make] = [missing, empty, folder, text, no_sound]


def said(command: list[str], capfd: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit code and standard error of a command that is to be refused; on standard output the caution at most."""
    code = main(command)
    printed = capfd.readouterr()
    assert printed.out.strip() in ("", CAUTION)
    return code, printed.err


def assert_one_line(error: str, *words: str) -> None:
    """One line for a person, holding these words, and no traceback."""
    assert error.count("\n") == 1
    assert error.startswith("beepwatch: ")
    for word in words:
        assert word in error


@pytest.mark.parametrize("make", BAD)
@pytest.mark.parametrize("verb", ["watch", "review"])
def test_what_is_no_recording(tmp_path: Path, capfd: pytest.CaptureFixture[str], verb: str, make: Make) -> None:
    """The line names the file."""
    path = tmp_path / "night.wav"
    make(path)
    data = ["--data", str(tmp_path / "data")] if verb == "watch" else []
    code, error = said([verb, str(path), *data], capfd)
    assert code == 2
    assert_one_line(error, str(path))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--tone", "2.73"], "give the tone in Hz"),
        (["--tone", "9000"], "outside"),
        (["--device", "0"], "not both"),
        (["--guarded"], "for a microphone"),
    ],
)
def test_options_that_cannot_be(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], options: list[str], words: str
) -> None:
    """Told before anything is opened."""
    code, error = said(["watch", "night.wav", "--data", str(tmp_path), *options], capfd)
    assert code == 2
    assert_one_line(error, words)


def test_real_time_is_for_files(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A microphone has no other speed."""
    code, error = said(["watch", "--real-time", "--data", str(tmp_path)], capfd)
    assert code == 2
    assert_one_line(error, "--real-time is for a FILE")


def test_a_data_folder_that_cannot_be_written(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A file stands where the folder should be (permissions do not stop root, who runs tests in containers)."""
    (tmp_path / "file").touch()
    code, error = said(["watch", "--data", str(tmp_path / "file" / "data")], capfd)
    assert code == 2
    assert_one_line(error, "--data DIR")


def test_a_history_that_is_none(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Some other file under the history's name is told and left alone."""
    sound, other = tmp_path / "night.wav", tmp_path / "history.sqlite3"
    soundfile.write(sound, np.zeros(1_600), 16_000)
    other.write_text("a shopping list\n" * 100)
    code, error = said(["watch", str(sound), "--silent", "--data", str(tmp_path)], capfd)
    assert code == 2
    assert_one_line(error, str(other))
    assert other.read_text().startswith("a shopping list")


def test_a_scenario_with_a_misspelt_key(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The line names the key."""
    path = tmp_path / "night.toml"
    path.write_text('duration = 5.0\nseeed = 1\n[background]\nkind = "white"\n')
    code, error = said(["synth", str(path), "-o", str(tmp_path / "night.wav")], capfd)
    assert code == 2
    assert_one_line(error, "seeed")
    assert not (tmp_path / "night.wav").exists()


def watch_without_sound(tmp_path: Path, prelude: str, *options: str) -> "subprocess.CompletedProcess[str]":
    """`beepwatch watch` in a process that finds no sound server, after some lines of Python."""
    program = f"{prelude}\nimport sys\nfrom beepwatch.cli import CAUTION, main\nsys.exit(main(sys.argv[1:]))"
    nowhere = {"PULSE_SERVER": f"unix:{tmp_path}/none", "PULSE_CLIENTCONFIG": os.devnull}
    return subprocess.run(
        [sys.executable, "-c", program, "watch", "--data", str(tmp_path / "data"), *options],
        env=os.environ | nowhere, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def test_no_portaudio_library(tmp_path: Path) -> None:
    """sounddevice cannot find the library that it stands on: the line says what to install."""
    done = watch_without_sound(tmp_path, "import ctypes.util, os.path\nctypes.util.find_library = lambda name: None")
    assert done.returncode == 2
    assert_one_line(done.stderr, "the PortAudio library is missing: install it")
    assert done.stdout == ""


@pytest.mark.parametrize("device", ["no such microphone", "4711"])
def test_no_such_device(tmp_path: Path, device: str) -> None:
    """The line repeats what was asked for and says what there is, or that there is none."""
    done = watch_without_sound(tmp_path, "", "--device", device)
    assert done.returncode == 2
    assert_one_line(done.stderr, "microphone")
    assert device in done.stderr or "there is no microphone" in done.stderr
    assert done.stdout == ""


def cut_off(path: Path) -> None:
    soundfile.write(path, 0.1 * np.random.default_rng(1).standard_normal(48_000), 16_000)
    os.truncate(path, path.stat().st_size // 2)


def digital_silence(path: Path) -> None:
    soundfile.write(path, np.zeros(16_000), 16_000)


def clipped(path: Path) -> None:
    sine = 3 * np.sin(np.arange(32_000) * 0.3)
    soundfile.write(path, np.clip(sine, -1, 1), 16_000)


def one_sample(path: Path) -> None:
    soundfile.write(path, np.zeros(1), 16_000)


def not_numbers(path: Path) -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal(48_000)
    noise[16_000:24_000] = np.nan
    soundfile.write(path, noise, 16_000, subtype="FLOAT")


@pytest.mark.parametrize(
    ("make", "note"),
    [
        (cut_off, "cut off or damaged after 1.5 s"),
        (digital_silence, "digital silence"),
        (clipped, "clipped"),
        (one_sample, "1 sample"),
        (not_numbers, "NaN"),
    ],
)
@pytest.mark.parametrize("verb", ["watch", "review"])
def test_a_poor_recording_is_heard_and_noted(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], verb: str, make: Make, note: str
) -> None:
    """Exit code 0, what is there is heard, and a note says what is wrong."""
    path = tmp_path / "night.wav"
    make(path)
    options = ["--silent", "--data", str(tmp_path / "data")] if verb == "watch" else []
    assert main([verb, str(path), *options]) == 0
    printed = capfd.readouterr()
    assert note in (printed.out if verb == "watch" else printed.err)
    assert "Traceback" not in printed.out + printed.err


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("watching.evening", "25:00", "the hour by which watch is to run, as 22:00"),
        ("watching.self-test", "1 o'clock", "as 13:00"),
        ("watching.evenning", "22:00", "did you mean watching.evening?"),
    ],
)
def test_hours_that_are_none(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], key: str, value: str, words: str
) -> None:
    """Key, value and what it may be."""
    code, error = said(["settings", "set", key, value, "--config", str(tmp_path)], capfd)
    assert code == 2
    assert_one_line(error, words)


@pytest.mark.parametrize("command", [["watch", "--guarded"], ["service", "evening"]])
def test_a_second_way_that_cannot_be_split(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], command: list[str]
) -> None:
    """Told before anything sounds or listens."""
    (tmp_path / "settings.toml").write_text('[sound]\nsecond-way = "aplay \'x"\n')
    folders = ["--data", str(tmp_path / "data"), "--config", str(tmp_path)]
    code = main([*command, *folders])
    error = capfd.readouterr().err
    assert code == 2
    assert_one_line(error, "sound.second-way", "close the quotation marks")


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ('[words]\nmessages = "qtz"\n', "qtz.toml cannot be read"),
        ('[words]\nmessages = "not a tag"\n', "give the tag of a language"),
        ('[sound]\ntone = "{folder}/no.wav"\n', "is no sound file"),
        ('[[ladder]]\nby = ["lamp"]\n', "no way to wake"),
        ('[[ladder]]\nafter = 60\nby = ["speaker"]\n', "begins late"),
    ],
)
def test_settings_of_waking_that_cannot_be(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], settings: str, words: str
) -> None:
    """A language, a sound or a ladder of no use: told at the start, before the night."""
    soundfile.write(tmp_path / "night.wav", np.zeros(1_600), 16_000)
    (tmp_path / "no.wav").write_text("this is no sound\n" * 50)
    (tmp_path / "settings.toml").write_text(settings.replace("{folder}", str(tmp_path)))
    command = ["watch", str(tmp_path / "night.wav"), "--data", str(tmp_path), "--config", str(tmp_path)]
    code, error = said(command, capfd)
    assert code == 2
    assert_one_line(error, words)


def test_a_language_that_nobody_checked(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Refused at the start: no unchecked speech in an emergency."""
    soundfile.write(tmp_path / "night.wav", np.zeros(1_600), 16_000)
    (tmp_path / "settings.toml").write_text('[words]\nmessages = "qtz"\n')
    (tmp_path / "languages").mkdir()
    english = (Path(beepwatch.__file__).parent / "waking" / "messages.toml").read_text("utf-8")
    (tmp_path / "languages" / "qtz.toml").write_text(english.replace('language = "en"', 'language = "qtz"'))
    command = ["watch", str(tmp_path / "night.wav"), "--data", str(tmp_path), "--config", str(tmp_path)]
    code, error = said(command, capfd)
    assert code == 2
    assert_one_line(error, "does not say who checked it")
