"""`beepwatch teach`: what it asks, keeps, refuses and carries to another machine."""

import io
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beepwatch.bedroom.teach import from_next_alarm
from beepwatch.cli import CAUTION, main
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.settings.file import keep_sounder, load_sounders
from beepwatch.settings.household import household
from beepwatch.synthesis import Tone
from tests.bedroom.taught import Told, beep, night
from tests.bedroom.test_drift import history
from tests.test_settings import sounder


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Six beeps of 2730 Hz."""
    return night(tmp_path / "night.wav")


def answer(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    """What a person types."""
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_the_beep_of_a_recording_is_shown_asked_for_and_kept(
    recording: Path, no_settings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three times Enter: tone to 0.1 %, and watch and review --taught have it."""
    answer(monkeypatch, "", "", "")
    assert main(["teach", str(recording)]) == 0
    out = capsys.readouterr().out
    assert "I heard 6 beeps at 2730 Hz." in out
    assert "Was that it? (y/n) [y]" in out
    (kept,) = load_sounders(no_settings)
    assert kept.tone == pytest.approx(2730, rel=1e-3)
    assert kept.length == pytest.approx(1.2, abs=0.05)
    assert (kept.name, kept.role, kept.beeps) == ("device", "wake", 6)
    assert household(no_settings).settings.device.sounder == "device"
    assert main(["review", "--taught", str(recording)]) == 0
    assert "tone 2730" in capsys.readouterr().err
    assert main(["watch", str(recording), "--silent", "--data", str(recording.parent / "data")]) == 0
    assert "Your device's tone: 2730 Hz (taught as device)." in capsys.readouterr().out


