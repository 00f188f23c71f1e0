"""`review --picture`: one PNG a raised alarm, what is in it, and how it refuses."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from matplotlib.image import imread
from numpy.typing import NDArray

from beepwatch.cli import main
from beepwatch.cli.reporting.expected import expected, own
from beepwatch.cli.reporting.picture import AROUND, MOST, Page, Pictures, span
from beepwatch.cli.reporting.writers import Heard
from beepwatch.errors import InputError
from beepwatch.events import Alarm
from beepwatch.patterns.profiles import Profile, packaged
from beepwatch.synthesis import Background, Ring, Scenario, render
from tests.cli.reporting.made_up import BATTERY, LEAD, beep

RATE = 16_000
PROFILES = {profile.name: profile for profile in packaged()}
SHORT = replace(LEAD, ended=36.2, last=36.2, beeps=6)
"""Six beeps of 1.2 s, one every 5 s from 10 s on."""


def sound(seconds: float = 50.0, channels: int = 1) -> NDArray[np.float32]:
    """The six beeps of `SHORT` in white noise, shape (n, channels)."""
    ring = Ring(pattern="lead-disconnect", start=10.0, count=6, period=5.0, length=1.2, snr=10.0)
    night = Scenario(duration=seconds, rate=RATE, seed=3, level=-50, alarms=(ring,), background=Background())
    return np.repeat(render(night).samples[:, None], channels, axis=1)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The scene as a file of two channels."""
    path = tmp_path_factory.mktemp("picture") / "night.wav"
    soundfile.write(path, sound(channels=2), RATE)
    return path


def pixels(path: Path) -> NDArray[np.float32]:
    """The picture in grey, 0 black to 1 white, as a printer without colours has it."""
    grey: NDArray[np.float32] = np.asarray(imread(path), np.float32)[..., :3].mean(axis=2)
    return grey


def drawn(folder: Path, file: Path, alarm: Alarm) -> NDArray[np.float32]:
    """The picture of one made-up alarm with six beeps."""
    pictures = Pictures(folder)
    pictures.begin(str(file))
    for onset in range(10, 40, 5):
        pictures.tell(beep(float(onset)))
    pictures.tell(alarm)
    pictures.end(Heard(50.0))
    (path,) = folder.iterdir()
    return pixels(path)


