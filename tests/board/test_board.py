"""The board: what is up can be read at any time from any thread, and no reader can hold up who puts it up."""

from threading import Thread

import pytest

from beepwatch.board.board import STALE, Board
from beepwatch.board.state import OpenAlarm, Stage, State
from tests.watch.hand import BEGAN


def test_an_empty_board_says_that_nothing_listens() -> None:
    """Before the first post nobody may take it for listening."""
    assert Board().posted.number == 0
    assert Board().posted.state.hearing == "ended"


def test_a_waiting_reader_gets_the_next_state() -> None:
    """It is woken by the post, not by its time-out."""
    board = Board()
    found: list[str] = []
    reader = Thread(target=lambda: found.append(board.wait(0, 20.0).state.hearing))
    reader.start()
    board.post(State(hearing="listening"))
    reader.join(10)
    assert found == ["listening"]


def test_waiting_ends_with_what_is_up() -> None:
    """Without news the old state comes back after the time-out."""
    board = Board()
    board.post(State(hearing="paused"))
    assert board.wait(1, 0.01).number == 1


def test_a_reader_that_fails_is_dropped(caplog: pytest.LogCaptureFixture) -> None:
    """The loop goes on, the other readers too, and it is in the log."""
    board = Board()
    told: list[int] = []

    def fails() -> None:
        raise RuntimeError("a reader's own fault")

    board.subscribe(fails)
    leave = board.subscribe(lambda: told.append(board.posted.number))
    board.post(State())
    board.post(State())
    assert told == [1, 2]
    assert caplog.text.count("a reader of the board failed") == 1
    leave()
    board.post(State())
    assert told == [1, 2]


def test_its_age_tells_a_loop_that_hangs() -> None:
    """Age runs by the clock that is never set."""
    now = [100.0]
    board = Board(lambda: now[0])
    board.post(State())
    now[0] += STALE + 1
    assert board.age == STALE + 1


def test_only_unanswered_alarms_are_waking() -> None:
    """An alarm that somebody goes to, or of low priority, wakes nobody."""
    stages: tuple[Stage, ...] = ("waking", "stopped", "answered", "shown", "paused")
    alarms = tuple(OpenAlarm(n, "unknown", "low", "", (), BEGAN, stage) for n, stage in enumerate(stages))
    assert [one.number for one in State(alarms=alarms).waking] == [0, 1]
