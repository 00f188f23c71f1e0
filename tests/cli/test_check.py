"""`beepwatch check` on recordings and in a talk with a person: what is said, kept and shown."""

import json
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
import textstat

from beepwatch.bedroom.places import Taught
from beepwatch.bedroom.sounds import beeps, steady
from beepwatch.cli import main
from beepwatch.cli.checking import Checking
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.recording import Recording
from beepwatch.sources.replay import Replay

RATE = 16_000
TONE = 2730.0
Floats = npt.NDArray[np.float32]


def noise(seconds: float, seed: int = 1) -> Floats:
    """White noise of -60 dBFS."""
    return np.asarray(np.random.default_rng(seed).standard_normal(round(seconds * RATE)) * 7e-4, dtype=np.float32)


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Runs the verb with folders of its own; gives (exit code, said, said on stderr)."""

    def go(*given: str | Path) -> tuple[int, str, str]:
        code = main(["check", "--data", str(tmp_path), "--config", str(tmp_path / "config"), *map(str, given)])
        told = capsys.readouterr()
        return code, told.out, told.err

    return go


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str, Floats], Path]:
    """Writes a recording."""

    def go(name: str, sound: Floats) -> Path:
        soundfile.write(tmp_path / name, sound, RATE, "PCM_24")
        return tmp_path / name

    return go


Run = Callable[..., tuple[int, str, str]]
Write = Callable[[str, Floats], Path]


def test_a_clean_recording_has_its_noise_told(run: Run, write: Write) -> None:
    """Exit 0, the floor in dBFS, nothing found."""
    code, out, _ = run(write("quiet.wav", noise(10)))
    assert code == 0
    assert "dBFS with A-weighting" in out
    assert "Nothing was found" in out


def test_a_spoilt_recording_says_what_to_do(run: Run, write: Write) -> None:
    """Exit 1, the fault, the remedy."""
    sound = noise(20)
    for at in range(0, 20, 2):
        sound[at * RATE + 1000 : at * RATE + 1600] = 0
    code, out, _ = run(write("holes.wav", sound))
    assert code == 1
    assert "FOUND: Bits of sound are missing: 30 holes in a minute." in out
    assert "  Do: Move the radio link closer" in out


def test_the_steady_tone_is_judged_from_a_file(run: Run, write: Write) -> None:
    """A tone that sinks by 12 dB within 3 s is told as a fade; one that holds is not."""
    tone = steady(TONE, RATE) * 0.1
    assert run(write("holds.wav", tone + noise(21)), "--step", "tone", "--tone", TONE)[0] == 0
    sink = 10 ** (-12 / 20 * np.clip((np.arange(len(tone)) / RATE - 4) / 3, 0, 1))
    code, out, _ = run(
        write("sinks.wav", (tone * sink + noise(21)).astype(np.float32)), "--step", "tone", "--tone", TONE
    )
    assert code == 1
    assert "grew weaker by 12 dB" in out


def test_an_untaught_margin_is_unknown(run: Run, write: Write, tmp_path: Path) -> None:
    """A place measured with no taught beep: "unknown", no number, and the way to one."""
    sound = beeps(TONE, RATE)
    path = write("place.wav", (0.1 * sound + noise(len(sound) / RATE)).astype(np.float32))
    code, out, _ = run(path, "--place", "the bed", "--tone", TONE)
    assert code == 0
    assert "The bed: unknown." in out
    assert "Margins are unknown: the phone was not matched." in out
    kept = json.loads((tmp_path / "check-recordings.json").read_text())
    assert kept["places"][0]["margin"] is None
    assert kept["places"][0]["phone"]["count"] == 5


def taught_margin(tmp_path: Path, write: Write, weaker: float) -> str:
    """What is said of a place where the phone is `weaker` dB less loud than beside the device."""
    sound, quiet = beeps(TONE, RATE), noise(20)[: len(beeps(TONE, RATE))]
    taught = Taught(TONE, -40.0)
    for step, gain in (("match", -20.0), ("places", -20.0 - weaker)):
        path = write(f"{step}.wav", (10 ** (gain / 20) * sound + quiet).astype(np.float32))
        with Recording(path) as recording:
            checking = Checking(Replay(recording), tmp_path, TONE, taught)
            checking.go((step,), "hallway, door shut", "phone")
    place = checking.kept.places[0]
    assert place.margin is not None
    return str(round(place.margin.spare))


def test_a_taught_and_matched_place_has_a_margin(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    """10 dB weaker at the place is 10 dB less to spare; what a phone was matched to is kept between the steps."""
    near = float(taught_margin(tmp_path, write, 0.0))
    far = float(taught_margin(tmp_path, write, 25.0))
    assert near - far == pytest.approx(25, abs=1)
    out = capsys.readouterr().out
    assert "The phone was matched to the device within" in out
    assert f"Hallway, door shut: {near:.0f} dB to spare (give or take" in out


def test_a_match_to_a_beep_that_was_taught_anew_is_void(tmp_path: Path, write: Write) -> None:
    """Matched to one level, taught another since: the margin is unknown until it is matched again."""
    sound = beeps(TONE, RATE)
    path = write("phone.wav", (0.1 * sound + noise(len(sound) / RATE)).astype(np.float32))
    for taught, known in ((Taught(TONE, -40.0), True), (Taught(TONE, -30.0), False)):
        for step in ("match", "places") if known else ("places",):
            with Recording(path) as recording:
                checking = Checking(Replay(recording), tmp_path, TONE, taught)
                checking.go((step,), "bed", "phone")
        assert (checking.kept.places[0].margin is not None) == known


class Deaf(Microphone):
    """A microphone that is never asked."""

    def __init__(self) -> None:
        """Opens nothing."""

    @property
    def name(self) -> str:
        """As the sound system would call it."""
        return "USB"


def test_a_beep_taught_at_another_microphone_gives_no_margin(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its level is of that one: said, with the remedy."""
    Checking(Deaf(), tmp_path, TONE, Taught(TONE, -40.0, (), "built-in"))
    out = capsys.readouterr().out
    assert "The beep was taught at 'built-in'. Its level says nothing about 'USB'." in out
    assert "beepwatch teach" in out


