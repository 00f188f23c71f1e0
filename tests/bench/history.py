"""How long each view of ten years of nights takes, on a history that is made here: about a million rows.

    python -m tests.bench.history [--nights 3650] [--folder DIR]

A night: listened 9 h, 228 beeps in the room, in one night of two an alarm with twelve changes, tries, an answer, a
finding, a note and a clip, each week a pause, a technical alarm and care; an hour of margins is a row. A view is what a
person opens: a month, a week, one alarm with all that belongs to it, ten years as the report counts them. Each time is
the best of five by a new connection; the system has the file in its memory. A figure of one run on one machine.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from beepwatch.events import Alarm, Beep
from beepwatch.records.entries import Attempt, CareEvent, Clip
from beepwatch.records.listened import listened
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.records.verify import verify
from beepwatch.settings.model import Settings
from beepwatch.views.book import Book
from beepwatch.views.evidence import evidence
from beepwatch.views.frame import PLACES, Place
from beepwatch.views.night import period

FIRST = datetime(2016, 1, 1, 21, 0, tzinfo=UTC)
LEAD = Alarm(1, "lead-disconnect", "high", 3600.0, 3611.5, None, 3611.2, 3, 1.2, 5.0, 2730.0, 0.98, "3 beeps of 1.2 s")
BEEPS = 228
"""Beeps a night: what brings ten years to a million rows."""


def night(store: Store, began: datetime, number: int) -> None:
    """All that one night brings."""
    span = store.begin_listening("USB microphone", "household", began)
    for beat in range(BEEPS):
        onset = 140.0 * beat
        store.add_beeps(span, [Beep(onset, 1.2, 2730.0, -40.0, 12.0, onset + 1.2)])
    for hour in range(9):
        store.margin(span, began + timedelta(hours=hour), 20.0)
        store.margin(span, began + timedelta(hours=hour, minutes=59), 20.0)
    if number % 2:
        an_alarm(store, span, began + timedelta(hours=1), number)
    if number % 7 == 0:
        a_week(store, span, began)
    store.end_listening(span, began + timedelta(hours=9))


def an_alarm(store: Store, span: int, began: datetime, number: int) -> None:
    """From its first beep to what was found."""
    alarm = store.raise_alarm(span, replace(LEAD, number=number), began, began + timedelta(seconds=11))
    store.tried("alarm", alarm, began, Attempt("speaker", ok=number % 20 != 1, who="Anna", step=1))
    store.note(alarm, "woken", began + timedelta(seconds=12), 0.3)
    for beep in range(12):
        store.change_alarm(alarm, replace(LEAD, beeps=4 + beep), began + timedelta(seconds=16 + 5 * beep))
    store.note(alarm, "acknowledged", began + timedelta(seconds=60), 48.0, who="Anna", way="key")
    store.end_alarm(alarm, replace(LEAD, beeps=16, last=3680.0, ended=3680.0), began + timedelta(seconds=80))
    store.found(alarm, "cable", began + timedelta(minutes=5))
    store.write_note("alarm", alarm, began + timedelta(minutes=6), "the plug had slipped")
    store.clip(alarm, Clip(f"{number}.flac", bytes(32), 100_000, began, 20.0, 2730.0))


def a_week(store: Store, span: int, began: datetime) -> None:
    """A pause, a technical alarm, care."""
    store.end_pause(store.pause(span, "bath", began, began + timedelta(minutes=30)), began + timedelta(minutes=20))
    technical = store.raise_technical(span, "margin-low", "medium", began=began, raised=began + timedelta(minutes=5))
    store.note_technical(technical, "ended", began + timedelta(minutes=9))
    store.care(CareEvent("main-battery", "done", began, hours=480.0))
    store.care(CareEvent("exit-site", "done", began, reason="rhythm"))


def made(folder: Path, nights: int) -> int:
    """The history of so many nights; its rows."""
    store = Store(folder)
    store._connection.execute("PRAGMA synchronous = OFF")  # making it is not what is measured
    for number in range(nights):
        with store.together():
            night(store, FIRST + timedelta(days=number), number)
    rows = store._connection.execute("SELECT max(id) FROM link").fetchone()[0]
    store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    store.close()
    return int(rows)


def views(last: datetime) -> dict[str, Callable[[History], object]]:
    """What a person opens, by name; `last` is the evening of the newest night."""

    def heard(history: History, since: datetime, until: datetime) -> object:
        return listened(history.spans(since, until), since, until, until)

    def months(history: History, days: int) -> object:
        since, until = last - timedelta(days=days), last + timedelta(days=1)
        return (
            history.alarms(since, until), heard(history, since, until), history.found(since, until),
            history.notes_of_alarms(since, until), history.technicals(since, until), history.pauses(since, until),
            history.margins(since, until), history.care(since, until), history.tries(since, until),
            history.clips_of_alarms(since, until), history.settings_in_force(since, until),
        )  # fmt: skip

    def one_alarm(history: History) -> object:
        alarm = history.alarm(100)
        assert alarm is not None
        return history.beeps(alarm), history.tried("alarm", 100), history.notes_on("alarm", 100), history.clips(100)

    return {
        "tonight": lambda history: months(history, 1),
        "a week": lambda history: months(history, 7),
        "a month": lambda history: months(history, 30),
        "three months (between two visits)": lambda history: months(history, 91),
        "a month of five years ago": lambda history: history.alarms(
            last - timedelta(days=1800), last - timedelta(days=1770)
        ),
        "one alarm with its beeps, tries, notes, clips": one_alarm,
        "ten years: every alarm": lambda history: history.alarms(),
        "ten years: hours listened and gaps": lambda history: heard(history, FIRST, last + timedelta(days=1)),
        "ten years: minutes of margin": lambda history: history.margin_minutes(),
        "ten years: care": lambda history: history.care(),
        "the last hash": lambda history: history.last_hash(),
    }


def pages(folder: Path, last: datetime) -> dict[str, Callable[[], object]]:
    """What the page shows a phone, by name: read, counted and written as HTML, the opening of the file with it."""
    book = Book(folder, Settings, lambda: last + timedelta(hours=9))

    def shown(place: Place, day: datetime) -> object:
        return period(book.period(day.date(), place.nights), place)

    def one_alarm() -> object:
        told = book.evidence(100)
        assert told is not None
        return evidence(told)

    newest = {f"the page: {place.title.lower()}": partial(shown, place, last) for place in PLACES}
    old = partial(shown, PLACES[2], last - timedelta(days=1800))
    return {**newest, "the page: a month of five years ago": old, "the page: one alarm's evidence": one_alarm}


def best(folder: Path, view: Callable[[History], object]) -> tuple[float, float]:
    """ms by the clock and ms of the processor, each the best of five."""
    times = []
    for _ in range(5):
        with History(folder) as history:
            times.append(timed(partial(view, history)))
    return min(clock for clock, _ in times), min(processor for _, processor in times)


def timed(view: Callable[[], object]) -> tuple[float, float]:
    """ms by the clock and ms of the processor of one time."""
    began, used = time.perf_counter(), time.process_time()
    view()
    return 1000 * (time.perf_counter() - began), 1000 * (time.process_time() - used)


def main() -> int:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--nights", type=int, default=3650)
    parser.add_argument("--folder", type=Path, help="keep the history there, or take the one that is there")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = chosen.folder or Path(scratch)
        folder.mkdir(exist_ok=True)
        if not (folder / "history.sqlite3").exists():
            began = time.perf_counter()
            rows = made(folder, chosen.nights)
            size = (folder / "history.sqlite3").stat().st_size / 1e6
            print(f"{chosen.nights} nights, {rows} rows, {size:.0f} MB, made in {time.perf_counter() - began:.0f} s")
        for name, view in views(FIRST + timedelta(days=chosen.nights - 1)).items():
            clock, processor = best(folder, view)
            print(f"{clock:7.1f} ms ({processor:.1f} ms of the processor)  {name}")
        for name, page in pages(folder, FIRST + timedelta(days=chosen.nights - 1)).items():
            times = [timed(page) for _ in range(5)]
            clock, processor = min(one for one, _ in times), min(one for _, one in times)
            print(f"{clock:7.1f} ms ({processor:.1f} ms of the processor)  {name}")
        began = time.perf_counter()
        checked = verify(folder)
        print(f"{time.perf_counter() - began:7.1f} s   verify: {checked.rows} rows")
    return 0


if __name__ == "__main__":
    sys.exit(main())