def test_a_review_is_the_same_whatever_is_taught(
    recording: Path, no_settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without --taught the settings do not count; with it and nothing taught it is refused."""
    assert main(["review", "--taught", str(recording)]) == 2
    assert "no tone is taught" in capsys.readouterr().err
    assert main(["review", "--format", "jsonl", str(recording)]) == 0
    before = capsys.readouterr().out
    keep_sounder(no_settings, sounder())
    assert main(["review", "--format", "jsonl", str(recording)]) == 0
    assert capsys.readouterr().out == before
    assert main(["review", "--config", str(no_settings), str(recording)]) == 2


def test_no_keeps_nothing(
    recording: Path, no_settings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1, and no file."""
    answer(monkeypatch, *["n"] * 5)
    assert main(["teach", str(recording)]) == 1
    assert "Nothing was kept." in capsys.readouterr().out
    assert load_sounders(no_settings) == []


def test_no_answer_is_no_yes(
    recording: Path, no_settings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 in one line."""
    answer(monkeypatch)
    assert main(["teach", str(recording)]) == 2
    assert "no answer came" in capsys.readouterr().err
    assert load_sounders(no_settings) == []


def test_beeps_too_short_for_a_breath_are_not_likely_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A clock's: the default answer is no."""
    rate = 16_000
    sound = 0.001 * np.random.default_rng(2).standard_normal(10 * rate)
    for i in range(6):
        sound += Tone(1 + 1.3 * i, 0.1, 3100.0, -25.0).at(0, len(sound), rate)
    soundfile.write(tmp_path / "clock.wav", sound, rate)
    answer(monkeypatch, "")
    assert main(["teach", str(tmp_path / "clock.wav")]) == 1
    assert "Was that it? (y/n) [n]" in capsys.readouterr().out


def test_two_beeps_are_too_few(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says how many it heard and how many it needs."""
    assert main(["teach", str(night(tmp_path / "short.wav", count=2)), "--yes"]) == 1
    assert "I heard 2 beeps at 2730 Hz. I need 3 beeps to learn one." in capsys.readouterr().out


def test_nothing_near_the_device_is_ignored(
    recording: Path, tmp_path: Path, no_settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused while the device is unknown, refused within 3 % of it, kept further off; and by --change too."""
    command = ["teach", str(recording), "--name", "oven", "--as", "ignore", "--yes"]
    assert main(command) == 2
    assert "teach the device first" in capsys.readouterr().err
    keep_sounder(no_settings, sounder(tone=2730 * 1.029))
    assert main(command) == 2
    assert "within 3 %" in capsys.readouterr().err
    keep_sounder(no_settings, sounder(tone=2730 * 1.04))
    assert main(command) == 0
    assert {one.name: one.role for one in load_sounders(no_settings)} == {"device": "wake", "oven": "ignore"}
    assert main(["teach", "--change", "oven", "--as", "log"]) == 0
    assert main(["teach", "--change", "device", "--as", "ignore"]) == 2


def test_an_ignored_beep_raises_nothing_in_a_watched_recording(
    recording: Path, no_settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And does without the role."""
    keep_sounder(no_settings, sounder(tone=3500))
    data = str(recording.parent / "data")
    assert main(["watch", str(recording), "--silent", "--data", data]) == 0
    assert "ALARM: lead-disconnect" in capsys.readouterr().out
    assert main(["teach", str(recording), "--name", "oven", "--as", "ignore", "--yes"]) == 0
    assert main(["watch", str(recording), "--silent", "--data", data]) == 0
    assert "No alarm was heard." in capsys.readouterr().out


def test_the_last_alarm_of_the_history_teaches(
    tmp_path: Path, no_settings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the beeps that were kept as evidence; an empty history says what to do."""
    data = tmp_path / "data"
    data.mkdir()
    assert main(["teach", "--data", str(data)]) == 1
    assert "After the next real alarm, start this again." in capsys.readouterr().out
    history(data, [(3, 2730.0)])
    with History(data) as log:
        (span,) = log.spans()
    store = Store(data)
    store.add_beeps(span.id, [beep(1.0), beep(5.0), beep(9.0), beep(6.0, tone=2000)])
    store.close()
    answer(monkeypatch, "y", "y", "")
    assert main(["teach", "--data", str(data)]) == 0
    (kept,) = load_sounders(no_settings)
    assert (kept.tone, kept.beeps, kept.harmonics, kept.microphone) == (2730.0, 3, (), "a microphone")
    assert span.until - span.began == timedelta(seconds=20)


def test_the_next_alarm_is_waited_for(tmp_path: Path) -> None:
    """An old alarm does not count; the one that comes while it waits does; and it does not wait for ever."""
    data = tmp_path / "data"
    history(data, [(3, 2500.0)])
    waits: list[float] = []

    def sleep(seconds: float) -> None:
        """Goes by at once; in the third wait an alarm is written."""
        waits.append(seconds)
        if len(waits) == 3:
            history(data, [(-1, 2730.0)])
            with History(data) as log:
                span = log.spans()[-1]
            store = Store(data)
            store.add_beeps(span.id, [beep(1.0), beep(5.0), beep(9.0)])
            store.close()

    heard = from_next_alarm(data, Told().talk, 60.0, sleep)
    assert len(waits) == 3
    assert heard.candidates[0].tone == 2730.0
    assert from_next_alarm(tmp_path / "none", Told().talk, 60.0, sleep).candidates == []
    assert sum(waits[3:]) == 60.0


def test_live_asks_first_whether_the_cable_is_off_for_care_anyway(
    no_settings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No is the default, and no microphone is opened."""
    answer(monkeypatch, "")
    assert main(["teach", "--live"]) == 1
    out = capsys.readouterr().out
    assert out.startswith("Never unplug a cable to teach me.")
    assert "with a trained person awake beside them? (y/n) [n]" in out
    assert load_sounders(no_settings) == []


def test_a_sounder_is_carried_to_another_machine(
    tmp_path: Path, no_settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its file is the same there; a name that is taken is refused, and so is a foreign file."""
    keep_sounder(no_settings, sounder())
    carried, other = str(tmp_path / "device.toml"), str(tmp_path / "other")
    assert main(["teach", "--export", "device", "-o", carried]) == 0
    assert main(["teach", "--import", carried, "--config", other]) == 0
    assert load_sounders(Path(other)) == [sounder()]
    assert main(["teach", "--import", carried, "--config", other]) == 2
    assert main(["teach", "--import", carried, "--config", other, "--name", "spare"]) == 0
    (tmp_path / "device.toml").write_text("a shopping list")
    assert main(["teach", "--import", carried, "--config", other, "--yes"]) == 2
    assert "is no sounder of beepwatch" in capsys.readouterr().err


def test_list_and_forget(no_settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is taught, one a line."""
    assert main(["teach", "--list"]) == 0
    assert "Nothing is taught yet" in capsys.readouterr().out
    keep_sounder(no_settings, sounder())
    assert main(["teach", "--list"]) == 0
    assert "device: wake, your device, 2730.0 Hz" in capsys.readouterr().out
    assert main(["teach", "--forget", "oven"]) == 2
    assert main(["teach", "--forget", "device"]) == 0
    assert load_sounders(no_settings) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["x.wav", "--live"], "not both"),
        (["--name", "my device"], "--name 'my device' cannot be"),
        (["--change", "device"], "needs --as"),
        (["--export", "device"], "go together"),
        (["--live", "--minutes", "0"], "--minutes 0"),
        (["missing.wav"], "there is no such file"),
    ],
)
def test_options_that_cannot_be(capsys: pytest.CaptureFixture[str], options: list[str], words: str) -> None:
    """One line, exit code 2."""
    assert main(["teach", *options]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["teach", "settings"])
def test_the_help_has_an_example(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    """And the caution."""
    with pytest.raises(SystemExit):
        main([verb, "--help"])
    out = capsys.readouterr().out
    assert f"examples:\n  beepwatch {verb}" in out
    assert CAUTION.splitlines()[0] in out
