"""The guided first run: each step alone, stopped and gone on with, sane defaults, and its questions counted."""

import math
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import pytest
import textstat

from beepwatch.bedroom.devices import Played
from beepwatch.bedroom.picture import BARS
from beepwatch.bedroom.setup import END, INTRO, PATTERNS, STEPS, TEXTS, Setup
from beepwatch.bedroom.talk import NoAnswer
from beepwatch.cli.setup import STEPS as NAMED
from beepwatch.errors import CannotHear
from beepwatch.settings.file import load_sounders
from tests.bedroom.taught import Told, night

TODAY = date(2026, 3, 1)


class Bench:
    """Devices in the test's hand."""

    def __init__(self) -> None:
        self.inputs = ["built in", "USB microphone"]
        self.loud = -20.0
        self.played = Played(None, 20.0)
        self.fault: str | None = None
        self.woken: list[tuple[str, Sequence[str]]] = []
        self.heard_by: list[str | None] = []

    def microphones(self) -> list[str]:
        return self.inputs

    def speakers(self) -> list[str]:
        return ["bedside"]

    def levels(self, microphone: str, seconds: float, show: Callable[[float], None]) -> list[float]:
        if microphone == "broken":
            raise CannotHear("no sound comes from 'broken': check its plug, or choose another")
        found = [-70.0] * 40 + [self.loud] * 3
        for level in found:
            show(level)
        return found

    def play(self, speaker: str, microphone: str | None) -> Played:
        self.heard_by.append(microphone)
        return self.played

    def wake(self, speaker: str, lines: Sequence[str], until: Callable[[], object]) -> str | None:
        self.woken.append((speaker, lines))
        if self.fault is None:
            until()
        return self.fault


def setup(folder: Path, *answers: str, bench: Bench | None = None, check: int | None = 0) -> tuple[Setup, Told]:
    """A run whose answers are ready."""
    told = Told(*answers)
    done = None if check is None else lambda: check
    return Setup(told.talk, folder, bench or Bench(), BARS, TODAY, done), told


def test_enter_alone_gets_a_newcomer_through(tmp_path: Path) -> None:
    """17 questions, each with a default that works: all eight steps are done, nothing is disarmed."""
    made, told = setup(tmp_path, *[""] * 30)
    made.run()
    assert made.done == list(STEPS)
    assert made.home.settings.disarmed == ()
    assert made.talk.questions == 17
    assert "That took 17 questions" in told.said
    assert END in told.said
    assert made.home.settings.home.same_room == "no"


def test_answers_are_kept(tmp_path: Path) -> None:
    """Room, devices, names, arming and a taught beep, as watch will read them."""
    file = str(night(tmp_path / "beep.wav"))
    bench = Bench()
    made, told = setup(
        tmp_path, "y", "2", "", "1", "", "Sam", "Anna", "112", "", "yes", "no", "", file, "", "", "", "", "", "", "",
        bench=bench,
    )  # fmt: skip
    made.run()
    settings = made.home.settings
    assert settings.home.same_room == "yes"
    assert (settings.sound.microphone, settings.sound.speaker) == ("USB microphone", "bedside")
    assert bench.heard_by == ["USB microphone"]
    assert settings.disarmed == ("battery-critical",)
    assert [one.name for one in load_sounders(tmp_path)] == ["device"]
    assert "So I would say: Anna. Anna. Go to Sam now. If Sam is not well" in told.said
    speaker, lines = bench.woken[0]
    assert speaker == "bedside"
    assert "Go to Sam now" in lines[1]


def test_it_goes_on_where_it_was_stopped(tmp_path: Path) -> None:
    """The input ends in the third step: the first two are kept and not asked again."""
    made, _ = setup(tmp_path, "y", "1", "y")
    with pytest.raises(NoAnswer):
        made.run()
    assert made.done == ["room", "microphone"]
    made, told = setup(tmp_path, *[""] * 30)
    made.run()
    assert made.done == list(STEPS)
    assert "Done before: room, microphone." in told.said
    assert "Do you sleep in the same room" not in told.said


