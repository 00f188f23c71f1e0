"""A planned pause in a running watch: by command, by the file, over a restart; never longer than it was meant."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from beepwatch.events import Event, Raised
from beepwatch.records.planned import FILE, PlannedPause, read_pause, write_pause
from beepwatch.waking.commands import Pause, Resume
from tests.watch.hand import BEGAN, Bedroom, alarm

BATH = Pause(600.0, "bath", "Anna", "page")


def bedroom(folder: Path, *script: tuple[str, float], events: tuple[tuple[float, Event], ...] = ()) -> Bedroom:
    return Bedroom(folder, script, events)


def planned(minutes: float = 10.0, began: float = 0.0) -> PlannedPause:
    """A pause that begins `began` minutes after the listening."""
    start = BEGAN + timedelta(minutes=began)
    return PlannedPause(start, start + timedelta(minutes=minutes), "care", "Ben", "terminal")


def test_a_pause_by_command_holds_is_shown_and_ends_by_itself(tmp_path: Path) -> None:
    """No sound in it, sound after it; said in letters that nobody overlooks; kept apart in the hours listened."""
    room = bedroom(
        tmp_path, ("sound", 5), ("pause", 0), ("sound", 630),
        events=((20.0, Raised(20.0, alarm())), (100.0, Raised(100.0, alarm(2, "fire")))),
    )  # fmt: skip
    room.calls["pause"] = lambda: room.watch.command(BATH)
    summary = room.run()
    assert (summary.seconds, summary.paused) == pytest.approx((35, 600), abs=1.5)
    assert room.heard("NOT LISTENING until")
    assert room.heard(r"|_|\_|\___/ |_|   |____|")
    played = [(round(at - 1000), numbers) for at, numbers, _ in room.speaker.played]
    assert played[0] == (100, (2,))  # smoke wakes in a pause
    assert (605, (2, 1)) in played  # and what beeps when it is over
    assert room.heard("I LISTEN AGAIN. The pause for bath is over.")
    assert not (tmp_path / FILE).exists()
    with room.history as history:
        (pause,) = history.pauses()
        (span,) = history.spans()
    assert (pause.purpose, pause.who, pause.how) == ("bath", "Anna", "due")
    assert pause.ended is not None
    assert (pause.ended - pause.began).total_seconds() == pytest.approx(600, abs=1)
    assert [gap.planned for gap in span.gaps] == ["bath"]  # counted apart from gaps that nobody wanted


def test_a_pause_ends_when_a_person_says_so(tmp_path: Path) -> None:
    """By command; what beeps then sounds at once."""
    room = bedroom(
        tmp_path, ("sound", 5), ("pause", 0), ("sound", 60), ("resume", 0), ("sound", 5),
        events=((20.0, Raised(20.0, alarm())),),
    )  # fmt: skip
    room.calls["pause"] = lambda: room.watch.command(BATH)
    room.calls["resume"] = lambda: room.watch.command(Resume("Anna", "page"))
    room.run()
    assert room.speaker.played[0][0] - 1000 == pytest.approx(65, abs=0.5)
    with room.history as history:
        assert [pause.how for pause in history.pauses()] == ["person"]


def test_another_terminal_plans_it_by_the_file(tmp_path: Path) -> None:
    """Taken within a second or two of being written, ended within as much of being removed."""
    room = bedroom(tmp_path, ("sound", 5), ("write", 0), ("sound", 30), ("remove", 0), ("sound", 5))
    room.calls["write"] = lambda: write_pause(tmp_path, planned())
    room.calls["remove"] = (tmp_path / FILE).unlink
    room.run()
    with room.history as history:
        (pause,) = history.pauses()
    assert (pause.began - BEGAN).total_seconds() == pytest.approx(5, abs=1.5)
    assert pause.ended is not None
    assert (pause.ended - BEGAN).total_seconds() == pytest.approx(35, abs=1.5)


def test_a_pause_survives_a_restart(tmp_path: Path) -> None:
    """Ended in the middle and started again: still silent for the device, and it ends at the same hour."""
    first = bedroom(tmp_path, ("sound", 5), ("pause", 0), ("sound", 60))
    first.calls["pause"] = lambda: first.watch.command(BATH)
    first.run()
    kept = read_pause(tmp_path)
    assert kept is not None
    second = bedroom(tmp_path, ("sound", 700), events=((20.0, Raised(20.0, alarm())),))
    second.run()
    assert second.heard("NOT LISTENING until")
    with second.history as history:
        assert {pause.how for pause in history.pauses()} == {"restart", "due"}
    end = (kept.until - BEGAN).total_seconds()
    assert second.speaker.played[0][0] - 1000 == pytest.approx(end, abs=1.5)


def test_a_file_that_is_none_is_told_and_it_listens(tmp_path: Path) -> None:
    """Damaged by whatever: no pause is believed."""
    (tmp_path / FILE).write_text("{half a pau")
    room = bedroom(tmp_path, ("sound", 30), events=((20.0, Raised(20.0, alarm())),))
    room.run()
    assert len(room.heard("is no planned pause")) == 1
    assert room.speaker.sounding


@pytest.mark.parametrize(("pause", "said"), [
    (planned(10, began=-30), "is over: I listen"),  # it ended while nothing ran
    (planned(10, began=60), "is over: I listen"),  # the clock was set back by an hour
])  # fmt: skip
def test_a_pause_that_cannot_be_believed_is_over(tmp_path: Path, pause: PlannedPause, said: str) -> None:
    """Told, removed, and it listens."""
    write_pause(tmp_path, pause)
    room = bedroom(tmp_path, ("sound", 30), events=((20.0, Raised(20.0, alarm())),))
    room.run()
    assert room.heard(said)
    assert room.speaker.sounding
    assert not (tmp_path / FILE).exists()


def test_a_clock_that_is_set_back_makes_no_pause_longer(tmp_path: Path) -> None:
    """Three hours back in the middle: it ends after its ten minutes all the same."""
    room = bedroom(
        tmp_path, ("sound", 5), ("pause", 0), ("sound", 60), ("set", 0), ("sound", 600),
        events=((20.0, Raised(20.0, alarm())),),
    )  # fmt: skip
    room.calls["pause"] = lambda: room.watch.command(BATH)
    room.calls["set"] = lambda: setattr(room.hand, "set_by", -3 * 3600.0)
    room.run()
    lead = [at - 1000 for at, numbers, _ in room.speaker.played if 1 in numbers]
    assert lead[0] == pytest.approx(605, abs=1)


def test_a_pause_too_long_for_its_purpose_is_refused(tmp_path: Path) -> None:
    """A bath of a day is a mistake: told, and it listens."""
    room = bedroom(tmp_path, ("sound", 5), ("pause", 0), ("sound", 10))
    room.calls["pause"] = lambda: room.watch.command(replace(BATH, seconds=86_400.0))
    room.run()
    assert room.heard("No pause: a pause for bath may be over 0 and up to 3 h")
    assert not room.heard("NOT LISTENING")


def test_it_tells_somebody_when_it_cannot_listen_again(tmp_path: Path) -> None:
    """The microphone was taken along: silent about it in the pause, a technical alarm when it is over."""
    room = bedroom(tmp_path, ("sound", 5), ("pause", 0), ("nothing", 620))
    room.calls["pause"] = lambda: room.watch.command(BATH)
    room.run()
    at, _, lines = room.speaker.played[0]
    assert at - 1000 == pytest.approx(605, abs=1)
    assert room.messages.body("cannot-hear")[0] in lines


def test_a_folder_that_cannot_be_written_keeps_the_pause_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told that a restart would end it; it holds all the same."""
    room = bedroom(tmp_path, ("sound", 5), ("pause", 0), ("sound", 30), events=((20.0, Raised(20.0, alarm())),))

    def full(*_: object, **__: object) -> tuple[int, str]:
        raise OSError(28, "No space left on device")

    def begin() -> None:
        monkeypatch.setattr("beepwatch.records.whole.tempfile.mkstemp", full)
        room.watch.command(BATH)

    calls: dict[str, Callable[[], object]] = {"pause": begin}
    room.calls |= calls
    room.run()
    assert room.heard("would not survive a restart")
    assert not room.speaker.sounding
