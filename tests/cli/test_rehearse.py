"""`rehearse` from another terminal: when it may be, what it asks for, and what it tells of the end."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread

import pytest

from beepwatch.bedroom.rehearsal import MONTH, alarm_of, at_night, due
from beepwatch.cli import main, rehearse
from beepwatch.records.drill import FILE, Drill, Stage, read_drill, write_drill
from beepwatch.records.store import Store
from beepwatch.settings.file import keep_sounder
from beepwatch.settings.sounder import Sounder
from tests.watch.hand import alarm


def sounder(length: float = 1.2) -> Sounder:
    return Sounder(
        name="device", role="wake", tone=2730.0, tone_spread=0.001, length=length, level=-40.0, beeps=3,
        taught="2026-03-01", harmonics=(-14.0, -10.0, "hidden"),
    )  # fmt: skip


@pytest.fixture
def house(tmp_path: Path, no_settings: Path) -> Path:
    """A taught beep, and a watch that seems to run."""
    keep_sounder(no_settings, sounder())
    store = Store(tmp_path)
    now = datetime.now(UTC)
    span = store.begin_listening("a microphone", "household", now - timedelta(seconds=60))
    store.extend_listening(span, now)
    store.close()
    return tmp_path


def asked(house: Path, *words: str) -> list[str]:
    return ["rehearse", "--at-night", "--by", "Anna", "--data", str(house), *words]


@pytest.mark.parametrize(("length", "pattern"), [(1.2, "lead-disconnect"), (10.0, "backup-battery")])
def test_the_taught_beep_goes_through_a_recogniser(length: float, pattern: str) -> None:
    """What is rehearsed is what beepwatch itself makes of the taught beep, at its tone."""
    made = alarm_of(sounder(length))
    assert made.pattern == pattern
    assert made.frequency == pytest.approx(2730.0, rel=0.002)
    assert made.duration == pytest.approx(length, abs=0.1)


def test_a_month_is_between_two_drills() -> None:
    """Four weeks from the last; then again."""
    now = datetime(2026, 3, 29, 12, 0, tzinfo=UTC)
    assert due(None, now) is None
    assert due(now - MONTH, now) is None
    assert due(now - MONTH + timedelta(hours=1), now) == now + timedelta(hours=1)


@pytest.mark.parametrize(("hour", "night"), [(8, True), (9, False), (19, False), (20, True), (3, True)])
def test_waking_hours(hour: int, night: bool) -> None:
    """From 9 to 20 h nobody has to choose it."""
    assert at_night(datetime(2026, 3, 1, hour, 30)) == night  # noqa: DTZ001 - local wall time


@pytest.mark.parametrize(("stage", "seconds", "said", "code"), [
    ("answered", 12.4, "Answered after 12 s.", 0),
    ("unanswered", None, "NOBODY ANSWERED", 1),
    ("interrupted", None, "A real alarm came", 1),
    ("refused", None, "No drill now: a planned pause holds.", 1),
])  # fmt: skip
def test_it_waits_for_the_end_and_tells_it(
    house: Path, capsys: pytest.CaptureFixture[str], *, stage: Stage, seconds: float | None, said: str, code: int
) -> None:
    """By the file that watch writes; afterwards the file is gone."""
    wishes: list[Drill] = []

    def watch() -> None:
        while (wish := read_drill(house)) is None:
            pass
        wishes.append(wish)
        write_drill(house, Drill(
            stage, wish.asked, wish.by, wish.pattern, wish.priority, wish.tone, wish.beep, wish.confidence,
            why="a planned pause holds", seconds=seconds,
        ))  # fmt: skip

    other = Thread(target=watch)
    other.start()
    assert main(asked(house)) == code
    other.join()
    assert said in capsys.readouterr().out
    assert (wishes[0].stage, wishes[0].by, wishes[0].pattern) == ("asked", "Anna", "lead-disconnect")
    assert not (house / FILE).exists()


def test_a_watch_that_does_not_take_it_is_told(
    house: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In time, in one line, and the wish is taken back: it must not begin later."""
    monkeypatch.setattr(rehearse, "TAKEN", 0.1)
    assert main(asked(house)) == 2
    assert "watch did not take the drill" in capsys.readouterr().err
    assert not (house / FILE).exists()


def test_one_drill_a_month(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The date of the last, and from when on again."""
    store = Store(house)
    now = datetime.now(UTC)
    span = store.begin_listening("a microphone", "household", now - timedelta(seconds=60))
    store.extend_listening(span, now)
    store.raise_alarm(span, alarm(-1_000_001), now - timedelta(days=3), now - timedelta(days=3), drill=True)
    store.close()
    assert main(asked(house)) == 2
    assert "one in four weeks is enough" in capsys.readouterr().err


@pytest.mark.parametrize("lack", ["taught", "watch", "name", "day"])
def test_what_is_missing_is_told_in_one_line(
    tmp_path: Path, no_settings: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *, lack: str
) -> None:
    """No taught beep, no watch, no adult's name at night, no choice of the night: exit code 2."""
    if lack != "taught":
        keep_sounder(no_settings, sounder())
    monkeypatch.setattr("beepwatch.bedroom.rehearsal.at_night", lambda now: True)
    words = {"name": ["--at-night", "--by", " "], "day": []}.get(lack, ["--at-night", "--by", "Anna"])
    assert main(["rehearse", *words, "--data", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert {
        "taught": "`beepwatch teach` first", "watch": "watch does not run", "name": "an adult's own choice",
        "day": "rehearse by day",
    }[lack] in error  # fmt: skip
    assert error.count("\n") == 1
