"""Speech for real by espeak-ng, and every way in which it can fail."""

import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue

import numpy as np
import pytest
from scipy.signal import periodogram

from beepwatch.channels.voice import Voice, install_advice
from beepwatch.waking.messages import Messages

LINE = "The beeping has stopped. That can mean mended, or no power. Go and look."
speaks = pytest.mark.skipif(
    shutil.which("espeak-ng") is None and "CI" not in os.environ,
    reason=f"espeak-ng is not installed: {install_advice()}",
)
Reports = SimpleQueue[str]
Program = Callable[[str], str]


@pytest.fixture
def reports() -> Reports:
    """Where a voice reports to."""
    return SimpleQueue()


@pytest.fixture
def program(tmp_path: Path) -> Program:
    """A program in place of espeak-ng, made of shell lines."""

    def make(lines: str) -> str:
        path = tmp_path / "speak"
        path.write_text(f"#!/bin/sh\n{lines}\n")
        path.chmod(0o755)
        return str(path)

    return make


@speaks
def test_a_line_is_speech_of_the_length_that_its_words_take(reports: Reports) -> None:
    """14 words at 130 a minute take 6.5 s; its power is where a voice has it; peak 0.95."""
    voice = Voice(reports.put)
    voice.prepare([LINE])
    assert voice.wait(10)
    speech = voice.speech(LINE, 16_000)
    assert speech is not None
    assert speech.dtype == np.float32
    assert len(speech) / 16_000 == pytest.approx(14 / 130 * 60, rel=0.25)
    assert 0.9 <= np.abs(speech).max() <= 1.0
    bins, power = periodogram(speech, 16_000)
    assert power[(bins > 80) & (bins < 4000)].sum() > 0.9 * power.sum()
    assert reports.empty()


@speaks
def test_every_message_is_ready_long_before_a_night_begins(reports: Reports) -> None:
    """All lines that may ever be spoken, in well under the first minute."""
    voice, lines = Voice(reports.put), Messages(caregiver="Anna", person="Sam").all_lines()
    voice.prepare(lines)
    assert voice.wait(30)
    assert all(voice.speech(line, 44_100) is not None for line in lines)


@speaks
@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100, 48_000])
def test_speech_lasts_as_long_at_any_rate(reports: Reports, rate: int) -> None:
    """The device's own rate is served, within full scale."""
    voice = Voice(reports.put)
    voice.prepare([LINE])
    assert voice.wait(10)
    speech, native = voice.speech(LINE, rate), voice.speech(LINE, 22_050)
    assert speech is not None
    assert native is not None
    assert len(speech) / rate == pytest.approx(len(native) / 22_050, abs=0.001)
    assert np.abs(speech).max() <= 1.0


@speaks
@pytest.mark.parametrize("line", ["--help", "-f /etc/passwd", "<b>Zoë</b> & Søren; $(ls) `ls`"])
def test_a_name_is_spoken_not_obeyed(reports: Reports, line: str) -> None:
    """Text goes in as text, whatever it looks like."""
    voice = Voice(reports.put)
    voice.prepare([line])
    assert voice.wait(10)
    speech = voice.speech(line, 16_000)
    assert speech is not None
    assert len(speech) < 16_000 * 12


def test_what_was_not_asked_for_is_not_there_and_not_waited_for(reports: Reports) -> None:
    """`speech` answers at once."""
    assert Voice(reports.put).speech(LINE, 16_000) is None


def test_without_espeak_it_says_once_what_to_install(reports: Reports) -> None:
    """Three lines fail, one report, which names the package."""
    voice = Voice(reports.put, command="espeak-ng-that-is-not-there")
    voice.prepare(["One.", "Two.", "Three."])
    assert voice.wait(10)
    assert "install espeak-ng" in reports.get(timeout=1)
    assert reports.empty()
    assert voice.speech("One.", 16_000) is None


def test_the_advice_fits_the_system(monkeypatch: pytest.MonkeyPatch) -> None:
    """brew on macOS, apt elsewhere."""
    monkeypatch.setattr("sys.platform", "darwin")
    assert install_advice() == "brew install espeak-ng"
    monkeypatch.setattr("sys.platform", "linux")
    assert install_advice().startswith("apt install espeak-ng")


@pytest.mark.parametrize(("lines", "words"), [
    ("exit 3", "exit code 3"),
    ("echo hello", "gave no speech"),
    ("true", "gave no speech"),
    ("kill -9 $$", "exit code -9"),
])  # fmt: skip
def test_one_that_fails_is_told(reports: Reports, program: Program, lines: str, words: str) -> None:
    """An error, something that is no sound, nothing at all, a crash: one plain line each."""
    voice = Voice(reports.put, command=program(f"cat > /dev/null\n{lines}"))
    voice.prepare(["One."])
    assert voice.wait(10)
    text = reports.get(timeout=1)
    assert words in text
    assert "\n" not in text


def test_one_that_hangs_is_given_up(reports: Reports, program: Program) -> None:
    """After the time-out the next line has its turn, and the program is ended."""
    voice = Voice(reports.put, command=program("exec sleep 60"), patience=0.2)
    began = time.monotonic()
    voice.prepare(["One.", "Two."])
    assert voice.wait(10)
    assert time.monotonic() - began < 5
    assert "hangs" in reports.get(timeout=1)
    assert reports.empty()


@speaks
def test_a_line_is_rendered_once(reports: Reports, program: Program, tmp_path: Path) -> None:
    """Asked for again, in one order or in two, it is there already."""
    count = tmp_path / "count"
    voice = Voice(reports.put, command=program(f'echo x >> {count}\nexec espeak-ng "$@"'))
    for _ in range(2):
        voice.prepare([LINE, LINE])
        assert voice.wait(10)
    assert count.read_text() == "x\n"


@speaks
def test_one_that_failed_is_tried_again_when_asked_again(reports: Reports, program: Program, tmp_path: Path) -> None:
    """Installed or mended meanwhile, it speaks."""
    flag = tmp_path / "mended"
    voice = Voice(reports.put, command=program(f'test -e {flag} || exit 1\nexec espeak-ng "$@"'))
    voice.prepare([LINE])
    assert voice.wait(10)
    assert voice.speech(LINE, 16_000) is None
    flag.touch()
    voice.prepare([LINE])
    assert voice.wait(10)
    assert voice.speech(LINE, 16_000) is not None