def test_a_device_that_is_hardly_heard_is_far(tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """Taught at a level with under 10 dB to spare: told at the match, with what to do, and exit 1."""
    sound = beeps(TONE, RATE)
    path = write("match.wav", (0.1 * sound + noise(len(sound) / RATE)).astype(np.float32))
    with Recording(path) as recording:
        assert Checking(Replay(recording), tmp_path, TONE, Taught(TONE, -78.0)).go(("match",), None, "phone") == 1
    out = capsys.readouterr().out
    assert "over what can just be heard" in out
    assert "Move the microphone closer to the device" in out


def test_the_sound_for_the_phone_is_a_plain_wav(run: Run, tmp_path: Path) -> None:
    """Five beeps of the tone, 48 kHz, no peak cut; and the steady tone."""
    code, out, _ = run("--beep", tmp_path / "beep.wav", "--steady", tmp_path / "steady.wav", "--tone", TONE)
    assert code == 0
    assert "Written" in out
    for name, seconds in (("beep.wav", 16.0), ("steady.wav", 21.0)):
        sound, rate = soundfile.read(tmp_path / name)
        assert rate == 48_000
        assert len(sound) / rate == pytest.approx(seconds)
        assert np.abs(sound).max() < 0.99
        spectrum = np.abs(np.fft.rfft(sound))
        assert np.argmax(spectrum) * rate / len(sound) == pytest.approx(TONE, abs=1)


def test_show_before_any_check_says_how_to_begin(run: Run) -> None:
    """One line."""
    assert run("--show")[1] == "Nothing has been checked yet. Run: beepwatch check\n"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("--tone", "50"), "outside 400 to 5000 Hz"), (("--seconds", "1"), "outside 3 to 3600"),
        (("nowhere.wav",), "there is no such file"), (("x.wav", "--device", "y"), "not both"),
        (("--place", " "), "needs a name"), (("--beep", "/nowhere/at/all.wav", "--tone", "2730"), "another folder"),
    ],
)  # fmt: skip
def test_wrong_input_is_one_line_and_exit_2(run: Run, given: Sequence[str], said: str) -> None:
    """What is wrong, and what to do."""
    code, _, err = run(*given)
    assert code == 2
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_recording_too_short_is_refused(run: Run, write: Write) -> None:
    """Two seconds of room tell nothing."""
    code, _, err = run(write("short.wav", noise(2)))
    assert code == 2
    assert "too short" in err


