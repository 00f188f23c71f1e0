"""A history to look at in the views, with one alarm that has everything; and a loop that writes what it is told."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from beepwatch.board.board import Board
from beepwatch.events import Alarm, Beep
from beepwatch.records.clipping import Piece, save
from beepwatch.records.clips import FOLDER
from beepwatch.records.entries import Attempt
from beepwatch.records.journal import Journal
from beepwatch.records.store import Store
from beepwatch.settings.model import Settings, decode
from beepwatch.views.book import Book
from beepwatch.waking.commands import Command
from beepwatch.waking.messages import Messages
from beepwatch.watch.desk import Desk
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.timeline import Clock, Timeline
from beepwatch.watch.waker import Report, Waker
from tests.invented import House as Invented
from tests.invented import ordinary

FIRST, NIGHT = date(2026, 3, 2), date(2026, 3, 31)
NOW = datetime(2026, 4, 1, 11, 30).astimezone()
"""Of the computer's own zone, as the page counts."""
LEAD = Alarm(900, "lead-disconnect", "high", 100.0, 111.5, None, 111.2, 3, 1.2, 5.0, 2730.0, 0.98, "3 beeps of 1.2 s")


def settings() -> Settings:
    """Of a family."""
    return decode('[names]\nperson = "Sam"\n')


def book(folder: Path) -> Book:
    """It, in the morning after the last night."""
    return Book(folder, settings, lambda: NOW)


def shelf(folder: Path, notes: Sequence[str] = ("the plug had slipped",)) -> int:
    """A month of nights; return the number of an alarm of the last one that has all that an alarm can have."""
    ordinary(folder, first=FIRST, last=NIGHT)
    store = Store(folder)
    at = datetime(2026, 4, 1, 2, 10).astimezone()
    house = Invented(store)
    with store.together():
        span = house.span(NIGHT, 21.0, 30.0)
        alarm = store.raise_alarm(span, LEAD, at, at + timedelta(seconds=11.5))
        store.add_beeps(span, [Beep(100.0 + 5 * i, 1.2, 2730.0, -41.0, 14.0, 101.2 + 5 * i) for i in range(9)])
        store.tried("alarm", alarm, at + timedelta(seconds=12), Attempt("speaker", ok=True, who="Anna", after=0.4))
        failed = Attempt("command", ok=False, who="Ben", detail="no such number", after=30.0)
        store.tried("alarm", alarm, at + timedelta(seconds=42), failed)
        store.note(alarm, "woken", at + timedelta(seconds=12), 0.4)
        for count in range(4, 9):
            store.change_alarm(alarm, replace(LEAD, beeps=count), at + timedelta(seconds=5 * count))
        store.note(alarm, "acknowledged", at + timedelta(seconds=47), 35.5, who="Anna", way="page")
        store.end_alarm(alarm, replace(LEAD, beeps=9, last=141.2, ended=141.2), at + timedelta(seconds=41))
        store.found(alarm, "cable", at + timedelta(minutes=9), "Anna")
        for words in notes:
            store.write_note("alarm", alarm, at + timedelta(minutes=10), words, "Anna")
        store.clip(alarm, save(folder / FOLDER, Piece(alarm, beeps(), 2730.0, at - timedelta(seconds=1))))
        house.alarm(span, "lead-disconnect", house.at(NIGHT, 21.5), drill=True, who="Ben")
    store.close()
    return alarm


def beeps() -> "np.ndarray[tuple[int, int], np.dtype[np.float32]]":
    """10 s with two beeps of 1.2 s."""
    time = np.arange(160_000) / 16_000
    sounds = ((time > 1) & (time < 2.2)) | ((time > 6) & (time < 7.2))
    return (0.2 * np.sin(2 * np.pi * 2730 * time) * sounds).astype(np.float32)[:, None]


class Loop:
    """The desk, logbook and journal of `watch`, in a thread that looks at what was told ten times a second."""

    def __init__(self, folder: Path) -> None:
        self.board = Board()
        self._folder, self._over, self._ready = folder, threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        assert self._ready.wait(10)

    def command(self, command: Command) -> None:
        """As `Watch.command`."""
        self._put(command)

    def close(self) -> None:
        """Write all and end."""
        self._over.set()
        self._thread.join(10)

    _put: Callable[[Command], None]

    def _run(self) -> None:
        clock, reports = Clock(), SimpleQueue[Report]()
        journal = Journal(Store(self._folder))
        timeline = Timeline(clock)
        logbook = Logbook(journal, timeline, clock, "a microphone", "household")
        desk = Desk(
            Waker(None, reports, Messages()), lambda actions: None, lambda line: None, logbook,
            pausing=None, posting=None, wall=timeline.wall_of_ticks,
        )  # fmt: skip
        self._put = desk.put
        self._ready.set()
        while not self._over.wait(0.1):
            desk.look(clock.ticks())
        desk.look(clock.ticks())
        journal.close()
