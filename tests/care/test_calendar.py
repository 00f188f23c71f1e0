"""The calendar file, read back by another library (vobject) and its repetitions by a third (dateutil)."""

from datetime import UTC, date, datetime, timedelta

import vobject
from dateutil.rrule import rrulestr

from beepwatch.care.calendar import AHEAD, calendar
from beepwatch.care.routine import Routine
from beepwatch.care.rules import stand
from beepwatch.records.entries import CareEvent
from tests.care.test_rules import MAIN, MONDAY, SITE, SUPPLY, days, event

NOW = MONDAY + timedelta(hours=2)
HOSTILE = 'BEGIN:VALARM\r\nX; "=1+1", \\n \u202e<b>' + "長" * 40
OWN = Routine("own", HOSTILE, days=14, armed=True)
ROUTINES = (MAIN, SITE, SUPPLY, OWN)


def made(*, now: datetime = NOW, routines: tuple[Routine, ...] = ROUTINES) -> bytes:
    events = [event(one, "done", MONDAY) for one in ROUTINES]
    return calendar([stand(one, events, now.date()) for one in routines], "id", now, "09:00")


def test_another_library_reads_each_routine_on_its_day() -> None:
    """The battery on its forecast, the exit site each three days, a supply on the day it is to be ordered."""
    read = vobject.readOne(made().decode())
    found = {one.summary.value: one.dtstart.value for one in read.vevent_list}
    assert found == {
        "The change of the main battery (forecast)": date(2026, 4, 13),
        "Exit-site care": date(2026, 3, 5),
        "Order Dressings": days(76).date(),
        HOSTILE.replace("\r\n", "\n"): days(14).date(),
    }
    read.validate()
    assert len({one.uid.value for one in read.vevent_list}) == len(ROUTINES)
    assert all(one.dtstamp.value == NOW for one in read.vevent_list)


def test_the_words_come_by_day() -> None:
    """Shown, never sounded, at nine o'clock; the battery's three days ahead."""
    read = vobject.readOne(made().decode())
    found = {one.summary.value: one.valarm for one in read.vevent_list}
    assert {alarm.action.value for alarm in found.values()} == {"DISPLAY"}
    assert found["Exit-site care"].trigger.value == timedelta(hours=9)
    assert found["The change of the main battery (forecast)"].trigger.value == timedelta(days=-3, hours=9)


def test_the_rhythm_is_every_third_day() -> None:
    """dateutil, an independent reader of RFC 5545's rules, gives the same days."""
    read = vobject.readOne(made(routines=(SITE,)).decode())
    begin = datetime.combine(read.vevent.dtstart.value, datetime.min.time())
    found = [one.date() for one in rrulestr(read.vevent.rrule.value, dtstart=begin)]
    assert found == [date(2026, 3, 5) + timedelta(days=3 * n) for n in range(AHEAD)]


def test_lines_are_as_the_standard_has_them() -> None:
    """RFC 5545, 3.1: CRLF, at most 75 octets a line; no line of a name becomes one of its own."""
    text = made()
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(map(len, text.split(b"\r\n"))) <= 75
    assert text.count(b"BEGIN:VALARM\r\n") == len(ROUTINES)


def test_a_newer_file_takes_the_older_ones_place() -> None:
    """The same UID and a greater SEQUENCE; the same data at the same moment are the same bytes."""
    older, newer = (vobject.readOne(made(now=now, routines=(SITE,)).decode()) for now in (NOW, days(1)))
    assert older.vevent.uid.value == newer.vevent.uid.value
    assert int(older.vevent.sequence.value) < int(newer.vevent.sequence.value)
    assert made() == made()


def test_what_is_overdue_stands_on_today_and_what_is_unarmed_nowhere() -> None:
    """A day in the past would be shown to nobody."""
    late = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
    read = vobject.readOne(made(now=late, routines=(SITE,)).decode())
    assert read.vevent.dtstart.value == late.date()
    bare = Routine("own", "Own", days=3)
    assert b"VEVENT" not in calendar([stand(bare, [CareEvent("own", "done", MONDAY)], NOW.date())], "id", NOW, "09:00")
