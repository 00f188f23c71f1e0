"""Sounds of the family's own: they take the place of tone or voice, and one that is no use is refused at the start."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from beepwatch.channels.own import load
from beepwatch.channels.rounds import Round, render
from beepwatch.channels.tone import PEAK, PULSE, REST
from beepwatch.channels.voice import Voice
from beepwatch.errors import InputError
from beepwatch.synthesis import Tone

PATTERNS = ("fire", "lead-disconnect")
RATE = 22_050


def chime(seconds: float = 1.5, level: float = 0.2) -> npt.NDArray[np.float64]:
    """A falling chime."""
    time = np.arange(round(seconds * RATE)) / RATE
    return np.asarray(level * np.sin(2 * np.pi * (700 - 100 * time) * time) * np.exp(-1.5 * time))


def written(path: Path, samples: npt.NDArray[np.float64], rate: int = RATE) -> str:
    path.parent.mkdir(exist_ok=True)
    soundfile.write(path, samples, rate)
    return str(path)


def test_a_tone_of_ones_own_sounds_in_place_of_the_wake_tone(tmp_path: Path) -> None:
    """As loud as the built-in one may be, at the speaker's rate, then the words; a reminder keeps the short tone."""
    own = load(written(tmp_path / "chime.wav", chime()), "", PATTERNS)
    voice = Voice(pytest.fail, own=own)
    samples, _ = render(Round((1,), "high"), voice, 48_000)
    assert np.abs(samples[: round(1.5 * 48_000)]).max() == pytest.approx(PEAK, abs=0.02)
    assert not samples[round(1.52 * 48_000) : round((1.5 + REST) * 48_000)].any()
    reminder, _ = render(Round((1,), "medium", once=True), voice, 48_000)
    assert np.abs(reminder[: round(PULSE * 48_000)]).max() == pytest.approx(PEAK, abs=0.01)


def test_a_message_of_ones_own_is_heard_for_its_alarm_alone(tmp_path: Path) -> None:
    """After the opening (names, "this is a drill"); where several alarms are told at once the voice speaks them all."""
    written(tmp_path / "voice" / "fire.wav", np.full(RATE, 0.3))
    voice = Voice(pytest.fail, own=load("", str(tmp_path / "voice"), PATTERNS))
    own = Round((1,), "high", (), "fire")
    other = Round((1,), "high", (), "lead-disconnect")
    both = Round((1, 2), "high", ())
    lengths = [len(render(one, voice, RATE)[0]) / RATE for one in (own, other, both)]
    assert lengths[0] > lengths[1] - 2.0 + 1.0
    assert lengths[1] == lengths[2]
    assert np.abs(render(own, voice, RATE)[0]).max() == pytest.approx(PEAK, abs=0.01)


def test_what_is_not_there_any_more_is_told_and_the_built_in_sound_takes_its_place(tmp_path: Path) -> None:
    """A stick that was pulled must not keep the next night from starting."""
    own = load(str(tmp_path / "gone.wav"), str(tmp_path / "away"), PATTERNS)
    assert own.tone is None
    assert len(own.notes) == 2
    assert "so the built-in tone sounds" in own.notes[0]


@pytest.mark.parametrize(("samples", "why"), [
    (np.zeros(RATE), "silent or damaged"),
    (chime(0.1), "0.1 s long"),
    (chime(40.0), "40.0 s long"),
])  # fmt: skip
def test_a_sound_of_no_use_is_refused(tmp_path: Path, samples: npt.NDArray[np.float64], why: str) -> None:
    """With the file's name and what to give instead."""
    with pytest.raises(InputError, match=why):
        load(written(tmp_path / "x.wav", samples), "", PATTERNS)


def test_a_file_that_is_no_sound_is_refused(tmp_path: Path) -> None:
    """One line."""
    (tmp_path / "x.wav").write_text("this is no sound\n" * 50)
    with pytest.raises(InputError, match="is no sound file"):
        load(str(tmp_path / "x.wav"), "", PATTERNS)


def test_a_message_named_after_no_alarm_is_refused(tmp_path: Path) -> None:
    """A misspelt name would never be heard."""
    written(tmp_path / "voice" / "smoke.wav", chime())
    with pytest.raises(InputError, match="named after no alarm: there are fire"):
        load("", str(tmp_path / "voice"), PATTERNS)


def test_a_tone_that_sounds_like_an_alarm_is_refused(tmp_path: Path) -> None:
    """Two beepwatches in a house must not wake each other: three pulses of half a second are a smoke alarm's."""
    n = round(20.0 * RATE)
    three = sum(Tone(4.0 * group + k, 0.5, 3100.0, -6.0).at(0, n, RATE) for group in range(5) for k in range(3))
    assert not isinstance(three, int)
    with pytest.raises(InputError, match="sounds like an alarm"):
        load(written(tmp_path / "three.wav", three), "", PATTERNS)
