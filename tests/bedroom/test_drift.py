"""Slow drift: followed within stated bounds, told, and never into another sounder's arms."""

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.bedroom.drift import MOST, NEAR, STEP, TOLD, follow, told
from beepwatch.bedroom.following import follow_device
from beepwatch.events import Alarm
from beepwatch.records.store import Store
from beepwatch.settings.file import keep_sounder
from beepwatch.settings.household import household
from tests.test_settings import sounder

TONE = 2730.0


def test_a_year_of_slow_drift_is_followed() -> None:
    """1 % over 100 nights with an alarm: at the end it is known to 0.1 %."""
    nights = [[TONE * (1 + 0.01 * i / 100)] for i in range(101)]
    assert follow(TONE, TONE, nights).tone == pytest.approx(TONE * 1.01, rel=1e-3)


def test_one_night_moves_it_half_way_and_by_no_more_than_a_step() -> None:
    """0.2 % away: 0.1 %. 0.9 % away: STEP."""
    assert follow(TONE, TONE, [[TONE * 1.002]]).tone == pytest.approx(TONE * 1.001)
    assert follow(TONE, TONE, [[TONE * 1.009]]).tone == pytest.approx(TONE * (1 + STEP))


def test_another_sounder_does_not_move_it() -> None:
    """Just outside NEAR is not looked at; the median of a night's alarms counts."""
    assert follow(TONE, TONE, [[TONE * (1 + 1.01 * NEAR)]]).nights == 0
    assert follow(TONE, TONE, [[TONE, TONE, TONE * 1.009]]).tone == TONE


def test_it_is_followed_no_further_than_the_bound() -> None:
    """And then the line asks for teaching anew."""
    drift = follow(TONE, TONE, [[TONE * (1 + 0.0005 * i)] for i in range(80)])
    assert drift.at_bound
    assert drift.tone == pytest.approx(TONE * (1 + MOST))
    line = told("device", TONE, TONE, drift)
    assert line is not None
    assert "please teach it again" in line


@given(st.lists(st.lists(st.floats(TONE * 0.9, TONE * 1.1), max_size=3), max_size=30))
def test_nothing_leaves_the_bounds(nights: list[list[float]]) -> None:
    """Whatever is heard."""
    assert abs(follow(TONE, TONE, nights).tone / TONE - 1) <= MOST + 1e-12


def test_a_small_move_is_not_told() -> None:
    """Under 0.1 % nobody needs to know; above it the line has the new tone and the change since it was taught."""
    assert told("device", TONE, TONE, follow(TONE, TONE, [[TONE * (1 + TOLD)]])) is None
    line = told("device", TONE, TONE, follow(TONE, TONE, [[TONE * 1.004]]))
    assert line is not None
    assert "2735 Hz (+0.2 %" in line


def history(folder: Path, tones: list[tuple[int, float]]) -> None:
    """A household's history with an alarm of three beeps on each of some days ago."""
    folder.mkdir(exist_ok=True)
    store = Store(folder)
    for days, tone in tones:
        at = datetime.now().astimezone() - timedelta(days=days)
        span = store.begin_listening("a microphone", "household", at)
        lead = Alarm(
            number=1, pattern="lead-disconnect", priority="high", onset=1.0, raised=11.5, ended=None, last=11.2,
            beeps=3, duration=1.2, period=5.0, frequency=tone, confidence=0.98, why="3 beeps",
        )  # fmt: skip
        store.raise_alarm(span, lead, at, at)
        store.end_listening(span, at + timedelta(seconds=20))
    store.close()


def test_the_history_is_followed_once_and_kept(tmp_path: Path) -> None:
    """The sounder's file has the new tone and the day; a second look tells nothing new."""
    today = date.today()  # noqa: DTZ011 - the day here
    keep_sounder(tmp_path, sounder(taught=(today - timedelta(days=90)).isoformat()))
    history(tmp_path / "data", [(60, TONE * 1.003), (30, TONE * 1.004), (100, TONE * 1.009), (20, TONE * 1.1)])
    (line,) = follow_device(household(tmp_path), tmp_path / "data", today)
    assert "The tone of device has slowly moved" in line
    home = household(tmp_path)
    assert home.tone == pytest.approx(TONE * 1.00275, rel=1e-5)
    assert home.device is not None
    assert home.device.tone == TONE
    assert follow_device(home, tmp_path / "data", today) == []


def test_a_history_that_fails_costs_no_night(tmp_path: Path) -> None:
    """It is told in one line."""
    keep_sounder(tmp_path, sounder())
    (tmp_path / "history.sqlite3").write_text("a shopping list\n" * 100)
    (line,) = follow_device(household(tmp_path), tmp_path, date.today())  # noqa: DTZ011 - the day here
    assert "could not be followed" in line
    assert follow_device(household(tmp_path), tmp_path / "none", date.today()) == []  # noqa: DTZ011
