"""`pause` from another terminal: what it plans, how it stands, and what it refuses."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.cli.pause import seconds_of
from beepwatch.errors import InputError
from beepwatch.records.planned import FILE, LONGEST, PlannedPause, planned, read_pause, write_pause
from beepwatch.records.store import Store


@pytest.mark.parametrize(("text", "seconds"), [("30m", 1800), ("2h", 7200), ("1h30m", 5400), ("3D", 259_200)])
def test_a_length_is_read_as_a_person_writes_it(text: str, seconds: float) -> None:
    """Minutes, hours, days, and both together."""
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["", "30", "half an hour", "-5m", "m30", "1.5h"])
def test_what_is_no_length_is_refused(text: str) -> None:
    """With an example of each."""
    with pytest.raises(InputError, match="write 30m, 2h, 1h30m or 3d"):
        seconds_of(text)


def test_a_pause_is_planned_shown_and_ended(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each step says whether watch runs: here it does not, and that is told in plain words."""
    data = ["--data", str(tmp_path)]
    assert main(["pause", "30m", "--for", "bath", "--by", "Anna", *data]) == 0
    said = capsys.readouterr().out
    made = read_pause(tmp_path)
    assert made is not None
    assert (made.purpose, made.by, made.via) == ("bath", "Anna", "terminal")
    assert (made.until - made.began) == timedelta(minutes=30)
    assert f"NOT LISTENING until {made.label} (bath, by Anna)" in said
    assert "watch does NOT run" in said
    assert main(["pause", *data]) == 0
    assert "NOT LISTENING until" in capsys.readouterr().out
    assert main(["pause", "--stop", *data]) == 0
    assert "The pause is over." in capsys.readouterr().out
    assert main(["pause", "--stop", *data]) == 0
    assert "There was no pause." in capsys.readouterr().out
    assert main(["pause", *data]) == 0
    assert "No pause is planned." in capsys.readouterr().out


def test_a_watch_that_does_not_take_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It writes its hours and no pause (it hangs, say): the terminal must not say that all is well."""
    monkeypatch.setattr("beepwatch.cli.pause.SOON", 0.1)
    store = Store(tmp_path)
    now = datetime.now(UTC)
    span = store.begin_listening("a microphone", "household", now - timedelta(seconds=60))
    store.extend_listening(span, now)
    assert main(["pause", "30m", "--for", "care", "--data", str(tmp_path)]) == 0
    assert "has NOT taken the pause yet" in capsys.readouterr().out
    made = read_pause(tmp_path)
    assert made is not None
    store.pause(span, "care", made.began, made.until, made.by)
    assert main(["pause", "--data", str(tmp_path)]) == 0
    assert "watch runs." in capsys.readouterr().out
    store.close()


@pytest.mark.parametrize("purpose", LONGEST)
def test_no_purpose_lets_a_pause_last_for_ever(purpose: str) -> None:
    """A pause that was forgotten must end by itself."""
    now = datetime.now(UTC)
    longest = LONGEST[purpose].total_seconds()  # type: ignore[index]  # a Purpose, by where it comes from
    assert planned(longest, purpose, "", "", now)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="give a shorter one"):
        planned(longest + 1, purpose, "", "", now)  # type: ignore[arg-type]


def test_the_label_names_the_day_where_it_is_another() -> None:
    """ "until 20:40" would be wrong for tomorrow."""
    now = datetime(2026, 3, 1, 12, 0).astimezone()
    assert planned(3600, "bath", "", "", now).label == "13:00"
    assert planned(86_400, "away", "", "", now).label == "Mon 02 Mar 12:00"


def test_a_file_is_whole_or_not_there(tmp_path: Path) -> None:
    """Written over another in one step, read back as it was, nothing else left in the folder."""
    now = datetime.now(UTC)
    for minutes in (10, 20):
        write_pause(tmp_path, PlannedPause(now, now + timedelta(minutes=minutes), "care", "Ben", "page"))
    made = read_pause(tmp_path)
    assert made is not None
    assert made.until == now + timedelta(minutes=20)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


@pytest.mark.parametrize(("words", "told"), [
    (["30m"], "say what the pause is for"),
    (["--for", "bath"], "say how long the pause is"),
    (["--stop", "30m", "--for", "bath"], "not both"),
    (["soon", "--for", "bath"], "is no length of time"),
    (["0m", "--for", "bath"], "over 0"),
    (["9h", "--for", "bath"], "up to 3 h"),
    (["99d", "--for", "away"], "up to 30 days"),
])  # fmt: skip
def test_what_cannot_be_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    """Exit code 2, nothing planned."""
    assert main(["pause", *words, "--data", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert not (tmp_path / FILE).exists()
