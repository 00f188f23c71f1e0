"""What the loop puts on the board, from blocks to answers."""

from pathlib import Path

from beepwatch.board.board import Board, Posted
from beepwatch.board.state import Asked, State
from beepwatch.events import Ended, Event, Noise, Raised
from beepwatch.waking.commands import Found, Going
from beepwatch.waking.messages import Messages
from beepwatch.watch.posting import Posting, Told
from tests.watch.hand import Bedroom, alarm


class Posts:
    """All states that a loop with this script puts up."""

    def __init__(self, room: Bedroom, expected: tuple[float, float] | None = None) -> None:
        self.room, self.board = room, Board()
        self.all: list[Posted] = []
        self.board.subscribe(lambda: self.all.append(self.board.posted))
        posting = Posting(self.board, Messages().caution, expected)
        room.watch._posting = room.watch._desk._posting = posting
        room.watch._console = room.watch._telling._console = Told(room.watch._console, posting, room.hand.wall)
        room.run()

    @property
    def states(self) -> list[State]:
        return [one.state for one in self.all]


def test_while_it_hears_it_says_so_each_half_second(tmp_path: Path) -> None:
    """Ten seconds of room: listening, heard just now, the trace filled; the last word is that it ended."""
    states = Posts(Bedroom(tmp_path, [("sound", 10.0)])).states
    assert 15 <= len(states) <= 30  # the loop looks each 0.2 s
    assert {one.hearing for one in states[:-1]} == {"listening"}
    assert states[-1].hearing == "ended"
    assert states[-2].heard_at is not None
    assert max(states[-2].levels) > -30
    assert len({one.run for one in states}) == 1


def test_an_alarm_is_up_at_once_with_its_message(tmp_path: Path) -> None:
    """Raised, waking; the lines are those that are spoken; over without an answer it stays, as stopped."""
    one = alarm(onset=1.0, last=3.0)
    events: list[tuple[float, Event]] = [(3.3, Raised(3.3, one)), (8.0, Ended(8.0, one))]
    posts = Posts(Bedroom(tmp_path, [("sound", 12.0)], events))
    stages = [state.alarms[0].stage for state in posts.states if state.alarms]
    assert list(dict.fromkeys(stages)) == ["waking", "stopped"]
    shown = next(state.alarms[0] for state in posts.states if state.alarms)
    assert shown.lines == Messages().lines("lead-disconnect")
    assert shown.title == Messages().title("lead-disconnect")
    assert any("ALARM: lead-disconnect" in event.text for event in posts.states[-2].events)


def test_who_goes_is_told_to_everybody(tmp_path: Path) -> None:
    """The name that came with the answer stands beside the alarm until it is over."""
    one = alarm(onset=1.0, last=3.0)
    room = Bedroom(tmp_path, [("sound", 5.0), ("answer", 0.0), ("sound", 5.0)], [(3.3, Raised(3.3, one))])
    room.calls["answer"] = lambda: room.watch.command(Going("Anna", "page", 1))
    posts = Posts(room)
    assert posts.states[-2].alarms[0].going == "Anna"
    assert posts.states[-2].alarms[0].stage == "answered"
    assert posts.states[-2].waking == ()
    assert any("Anna is going" in event.text for event in posts.states[-2].events)
    assert posts.states[-2].asked == (Asked(1, Messages().title("lead-disconnect")),)


def test_what_it_was_can_be_told_after_it_is_over(tmp_path: Path) -> None:
    """The question stays when the alarm is gone from the board, and goes with the answer."""
    one = alarm(onset=1.0, last=3.0)
    events: list[tuple[float, Event]] = [(3.3, Raised(3.3, one)), (8.0, Ended(8.0, one))]
    script = [("sound", 5.0), ("going", 0.0), ("sound", 6.0), ("found", 0.0), ("sound", 2.0)]
    room = Bedroom(tmp_path, script, events)
    room.calls["going"] = lambda: room.watch.command(Going("Anna", "page", 1))
    room.calls["found"] = lambda: room.watch.command(Found(1, "cable", "Anna", "page"))
    states = Posts(room).states
    assert any(state.asked and not state.alarms for state in states)
    assert states[-2].asked == ()


def test_deafness_is_up_with_its_reason(tmp_path: Path) -> None:
    """No blocks for 20 s: deaf, with the reason in plain words, and a technical alarm with a number below 0."""
    posts = Posts(Bedroom(tmp_path, [("sound", 3.0), ("nothing", 20.0)]))
    deaf = [state for state in posts.states if state.hearing == "deaf"]
    assert deaf
    assert "no sound" in deaf[0].why
    assert deaf[-1].alarms[0].pattern == "cannot-hear"
    assert deaf[-1].alarms[0].number < 0


def test_the_margin_is_told_where_the_beep_is_known(tmp_path: Path) -> None:
    """Beep at -40 dBFS over noise at -60, of which 19 dB could be lost: 39 dB."""
    noise = Noise(1.0, ((8000.0, -60.0),))
    assert Posts(Bedroom(tmp_path, [("sound", 3.0)], [(1.0, noise)]), (2730.0, -40.0)).states[-2].margin == 39.0
    (tmp_path / "other").mkdir()
    assert Posts(Bedroom(tmp_path / "other", [("sound", 3.0)], [(1.0, noise)])).states[-2].margin is None