def test_review_saves_a_picture_of_each_alarm(night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Stem, number and pattern name it; the folder is made; the report itself stays as it was."""
    assert main(["review", "--format", "tsv", str(night)]) == 0
    plain = capsys.readouterr().out
    folder = tmp_path / "new" / "pictures"
    assert main(["review", "--format", "tsv", "--picture", str(folder), str(night)]) == 0
    caught = capsys.readouterr()
    assert caught.out == plain
    assert caught.err == f"beepwatch: 1 picture saved in {folder}\n"
    (path,) = folder.iterdir()
    assert path.name == "night-1-lead-disconnect.png"
    assert pixels(path).shape == (860, 1400)


def test_the_beeps_are_seen(night: Path, tmp_path: Path) -> None:
    """Black where the beeps are, white elsewhere in the row of those heard: six bars of 1.2 s in 42 s."""
    grey = drawn(tmp_path, night, SHORT)
    assert 0.5 < grey.mean() < 0.97
    bars = grey[620, 130:1390] < 0.1  # a line through the row of beeps that were heard
    starts = np.flatnonzero(np.diff(bars.astype(int)) == 1)
    assert len(starts) == 7  # and the line of the raise
    assert np.mean(bars) == pytest.approx(6 * 1.2 / 42, abs=0.03)


def test_a_gap_does_not_look_like_silence(tmp_path: Path) -> None:
    """Where the file holds no numbers the picture is hatched."""
    broken = sound()
    soundfile.write(tmp_path / "whole.wav", broken, RATE, "FLOAT")
    broken[22 * RATE : 24 * RATE] = np.nan
    soundfile.write(tmp_path / "gap.wav", broken, RATE, "FLOAT")
    whole = drawn(tmp_path / "a", tmp_path / "whole.wav", SHORT)
    gap = drawn(tmp_path / "b", tmp_path / "gap.wav", SHORT)
    changed = np.abs(whole - gap)[120:550].mean(axis=0)  # the spectrogram below the label of the raise
    assert np.argmax(changed) == pytest.approx(125 + 1270 * (23 - 2) / 42.2, abs=45)
    assert changed[:600].max() < 0.1 * changed.max()


def test_beeps_of_an_unreadable_name_are_drawn(night: Path, tmp_path: Path) -> None:
    """A file's name may hold what a formula or a font would choke on."""
    odd = tmp_path / f"a $x^ 夜{'long' * 40}.wav"
    odd.write_bytes(night.read_bytes())
    assert drawn(tmp_path / "out", odd, SHORT).shape == (860, 1400)


def test_two_files_of_one_name_keep_their_pictures(night: Path, tmp_path: Path) -> None:
    """The second is told apart."""
    pictures = Pictures(tmp_path)
    for _ in range(2):
        pictures.begin(str(night))
        pictures.tell(SHORT)
        pictures.end(Heard(50.0))
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["night-1-lead-disconnect.png", "night~2-1-lead-disconnect.png"]
    assert pictures.saved == 2


def test_a_long_alarm_is_shown_around_its_raise() -> None:
    """A short one with 8 s on each side; a long one 120 s that hold the raise, from its onset where that fits."""
    assert (span(SHORT).begin, span(SHORT).end, span(SHORT).whole) == (2.0, 36.2 + AROUND, True)
    hours = span(replace(SHORT, onset=100.0, raised=111.5, ended=None, last=9000.0))
    assert (hours.begin, hours.end, hours.whole) == (92.0, 92.0 + MOST, False)
    late = span(replace(SHORT, onset=100.0, raised=900.0, ended=1000.0, last=1000.0))
    assert late.begin > 100.0
    assert late.begin < 900.0 < late.end
    assert late.end - late.begin == MOST


def test_only_beeps_in_sight_are_kept(tmp_path: Path) -> None:
    """Hours of beeps before and after leave nothing behind."""
    pictures = Pictures(tmp_path)
    pictures.begin("x.wav")
    for second in range(0, 4000, 5):
        pictures.tell(beep(float(second)))
        if second == 2000:
            pictures.tell(replace(SHORT, onset=1990.0, raised=2001.5, last=2016.2, ended=2016.2))
    (page,) = pictures._pages
    assert isinstance(page, Page)
    assert [beep.onset for beep in page.beeps] == list(range(1985, 2025, 5))
    assert len(pictures._recent) < 30


def test_an_alarm_knows_its_own_beeps() -> None:
    """Not another tone's, not a battery's 20 s, not those outside of it."""
    mine = [beep(10.0), beep(15.0)]
    foreign = [beep(5.0), replace(beep(11.0), frequency=3300.0), beep(12.0, 20.0), beep(40.0)]
    assert own(SHORT, PROFILES["lead-disconnect"], [*foreign, *mine]) == mine


def test_a_missed_breath_leaves_its_mark() -> None:
    """Each due time is counted from the beep before, or from its own due time where none came."""
    heard = [beep(10.0), beep(15.3), beep(25.2)]
    alarm = replace(SHORT, ended=26.4, last=26.4, beeps=3)
    marks = expected(alarm, PROFILES["lead-disconnect"], heard, 100.0)
    assert [onset for onset, _ in marks] == pytest.approx([10.0, 15.0, 20.3, 25.3])
    assert {length for _, length in marks} == {1.2}


def test_an_open_alarm_expects_on() -> None:
    """One 20 s tone: the next is due after the profile's own minute, as far as the picture goes."""
    alarm = replace(BATTERY, duration=19.4)
    marks = expected(alarm, PROFILES["battery-critical"], [beep(40.0, 19.4)], 165.0)
    assert marks == [(40.0, 20.0), (100.0, 20.0), (160.0, 20.0)]


@pytest.mark.parametrize("onset", [10.0, 2.0])
def test_groups_are_expected_whole(onset: float) -> None:
    """Three pulses each 4 s, also where one was missed, or the alarm began before the picture."""
    alarm = Alarm(1, "fire", "high", onset, 20.0, 24.5, 24.5, 11, 0.5, 4.0, 3100.0, 0.99, "")
    profile: Profile = PROFILES["fire"]
    pulses = [replace(beep(at + step, 0.5), frequency=3100.0) for at in (10.0, 14.0, 18.0, 22.0) for step in (0, 1, 2)]
    del pulses[4]
    marks = expected(alarm, profile, own(alarm, profile, pulses), 60.0)
    first = 10.0 if onset == 10.0 else 14.0
    whole = [at + step for at in (10.0, 14.0, 18.0, 22.0) for step in (0, 1, 2) if at >= first]
    assert [at for at, _ in marks] == pytest.approx(whole)


@pytest.mark.parametrize("name", ["librosa", "matplotlib"])
def test_a_missing_extra_is_one_line(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """What to install, exit 2, before anything is heard or made."""
    monkeypatch.setitem(sys.modules, name, None)
    assert main(["review", "--picture", str(tmp_path / "p"), str(night)]) == 2
    caught = capsys.readouterr()
    assert caught.out == ""
    assert (
        caught.err
        == "beepwatch: --picture needs librosa and matplotlib: in beepwatch's folder, pip install '.[pictures]'\n"
    )
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize("below", ["", "folder"])
def test_a_folder_that_cannot_be_written_is_one_line(
    night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], below: str
) -> None:
    """A file stands where the folder should be, or above it."""
    (tmp_path / "taken").write_text("a letter")
    folder = tmp_path / "taken" / below
    assert main(["review", "--picture", str(folder), str(night)]) == 2
    caught = capsys.readouterr()
    assert (caught.out, caught.err.count("\n")) == ("", 1)
    assert f"--picture {folder}: cannot write there" in caught.err
    assert "name another folder" in caught.err


def test_a_picture_that_cannot_be_saved_is_one_line(night: Path, tmp_path: Path) -> None:
    """A folder stands where the picture should be; the rest of the review goes on (InputError)."""
    (tmp_path / "night-1-lead-disconnect.png").mkdir()
    with pytest.raises(InputError, match=r"night-1-lead-disconnect\.png: cannot be written"):
        drawn(tmp_path, night, SHORT)


def test_without_the_option_nothing_of_it_is_loaded(night: Path) -> None:
    """A review alone imports neither library."""
    code = "import sys; from beepwatch.cli import main; main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    told = subprocess.run(
        [sys.executable, "-c", code, "review", str(night)], capture_output=True, text=True, check=True
    )
    assert "beepwatch.recognizer" in told.stderr
    assert not {"librosa", "matplotlib", "beepwatch.cli.reporting.drawing"} & set(told.stderr.split())
