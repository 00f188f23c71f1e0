"""What people tell a running watch: keys, commands with names, the ladder's tries, and what the history keeps of it."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from beepwatch.care.routine import BATTERY
from beepwatch.channels.speaker import Failed, Started
from beepwatch.channels.way import Tried, Way
from beepwatch.events import Changed, Ended, Event, Raised
from beepwatch.waking.actions import Alert
from beepwatch.waking.commands import Changed as BatteryChanged
from beepwatch.waking.commands import Found, Going, Noted, Resume
from beepwatch.waking.ladder import ON_DUTY, SECOND, Ladder, Step
from tests.watch.hand import Bedroom, alarm

LEAD: list[tuple[float, Event]] = [(9.3, Raised(9.3, alarm()))]


class Lamp:
    """A way in the test's hand: remembers what it was told; `fails` is what it reports."""

    name = "lamp"

    def __init__(self, room: Bedroom, fault: str = "") -> None:
        self._room, self._fault = room, fault
        self.told: list[Alert] = []
        self.hushed: list[tuple[int, ...]] = []
        self.closed = False

    def alert(self, alert: Alert) -> None:
        self.told.append(alert)
        for number in alert.numbers:
            self._room.reports.put(
                Tried(self.name, alert.to, number, not self._fault, self._fault, self._room.hand.now)
            )

    def quiet(self, numbers: tuple[int, ...]) -> None:
        self.hushed.append(numbers)

    def close(self) -> None:
        self.closed = True


def bedroom(folder: Path, *steps: Step, seconds: float = 30.0) -> Bedroom:
    room = Bedroom(
        folder, [("sound", 15), ("press", 0), ("sound", seconds)], LEAD, ladder=Ladder(steps) if steps else None
    )
    room.speaker.on_play = lambda round_: Started(room.hand.now, round_.numbers)
    return room


def keys(room: Bedroom, *pressed: bytes) -> Callable[[], None]:
    """Presses these, one after another."""

    def press() -> None:
        for key in pressed:
            room.watch.press(key)

    return press


@pytest.mark.parametrize("key", [b" ", b"\r", b"7", b"x", b"\x1b[B"])
def test_any_one_key_answers_while_an_alarm_sounds(tmp_path: Path, key: bytes) -> None:
    """Quiet at once; the history says by what place the answer came."""
    room = bedroom(tmp_path)
    room.calls["press"] = lambda: room.watch.press(key)
    room.run()
    assert room.heard("Answered: somebody is going.")
    with room.history as history:
        (logged,) = history.alarms()
    assert logged.acknowledged_after == pytest.approx(5.7, abs=0.2)
    assert logged.answered_way == "keyboard"


def test_a_key_without_an_alarm_does_nothing(tmp_path: Path) -> None:
    """Neither an answer nor a note: a cat on the keys is no event."""
    room = Bedroom(tmp_path, [("press", 0), ("sound", 5)])
    room.calls["press"] = keys(room, b" ", b"1", b"c")
    room.run()
    assert not room.heard("Answered")
    assert not room.heard("Written down")


def test_the_question_is_answered_by_a_figure(tmp_path: Path) -> None:
    """1 to 4 after the answer, and not within 2 s of it (half asleep one presses twice); kept in the history."""
    script = [("sound", 15), ("press", 0), ("sound", 1), ("twice", 0), ("sound", 2), ("press", 0), ("sound", 5)]
    room = Bedroom(tmp_path, script, LEAD)
    room.calls["press"] = keys(room, b"3", b"q")
    room.calls["twice"] = keys(room, b"1")
    room.run()
    assert len(room.heard("What was it?")) == 1
    assert len(room.heard("Written down: it was false-alarm.")) == 1
    with room.history as history:
        (logged,) = history.alarms()
        assert history.found()[logged.id].what == "false-alarm"


def test_commands_bring_the_name_of_who_gives_them(tmp_path: Path) -> None:
    """From a page, say: who goes, what it was, that the battery is changed."""
    room = bedroom(tmp_path)
    given = (
        Going("Ben", "page", 1), Found(1, "battery", "Ben", "page"), BatteryChanged("Ben", "page"), Resume("", ""),
    )  # fmt: skip

    def give() -> None:
        for one in given:
            room.watch.command(one)

    room.calls["press"] = give
    room.run()
    assert room.heard("Answered: Ben is going.")
    with room.history as history:
        (logged,) = history.alarms()
        found = history.found()[logged.id]
    assert (logged.answered_by, logged.answered_way) == ("Ben", "page")
    assert (found.what, found.who) == ("battery", "Ben")


def test_a_late_tap_on_an_old_alarm_answers_nothing(tmp_path: Path) -> None:
    """Its number wakes no more: the new alarm goes on."""
    room = bedroom(tmp_path)
    room.calls["press"] = lambda: room.watch.command(Going("Ben", "page", 99))
    room.run()
    assert room.speaker.sounding
    assert not room.heard("Answered")


def test_every_way_is_tried_told_and_kept(tmp_path: Path) -> None:
    """The lamp works; a way that is not set up fails at once, so the speaker's step begins long before its time."""
    steps = (Step(0.0, ON_DUTY, ("lamp",)), Step(2.0, "Gran", ("page",)), Step(300.0, SECOND, ("speaker",)))
    room = bedroom(tmp_path, *steps)
    lamp: Way = Lamp(room)
    room.ways.add(lamp)
    room.calls["press"] = lambda: room.watch.command(Going("Anna", "page"))
    room.run()
    assert room.heard("Tried lamp: it worked.")
    assert room.heard("Tried page for Gran: IT FAILED: it is not set up here.")
    assert room.speaker.played[0][0] - 1009.3 == pytest.approx(2.3, abs=0.5)
    assert isinstance(lamp, Lamp)
    assert (lamp.hushed, lamp.closed) == ([(1,)], True)
    with room.history as history:
        (logged,) = history.alarms()
        tries = [(one.attempt.way, one.attempt.who, one.attempt.ok) for one in history.tried("alarm", logged.id)]
    assert tries == [("lamp", None, True), ("page", "Gran", False), ("speaker", None, True)]


