"""`beepwatch care`: armed after one question, told when, and never how."""

import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pytest
import vobject

from beepwatch import cli
from beepwatch.events import Alarm
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.records.verify import verify

Run: TypeAlias = Callable[..., tuple[int, str, str]]
LOW = Alarm(1, "backup-battery", "medium", 1.0, 11.5, 11.0, 11.0, 1, 10.0, 3600.0, 2730.0, 0.98, "one beep of 10 s")


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """The command in folders of its own; answers: what a person types."""

    def command(*words: str, answers: str = "", verb: str = "care") -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(answers))
        code = cli.main([verb, *words, "--data", str(tmp_path / "data"), "--config", str(tmp_path / "config")])
        return code, *capsys.readouterr()

    return command


def test_armed_after_a_yes_done_and_due(run: Run) -> None:
    """The question names what the clinic should have said; the rhythm begins with the first time."""
    code, told, _ = run("arm", "exit-site", answers="yes\n")
    assert code == 0
    assert "Does your own clinic say this: Exit-site care is done each 3 days, or earlier when the dressing is" in told
    today = datetime.now().astimezone().date()
    ago = today - timedelta(days=4)
    assert "DUE since" in run("done", "exit-site", "--at", str(ago), "--who", "Anna")[1]
    assert "next" in run("done", "exit-site")[1]
    assert "the dressing was damp" in run("early", "exit-site", "--reason", "damp")[1]
    assert "it was put off" in run("postpone", "exit-site", "--to", str(today + timedelta(days=2)))[1]
    assert "as your clinic showed you" in run()[1]


@pytest.mark.parametrize("answer", ["no", "unsure", ""])
def test_any_other_answer_arms_nothing(run: Run, answer: str) -> None:
    """Enter alone is no yes."""
    told = run("arm", "battery", "--hours-a-day", "12", answers=f"{answer}\n")[1]
    assert "Then I remind you of nothing" in told
    assert "not armed" in told


def test_the_battery_by_its_hours(run: Run) -> None:
    """The forecast is a day, by the figures that were given; the old one's hours stand with the change."""
    run("arm", "battery", "--hours-a-day", "10", "--hours", "400", "--clinic-says", "yes")
    began = datetime.now().astimezone() - timedelta(days=20)
    due = (began + timedelta(days=40)).date()
    assert f"{due:%a} {due.day} {due:%b %Y}" in run("changed", "battery", "--at", began.isoformat())[1]
    run("changed", "battery")
    assert "battery done after about 200 h" in run()[1]


def test_a_routine_of_the_familys_own_and_a_supply(run: Run, tmp_path: Path) -> None:
    """Kept in the settings; disarmed, it is told no more, and what was done stays."""
    run("add", "dressings", "--days", "90", "--lead", "14", "--title", "Dressings", answers="yes\n")
    assert "order by" in run("done", "dressings")[1]
    assert "no more reminders" in run("disarm", "dressings")[1]
    told = run()[1]
    assert "Dressings: not armed" in told
    assert "dressings done" in told
    assert 'clinic = "no"' in (tmp_path / "config" / "settings.toml").read_text()


def test_an_entry_made_by_mistake_counts_no_more(run: Run, tmp_path: Path) -> None:
    """It stays in the file, and the chain holds."""
    run("arm", "exit-site", "--clinic-says", "yes")
    run("done", "exit-site")
    assert "counts no more" in run("wrong", "2")[1]
    assert "no time is known yet" in run()[1]
    assert verify(tmp_path / "data").faults == ()


def test_a_battery_alarm_that_was_the_battery_counts_as_changed(run: Run, tmp_path: Path) -> None:
    """By `history note`, once, at the time of the alarm; and one much before its forecast is told."""
    run("arm", "battery", "--hours-a-day", "12", "--clinic-says", "yes")
    night = datetime.now(UTC).replace(microsecond=0) - timedelta(days=1)
    run("changed", "battery", "--at", (night - timedelta(days=10)).isoformat())
    store = Store(tmp_path / "data")
    span = store.begin_listening("USB microphone", "household", night)
    store.raise_alarm(span, LOW, night, night)
    store.close()
    assert "counts as changed" in run("note", "1", "--found", "battery", verb="history")[1]
    assert "counts as changed" not in run("note", "1", "--found", "battery", verb="history")[1]
    with History(tmp_path / "data") as history:
        assert [one.event.at for one in history.care() if one.event.alarm == 1] == [night]
    assert "came after about 120 h of use, where about 500 h are set: tell your clinic" in run()[1]


def test_the_calendar_is_written_and_read_by_another_library(run: Run, tmp_path: Path) -> None:
    """With the routines that are armed."""
    run("arm", "exit-site", "--clinic-says", "yes")
    run("done", "exit-site")
    out = tmp_path / "care.ics"
    assert "1 of 2 routines" in run("calendar", "-o", str(out))[1]
    assert vobject.readOne(out.read_bytes().decode()).vevent.summary.value == "Exit-site care"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("done", "nothing"), "there is no routine 'nothing': there are battery, exit-site"),
        (("done", "exit-site", "--at", "2999-01-01"), "is yet to come"),
        (("done", "exit-site", "--at", "yesterday"), "is no date"),
        (("done", "exit-site", "--who", "x" * 61), "too long: at most 60"),
        (("changed", "exit-site"), "is no battery: `beepwatch care done exit-site`"),
        (("postpone", "exit-site", "--to", "2020-01-01"), "is not to come"),
        (("arm", "exit-site"), "no answer came"),
        (("arm", "exit-site", "--hours", "500"), "--hours is not for exit-site"),
        (("arm", "battery", "--hours-a-day", "25"), "give hours a day that the main battery is in use, 0.25 to 24"),
        (("arm", "battery", "--hours-a-day", "many"), "care.hours-a-day = 'many' cannot be"),
        (("add", "battery", "--days", "3"), "there is a routine 'battery' already"),
        (("add", "a b", "--days", "3"), "[[routine]] number 1"),
        (("add", "tape", "--days", "few"), "--days 'few' is no number of days"),
        (("add", "tape", "--days", "3", "--lead", "5"), "lead = 5 must be under days = 3"),
        (("wrong", "7"), "there is no entry '7'"),
        (("calendar", "-o", "care.ics"), "nothing to write"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(run: Run, tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    """Exit code 2, and nothing of it is written down."""
    code, _, error = run(*words)
    assert (code, error.count("\n")) == (2, 1)
    assert told in error
    assert not (tmp_path / "data" / "history.sqlite3").exists()


def test_a_calendar_that_cannot_be_written(run: Run, tmp_path: Path) -> None:
    """The line says what to do."""
    run("arm", "exit-site", "--clinic-says", "yes")
    run("done", "exit-site")
    code, _, error = run("calendar", "-o", str(tmp_path / "none" / "care.ics"))
    assert (code, error.count("\n")) == (2, 1)
    assert "choose another place with -o" in error


def test_hours_of_the_night_cannot_be_set(run: Run) -> None:
    """A reminder comes by day only."""
    code, _, error = run("set", "care.remind-until", "23:00", verb="settings")
    assert (code, error.count("\n")) == (2, 1)
    assert "06:00 to 21:59" in error