def test_one_step_alone_and_all_again(tmp_path: Path) -> None:
    """--step asks no other; --again asks them all, with what is kept as the default."""
    made, told = setup(tmp_path, "Sam", "", "", "")
    made.run(only="names")
    assert made.home.settings.names.person == "Sam"
    assert "1 of 8" not in told.said
    made, told = setup(tmp_path, *[""] * 30)
    made.run(again=True)
    assert "Who has the device? [Sam]" in told.said
    assert made.home.settings.names.person == "Sam"


def test_a_microphone_that_fails_leaves_its_step_open(tmp_path: Path) -> None:
    """It is told, and the next step begins."""
    bench = Bench()
    bench.inputs = ["broken"]
    made, told = setup(tmp_path, "", "1", *[""] * 30, bench=bench)
    made.run()
    assert "That did not work: no sound comes from 'broken'" in told.said
    assert "beepwatch setup --step microphone" in told.said
    assert "microphone" not in made.done
    assert bench.heard_by == [None]
    assert END not in told.said
    assert "Still open: microphone. Go on with: beepwatch setup" in told.said


def test_no_microphone_at_all(tmp_path: Path) -> None:
    """The line says what to do."""
    bench = Bench()
    bench.inputs = []
    made, told = setup(tmp_path, bench=bench)
    made.run(only="microphone")
    assert "there is no microphone here: plug one in" in told.said


@pytest.mark.parametrize(("loud", "words"), [(-20.0, "I heard you clap."), (-60.0, "I did not hear a clap."),
                                             (-math.inf, "room")])  # fmt: skip
def test_a_clap_must_show(tmp_path: Path, loud: float, words: str) -> None:
    """Where it does not, the default answer is no."""
    bench = Bench()
    bench.loud = loud
    made, told = setup(tmp_path, "2", "y", bench=bench)
    made.run(only="microphone")
    assert words in told.said
    assert (f"Is this the one? (y/n) [{'y' if loud == -20.0 else 'n'}]") in told.said


def test_a_speaker_that_does_not_play(tmp_path: Path) -> None:
    """The default answer is no, and after three tries the step is open."""
    bench = Bench()
    bench.played = Played("the cable is out", None)
    made, told = setup(tmp_path, *[""] * 6, bench=bench)
    made.run(only="speaker")
    assert told.said.count("It did not play: the cable is out.") == 3
    assert "speaker" not in made.done


def test_a_wake_that_would_not_wake_is_not_done(tmp_path: Path) -> None:
    """It says to turn it up."""
    made, told = setup(tmp_path, "y", "", "n")
    made.run(only="wake")
    assert "Turn it up" in told.said
    assert made.done == []


@pytest.mark.parametrize(("code", "words"), [(None, "not there yet"), (1, "still open"), (0, TEXTS["check"])])
def test_the_check_is_done_where_it_is_there(tmp_path: Path, code: int | None, words: str) -> None:
    """A fault that it finds leaves the step open."""
    made, told = setup(tmp_path, "y", check=code)
    made.run(only="check")
    assert words in told.said
    assert made.done == ([] if code == 1 else ["check"])


def test_a_file_that_is_no_recording_is_told(tmp_path: Path) -> None:
    """And the step stays open."""
    made, told = setup(tmp_path, str(tmp_path / "none.wav"))
    made.run(only="teach")
    assert "there is no such file" in told.said
    assert made.done == []


@pytest.mark.parametrize("text", [INTRO, END, *TEXTS.values(), *PATTERNS.values()])
def test_texts_read_at_grade_7_or_lower(text: str) -> None:
    """By Flesch-Kincaid, as an independent package measures it."""
    assert textstat.flesch_kincaid_grade(text.replace("\n", " ")) <= 7


def test_the_steps_of_the_command_line_are_those() -> None:
    """Named twice, so that help needs no import; and they fit their setting."""
    assert NAMED == STEPS
    assert len(" ".join(STEPS)) <= 60


def test_nobody_is_asked_to_unplug() -> None:
    """Where a recording is spoken of, it says never."""
    assert "Never unplug a cable" in TEXTS["teach"]