def test_a_speaker_that_fails_hurries_the_next_step(tmp_path: Path) -> None:
    """Told once, kept as a failed try, and the lamp is lit at once."""
    room = bedroom(tmp_path, Step(0.0, ON_DUTY, ("speaker",)), Step(600.0, ON_DUTY, ("lamp",)))
    lamp = Lamp(room)
    room.ways.add(lamp)
    room.speaker.on_play = lambda round_: Failed(room.hand.now, "the cable is out")
    room.calls["press"] = lambda: None
    room.run()
    assert len(lamp.told) >= 1
    with room.history as history:
        (logged,) = history.alarms()
        first, *_ = history.tried("alarm", logged.id)
    assert (first.attempt.way, first.attempt.ok, first.attempt.detail) == ("speaker", False, "the cable is out")
    assert logged.woken_after is None


def test_a_way_with_a_fault_of_its_own_ends_nothing(tmp_path: Path) -> None:
    """It raises: told as failed, the next step begins, the loop goes on."""
    room = bedroom(tmp_path, Step(0.0, ON_DUTY, ("lamp",)), Step(600.0, ON_DUTY, ("speaker",)))
    lamp = Lamp(room)

    def broken(alert: Alert) -> None:
        raise RuntimeError("no bulb")

    lamp.alert = broken  # type: ignore[method-assign]
    room.ways.add(lamp)
    room.calls["press"] = lambda: None
    room.run()
    assert room.heard("IT FAILED: a fault in the program itself (RuntimeError('no bulb'))")
    assert room.speaker.sounding


def test_beeping_on_after_an_answer_is_in_the_history(tmp_path: Path) -> None:
    """90 s after "I am going" the lead beeps still: it sounds again, and the second try is kept."""
    one = alarm()
    beeps: list[tuple[float, Event]] = [
        (at, Changed(at, replace(one, last=at, beeps=int(at)))) for at in (50.0, 100.0, 107.0)
    ]
    room = Bedroom(tmp_path, [("sound", 15), ("press", 0), ("sound", 100)], [*LEAD, *beeps])
    room.speaker.on_play = lambda round_: Started(room.hand.now, round_.numbers)
    room.calls["press"] = room.watch.press
    room.run()
    assert [round(at - 1000) for at, _, _ in room.speaker.played][:1] == [9]
    assert room.speaker.played[-1][0] - 1000 > 105
    assert room.speaker.sounding


def test_a_fault_at_the_desk_keeps_nothing_else_from_its_turn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever people's commands run into: that nothing is heard is told and sounded all the same."""
    room = Bedroom(tmp_path, [("sound", 3), ("nothing", 20)])

    def broken(now: float) -> None:
        raise RuntimeError("no desk")

    monkeypatch.setattr(room.watch._desk, "look", broken)
    room.run()
    assert room.heard("a fault in the program itself (RuntimeError: no desk)")
    assert room.heard("I HAVE NOT HEARD THE ROOM")
    assert room.speaker.played


def test_a_note_on_an_alarm_of_an_earlier_night(tmp_path: Path) -> None:
    """By its row in the history: what it was, the words, and that the battery was changed at its alarm, once."""
    earlier = Bedroom(tmp_path, [("sound", 15)], [(9.3, Raised(9.3, alarm(pattern="battery-critical")))])
    earlier.run()
    with earlier.history as history:
        (old,) = history.alarms()
    room = Bedroom(tmp_path, [("sound", 5), ("note", 0), ("note", 0), ("sound", 5)])
    noted = Noted(old.id, "battery", "it was empty", "Ben", "page", old.raised.timestamp())
    room.calls["note"] = lambda: room.watch.command(noted)
    room.run()
    with room.history as history:
        found, notes, care = history.found_of(old.id), history.notes_on("alarm", old.id), history.care()
    assert found is not None
    assert (found.what, found.who) == ("battery", "Ben")
    assert [(note.text, note.who) for note in notes] == [("it was empty", "Ben")] * 2
    (event,) = [one.event for one in care]
    assert (event.routine, event.kind, event.alarm, event.who) == (BATTERY, "done", old.id, "Ben")
    assert event.at == old.raised


def test_a_note_answers_what_is_asked_of_tonight(tmp_path: Path) -> None:
    """What the page's evidence says of tonight's alarm is not asked any more; it is written once."""
    over = Ended(20.0, replace(alarm(), ended=9.3))
    script = [("sound", 15.0), ("press", 0.0), ("sound", 30.0), ("look", 0.0), ("note", 0.0), ("sound", 5.0)]
    room = Bedroom(tmp_path, [*script, ("look", 0.0)], [*LEAD, (20.0, over)])
    asked: list[tuple[int, ...]] = []
    room.calls["press"] = keys(room, b" ")
    room.calls["look"] = lambda: asked.append(room.waker.asked)
    room.calls["note"] = lambda: room.watch.command(Noted(1, "cable", "", "Ben", "page"))
    room.run()
    assert asked == [(1,), ()]
    with room.history as history:
        found = history.found_of(1)
    assert found is not None
    assert (found.id, found.what, found.who) == (1, "cable", "Ben")
