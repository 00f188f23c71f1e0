"""Reminders of care routines while it listens; batteries changed after an alarm."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from beepwatch.care.routine import BATTERY, EXIT_SITE
from beepwatch.events import Alarm, Event, Raised
from beepwatch.records.entries import CareEvent
from beepwatch.records.journal import Journal
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.settings.model import Care, Settings, decode
from beepwatch.waking.actions import Note
from beepwatch.waking.commands import Changed, Command, Found, Going
from beepwatch.waking.entry import DRILLED
from beepwatch.watch.caring import EACH, Caring
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.timeline import Timeline
from tests.watch.hand import BEGAN, Bedroom, HandClock

ARMED = decode('[care]\nexit-site = "yes"\n')
NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
LOW = Alarm(
    1, "backup-battery", "medium", onset=1.0, raised=11.5, ended=None, last=11.0, beeps=1, duration=10.0, period=3600.0,
    frequency=2730.0, confidence=0.98, why="one beep of 10 s, all at 2.73 kHz",
)  # fmt: skip


def done(folder: Path, at: datetime) -> None:
    store = Store(folder)
    store.care(CareEvent(EXIT_SITE, "done", at))
    store.close()


def lines(caring: Caring, ticks: float, now: datetime) -> list[str]:
    return [line for line, _ in caring.look(ticks, now)]


def test_a_word_by_day_and_none_at_night(tmp_path: Path) -> None:
    """Whatever is due: between the hours that are set, each ten minutes at most."""
    done(tmp_path, NOON - timedelta(days=4))
    for hour, count in ((3, 0), (8, 0), (9, 1), (18, 1), (19, 0), (23, 0)):
        assert len(lines(Caring(tmp_path, lambda: ARMED), 0.0, NOON.replace(hour=hour))) == count
    caring = Caring(tmp_path, lambda: ARMED)
    assert lines(caring, 0.0, NOON)[0].endswith(
        "Exit-site care is due since Mon 9 Mar 2026: as your clinic showed you."
    )
    assert lines(caring, EACH - 1, NOON) == []


def test_unarmed_or_without_a_history_it_says_nothing(tmp_path: Path) -> None:
    """And a file that cannot be read ends nothing."""
    done(tmp_path, NOON - timedelta(days=4))
    assert lines(Caring(tmp_path, Settings), 0.0, NOON) == []
    assert lines(Caring(tmp_path / "none", lambda: ARMED), 0.0, NOON) == []
    (tmp_path / "history.sqlite3").write_text("a shopping list\n" * 100)
    assert lines(Caring(tmp_path, lambda: ARMED), 0.0, NOON) == []


def test_the_loop_says_it_once_a_day_and_writes_it_down(tmp_path: Path) -> None:
    """On the screen, with nothing that sounds; two looks in the same half hour are one word."""
    done(tmp_path, BEGAN - timedelta(days=4))
    day = Settings(care=Care(exit_site="yes", remind_from="00:00", remind_until="23:59"))  # the test's hour is 22
    bedroom = Bedroom(tmp_path, [("sound", 1300)], caring=Caring(tmp_path, lambda: day))
    bedroom.run()
    assert len(bedroom.heard("Exit-site care is due")) == 1
    assert bedroom.speaker.played == []
    with History(tmp_path) as history:
        assert [one.event.kind for one in history.care()] == ["done", "reminded"]


def night(folder: Path, *told: Command) -> list[CareEvent]:
    """The care entries of a night in which a battery alarm is raised, and then these things are told."""
    events: list[tuple[float, Event]] = [(11.5, Raised(11.5, LOW))]
    calls: dict[str, Callable[[], object]] = {}
    script: list[tuple[str, float]] = [("sound", 20)]
    for number in range(len(told)):
        script += [(f"tell {number}", 0), ("sound", 2)]
    bedroom = Bedroom(folder, script, events, calls=calls)
    for number, command in enumerate(told):
        calls[f"tell {number}"] = partial(bedroom.watch.command, command)
    bedroom.run()
    with History(folder) as history:
        return [one.event for one in history.care()]


def test_a_battery_that_was_changed_after_its_alarm_is_written_down(tmp_path: Path) -> None:
    """Who, when, and for which alarm; told in both ways it is one change."""
    (one,) = night(tmp_path, Going("Anna", "page"), Found(None, "battery", "Anna", "page"), Changed("Anna", "page"))
    assert (one.routine, one.kind, one.who, one.reason, one.alarm) == (BATTERY, "done", "Anna", "alarm", 1)
    assert timedelta(seconds=19) < one.at - BEGAN < timedelta(seconds=25)


def test_another_finding_changes_no_battery(tmp_path: Path) -> None:
    """A cable is no battery."""
    assert night(tmp_path, Going("Anna", "page"), Found(None, "cable", "Anna", "page")) == []


def test_no_word_while_somebody_is_being_woken_or_in_a_pause(tmp_path: Path) -> None:
    """It waits: the screen then has one thing to say."""
    done(tmp_path, BEGAN - timedelta(days=4))
    day = Settings(care=Care(exit_site="yes", remind_from="00:00", remind_until="23:59"))
    lead = replace(LOW, pattern="lead-disconnect", priority="high", onset=0.1, raised=0.3, last=0.2)
    calls: dict[str, Callable[[], object]] = {}
    caring = Late(tmp_path, lambda: day)
    bedroom = Bedroom(
        tmp_path, [("sound", 1), ("due", 0), ("sound", 20), ("answer", 0), ("sound", 2)],
        [(0.3, Raised(0.3, lead))], calls=calls, caring=caring,
    )  # fmt: skip
    told: list[int] = []

    def answer() -> None:
        told.append(len(bedroom.heard("A reminder")))
        bedroom.watch.command(Going("Anna", "page"))

    calls |= {"due": lambda: setattr(caring, "ready", True), "answer": answer}
    bedroom.run()
    assert told == [0]
    assert len(bedroom.heard("A reminder: Exit-site care is due")) == 1


class Late(Caring):
    """One that has nothing to say before the alarm is there."""

    ready = False

    def look(self, ticks: float, now: datetime) -> Iterator[tuple[str, CareEvent]]:
        return super().look(ticks, now) if self.ready else iter(())


def test_a_drill_changes_no_battery(tmp_path: Path) -> None:
    """Nor does one that is answered with "battery"."""
    clock = HandClock()
    timeline = Timeline(clock.clock)
    logbook = Logbook(Journal(Store(tmp_path), lambda: clock.now), timeline, clock.clock, "a microphone", "household")
    for number, count in ((DRILLED, 0), (1, 1)):
        logbook.alarm(Raised(11.5, replace(LOW, number=number)))
        logbook.note(Note(number, "found", clock.now, "Anna", "page", "battery"))
        with History(tmp_path) as history:
            assert len(history.care()) == count
    logbook.end(20.0)