def test_a_person_can_leave_steps_out(tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """Enter goes on, s leaves out, the end of the input leaves out the rest; what was done is kept."""
    answers = iter(["", "s"])

    def answer(_question: str) -> str:
        try:
            return next(answers)
        except StopIteration:
            raise EOFError from None

    with Recording(write("quiet.wav", noise(10))) as recording:
        taught = Taught(TONE, -40.0, ())
        checking = Checking(Replay(recording), tmp_path, TONE, taught, ask=True, answer=answer)
        assert checking.go(("room", "tone", "echo", "match", "places"), None, "computer") == 0
    assert checking.kept.quiet is not None
    assert checking.kept.tested is None
    assert "No place was measured." in capsys.readouterr().out
    assert cast("str", json.loads((tmp_path / "check-recordings.json").read_text())["quiet"]["at"])


def test_nobody_is_sent_round_the_house_for_a_margin_that_cannot_be_known(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    """While no beep is taught at this microphone, match and places are left out of the whole, and it says why."""
    with Recording(write("quiet.wav", noise(10))) as recording:
        checking = Checking(Replay(recording), tmp_path, TONE, None, ask=True, answer=lambda _: "s")
        checking.go(("room", "tone", "echo", "match", "places"), None, "computer")
    said = capsys.readouterr().out
    assert "Left out: match. It needs a beep that is taught here. Then: beepwatch check --step match" in said
    assert "Left out: places." in said
    assert checking.kept.places == ()


def test_all_that_is_said_to_a_person_is_easy_to_read(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each step's text at grade 7 or lower (Flesch-Kincaid, by an independent package), and it claims nothing."""
    microphone = Deaf()
    for name in (microphone.name, "other"):
        checking = Checking(microphone, tmp_path, TONE, Taught(TONE, -40.0, (), name), ask=True, answer=lambda _: "s")
        checking.go(("room", "tone", "echo", "match", "places"), None, "phone")
    Checking(microphone, tmp_path, TONE, None).go(("match", "match"), None, "phone")
    said = [text for text in capsys.readouterr().out.split("\n") if text and not text.startswith("Kept in")]
    assert len(said) >= 10
    for text in said:
        assert textstat.flesch_kincaid_grade(text) <= 7, text
        assert not re.search(r"\b(surely|trust|safe|guarantee)", text)


def test_results_are_kept_where_the_settings_keep_the_history(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    """`history.folder` counts for the results too, and for --show; --data goes first."""
    config, kept = tmp_path / "config", tmp_path / "kept"
    assert main(["settings", "set", "history.folder", str(kept), "--config", str(config)]) == 0
    assert main(["check", str(write("quiet.wav", noise(10))), "--config", str(config)]) == 0
    assert str(kept) in capsys.readouterr().out
    assert [path.parent for path in tmp_path.rglob("check*.json")] == [kept]
    assert main(["check", "--show", "--config", str(config)]) == 0
    assert main(["check", "--show", "--config", str(config), "--data", str(tmp_path / "empty")]) == 0
    assert "Nothing has been checked yet" in capsys.readouterr().out.splitlines()[-1]
