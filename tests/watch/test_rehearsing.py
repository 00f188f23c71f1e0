"""A drill in a running watch: asked for by a file, told back in it, ended by an answer, by a real alarm or by time."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest

from beepwatch.channels.speaker import Started
from beepwatch.events import Event, Raised
from beepwatch.records.drill import Drill, read_drill, write_drill
from beepwatch.waking.commands import Pause
from beepwatch.watch.rehearsing import LONGEST
from tests.watch.hand import BEGAN, Bedroom, Step, alarm

WISH = Drill("asked", BEGAN + timedelta(seconds=5), "Anna", "lead-disconnect", "high", 2730.0, 1.2, 0.95)


def bedroom(folder: Path, *script: Step, events: tuple[tuple[float, Event], ...] = ()) -> Bedroom:
    room = Bedroom(folder, [("sound", 5), ("ask", 0), *script], events)
    room.speaker.on_play = lambda round_: Started(room.hand.now, round_.numbers)
    room.calls["ask"] = lambda: write_drill(folder, WISH)
    room.calls["press"] = room.watch.press
    return room


def told(folder: Path) -> Drill:
    made = read_drill(folder)
    assert made is not None
    return made


def test_a_drill_is_marked_everywhere_and_the_answer_is_timed(tmp_path: Path) -> None:
    """Speech, screen, history, and the file that the other terminal reads; no question afterwards."""
    room = bedroom(tmp_path, ("sound", 12), ("press", 0), ("sound", 5))
    room.run()
    (_, numbers, lines), *_ = room.speaker.played
    assert numbers[0] < 0
    assert lines[1] == room.messages.drill
    assert room.heard(f"{room.messages.drill} Cable alarm")
    assert not room.heard("What was it?")
    assert room.heard("The drill is over: answered after 1")
    assert not room.speaker.sounding
    made = told(tmp_path)
    assert made.stage == "answered"
    assert made.seconds == pytest.approx(11.5, abs=1.5)
    with room.history as history:
        (logged,) = history.alarms()
    assert logged.drill
    assert logged.acknowledged_after == pytest.approx(made.seconds, abs=0.1)
    assert logged.woken_after is not None


def test_a_real_alarm_in_mid_drill_wins_at_once(tmp_path: Path) -> None:
    """It sounds in the drill's place within the step that heard it; the drill is told as interrupted."""
    room = bedroom(tmp_path, ("sound", 30), events=((15.0, Raised(15.0, alarm())),))
    room.run()
    at, _, lines = next(played for played in room.speaker.played if played[1] == (1,))
    assert at - 1000 == pytest.approx(15.0, abs=0.15)
    assert room.speaker.played[-1][1] == (1,)
    assert room.messages.drill not in lines
    assert told(tmp_path).stage == "interrupted"
    with room.history as history:
        assert [(one.drill, one.acknowledged_after) for one in history.alarms()] == [(False, None), (True, None)]


def test_a_drill_that_nobody_answers_is_over_after_ten_minutes(tmp_path: Path) -> None:
    """And says so."""
    room = bedroom(tmp_path, ("sound", LONGEST + 10))
    room.run()
    assert room.heard("NOBODY ANSWERED in 10 min")
    assert not room.speaker.sounding
    assert told(tmp_path).stage == "unanswered"


@pytest.mark.parametrize(("before", "why"), [
    ("alarm", "an alarm wakes somebody now"),
    ("pause", "a planned pause holds"),
    ("deaf", "I do not hear the room now"),
])  # fmt: skip
def test_no_drill_where_it_could_hide_something(tmp_path: Path, before: str, why: str) -> None:
    """Refused with the reason, for the terminal that asked."""
    events: tuple[tuple[float, Event], ...] = ((2.0, Raised(2.0, alarm())),) if before == "alarm" else ()
    script: list[Step] = [("sound", 3), ("pause", 0), ("nothing" if before == "deaf" else "sound", 20), ("ask", 0)]
    room = Bedroom(tmp_path, [*script, ("nothing" if before == "deaf" else "sound", 5)], events)
    nothing: Callable[[], object] = lambda: None  # noqa: E731
    pause = lambda: room.watch.command(Pause(600.0, "bath", "", ""))  # noqa: E731
    room.calls["pause"] = pause if before == "pause" else nothing
    late = msgspec.structs.replace(WISH, asked=BEGAN + timedelta(seconds=23))
    room.calls["ask"] = lambda: write_drill(tmp_path, late)
    room.run()
    made = told(tmp_path)
    assert (made.stage, made.why) == ("refused", why)


def test_an_old_wish_begins_nothing(tmp_path: Path) -> None:
    """Left over from another evening: it must not wake anybody now."""
    write_drill(tmp_path, msgspec.structs.replace(WISH, asked=BEGAN - timedelta(hours=3)))
    room = Bedroom(tmp_path, [("sound", 10)])
    room.run()
    assert not room.speaker.played
    assert told(tmp_path).stage == "asked"
