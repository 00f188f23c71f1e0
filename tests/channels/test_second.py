"""The second way: a command with the sound file, the bell where that fails, and the speaker's stand-in."""

import shlex
import subprocess
import sys
import time
import wave
from pathlib import Path
from queue import Queue

import pytest

from beepwatch.channels.backed import SETTLED, Backed
from beepwatch.channels.rounds import Round
from beepwatch.channels.second import SecondWay, Trial, argument_list
from beepwatch.channels.speaker import Failed, Speaker, SpeakerReport, Started
from beepwatch.errors import InputError
from tests.channels.bench import BenchSystem

ROUND = Round((-1,), "high", ("I cannot hear the room.",))
OTHER = Round((3,), "high", ("Something else.",))


def command(folder: Path, then: str = "") -> tuple[str, ...]:
    """A program that writes down the file and the words that it was given, then does `then`."""
    program = (
        "import os, sys, time, wave; f = wave.open(sys.argv[1]); "
        f"open({str(folder / 'marks')!r}, 'a').write("
        "f'{f.getframerate()} {f.getnframes() / f.getframerate():.1f} {os.environ[\"BEEPWATCH_TEXT\"]}\\n'); "
    )
    return (sys.executable, "-c", program + then, "{sound}")


class Bed:
    """A second way with its reports and its bell in the test's hand."""

    def __init__(self, folder: Path, words: tuple[str, ...]) -> None:
        self.reports: Queue[Started | Trial] = Queue()
        self.bells: Queue[None] = Queue()
        self.folder = folder
        self.way = SecondWay(words, folder, self.reports.put, bell=lambda: self.bells.put(None))

    @property
    def marks(self) -> list[str]:
        return (self.folder / "marks").read_text().splitlines()


def test_the_command_gets_the_sound_and_the_words(tmp_path: Path) -> None:
    """A WAV of 48 kHz with a whole round, and the text; reported once it has run for a while, again and again."""
    bed = Bed(tmp_path, command(tmp_path, "time.sleep(0.7)"))
    bed.way.play(ROUND)
    for _ in range(2):
        told = bed.reports.get(timeout=10)
        assert isinstance(told, Started)
        assert (told.numbers, told.way) == ((-1,), "second way")
    bed.way.close()
    rate, seconds, *words = bed.marks[0].split()
    assert (int(rate), " ".join(words)) == (48_000, "I cannot hear the room.")
    assert float(seconds) > 7.0
    assert bed.bells.empty()


def test_stopping_ends_the_command_at_once(tmp_path: Path) -> None:
    """A command that would play for a minute is killed; the same order again is no new beginning."""
    bed = Bed(tmp_path, command(tmp_path, "time.sleep(60)"))
    bed.way.play(ROUND)
    bed.reports.get(timeout=10)
    child = bed.way._child
    assert child is not None
    bed.way.play(Round(ROUND.numbers, "high", ROUND.lines))
    assert child.poll() is None
    bed.way.stop()
    child.wait(timeout=5)
    assert len(bed.marks) == 1
    bed.way.close()


def test_another_round_takes_its_place(tmp_path: Path) -> None:
    """What is told has changed."""
    bed = Bed(tmp_path, command(tmp_path, "time.sleep(60)"))
    for round_ in (ROUND, OTHER):
        bed.way.play(round_)
        told = bed.reports.get(timeout=10)
        assert isinstance(told, Started)
        assert told.numbers == round_.numbers
    bed.way.close()
    assert bed.marks[1].endswith("Something else.")


@pytest.mark.parametrize("words", [(), ("no-such-program",), (sys.executable, "-c", "raise SystemExit(3)")])
def test_where_no_command_sounds_the_bell_rings(tmp_path: Path, words: tuple[str, ...]) -> None:
    """Not set, not there, or failing: the bell, as the last resort, and it says so."""
    bed = Bed(tmp_path, words)
    bed.way.play(ROUND)
    bed.bells.get(timeout=10)
    told = bed.reports.get(timeout=10)
    assert isinstance(told, Started)
    assert told.way == "bell"
    bed.way.close()


@pytest.mark.parametrize(
    ("words", "ok", "text"),
    [
        ((sys.executable, "-c", ""), True, "its command ended well"),
        ((), False, "no command is set"),
        (("no-such-program",), False, "no-such-program cannot be run"),
        ((sys.executable, "-c", "raise SystemExit(1)"), False, "exit code 1"),
    ],
)
def test_a_trial_tells_whether_the_command_ends_well(
    tmp_path: Path, words: tuple[str, ...], ok: bool, text: str
) -> None:
    """Softly, in the evening; what is wrong is one plain line."""
    bed = Bed(tmp_path, words)
    bed.way.trial()
    told = bed.reports.get(timeout=10)
    assert isinstance(told, Trial)
    assert told.ok is ok
    assert text in told.text
    if ok:
        with wave.open(str(tmp_path / "second-way-trial.wav")) as file:
            peak = max(abs(int.from_bytes(file.readframes(1), "little", signed=True)) for _ in range(24_000))
        assert 0 < peak < 0.021 * 32767
    bed.way.close()


def test_a_full_disk_leaves_the_sound_from_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What cannot be written anew is played as it was; where there never was one, the bell rings."""

    def full(*_: object) -> object:
        raise OSError(28, "No space left on device")

    played = "import os, sys, time; open(sys.argv[2], 'a').write('played\\n'); time.sleep(0.7)"
    bed = Bed(tmp_path, (sys.executable, "-c", played, "{sound}", str(tmp_path / "marks")))
    bed.way.play(ROUND)
    bed.reports.get(timeout=10)
    bed.way.stop()
    monkeypatch.setattr("wave.open", full)
    bed.way.play(OTHER)
    told = bed.reports.get(timeout=10)
    assert isinstance(told, Started)
    assert (told.way, told.numbers) == ("second way", OTHER.numbers)
    (tmp_path / "second-way.wav").unlink()
    bed.bells.get(timeout=10)
    bed.way.close()


def test_a_command_that_cannot_be_split_is_told() -> None:
    """One line with what to do."""
    assert argument_list("aplay -q -D 'plughw:CARD=Beside Bed'") == ("aplay", "-q", "-D", "plughw:CARD=Beside Bed")
    with pytest.raises(InputError, match="close the quotation marks"):
        argument_list(shlex.quote("it's") + "'")


class Pair:
    """A speaker on a sound system in the test's hand, backed by a second way."""

    def __init__(self, folder: Path, hangs: bool = False) -> None:
        self.bench = BenchSystem()
        self.reports: Queue[SpeakerReport] = Queue()
        self.bed = Bed(folder, command(folder, "time.sleep(60)"))
        self.backed = Backed(
            lambda report: Speaker(report, system=self.bench), self.bed.way, self.reports.put, lambda: hangs
        )


def test_a_speaker_that_fails_hands_over_and_takes_back(tmp_path: Path) -> None:
    """No output: the second way sounds; once the speaker does, the second way is silent."""
    pair = Pair(tmp_path)
    pair.bench.there = False
    pair.backed.play(ROUND)
    assert isinstance(pair.reports.get(timeout=10), Failed)
    assert isinstance(pair.bed.reports.get(timeout=10), Started)
    child = pair.bed.way._child
    assert child is not None
    pair.bench.there = True
    stream = pair.bench.opened.get(timeout=10)
    while pair.reports.empty():
        stream.pump(0.1)  # until the speaker's thread has given it a round
    assert isinstance(pair.reports.get(), Started)
    assert child.poll() is None  # it may stall at once
    until = time.monotonic() + SETTLED + 5.0
    while child.poll() is None and time.monotonic() < until:
        stream.pump(0.05)
        time.sleep(0.02)  # as the sound system does
    assert child.poll() is not None
    assert pair.backed.close()


def test_a_speaker_that_takes_the_first_samples_only_does_not_stop_the_second_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A suspended sink: begun, stalled, again and again; the second way goes on until the speaker has held out."""
    monkeypatch.setattr("beepwatch.channels.backed.SETTLED", 0.3)
    pair = Pair(tmp_path)
    pair.bench.there = False
    pair.backed.play(ROUND)
    assert isinstance(pair.bed.reports.get(timeout=10), Started)
    child = pair.bed.way._child
    assert child is not None
    for _ in range(3):
        pair.backed._heard(Started(0.0, ROUND.numbers))
        pair.backed._heard(Failed(0.0, "it takes no sound"))
    with pytest.raises(subprocess.TimeoutExpired):
        child.wait(timeout=1.0)
    pair.backed._heard(Started(0.0, ROUND.numbers))
    child.wait(timeout=5)
    assert pair.backed.close()


def test_while_the_sound_server_hangs_both_begin_at_once(tmp_path: Path) -> None:
    """The microphone knows it: nothing waits for the speaker to give up."""
    pair = Pair(tmp_path, hangs=True)
    pair.backed.play(ROUND)
    assert isinstance(pair.bed.reports.get(timeout=10), Started)
    pair.backed.stop()
    assert pair.bed.way._round is None
    assert pair.backed.close()


def test_what_nobody_asked_for_is_not_sounded(tmp_path: Path) -> None:
    """A missing speaker at the start is told; nothing sounds."""
    pair = Pair(tmp_path)
    pair.backed._heard(Failed(0.0, "no speaker"))
    assert pair.bed.way._round is None
    assert pair.backed.close()
