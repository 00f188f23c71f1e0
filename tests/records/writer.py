"""A program for `test_kill`: writes one alarm after another, and says so once that is committed."""

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from beepwatch.events import Alarm, Beep
from beepwatch.records.entries import Attempt, CareEvent
from beepwatch.records.journal import Journal
from beepwatch.records.store import Store

LEAD = Alarm(1, "lead-disconnect", "high", 0.0, 11.5, None, 11.2, 3, 1.2, 5.0, 2730.0, 0.98, "3 beeps")
BEEP = Beep(0.0, 1.2, 2730.0, -40.0, 12.0, 1.2)


def say(*words: str | int) -> None:
    """One line that is out of this process when the call returns."""
    print(*words, flush=True)


def one_alarm(journal: Journal, span: int, alarm: Alarm, now: datetime) -> None:
    """Raise it, wake, hear more beeps and listen on, be answered, end."""
    known = journal.raise_alarm(span, alarm, now, now)
    say("raised", span, alarm.number, alarm.beeps)
    journal.note(known, "woken", now)
    say("woken", span, alarm.number, 0)
    for beeps in range(4, 9):
        journal.change_alarm(known, replace(alarm, beeps=beeps), now)
        say("changed", span, alarm.number, beeps)
        journal.extend_listening(span, now, alarm.number, [BEEP])
        say("listening", span, alarm.number, 0)
    besides(journal, span, known, alarm.number, now)
    journal.note(known, "acknowledged", now, who="Anna", way="key")
    say("acknowledged", span, alarm.number, 0)
    journal.end_alarm(known, replace(alarm, beeps=8, ended=alarm.last), now)
    say("ended", span, alarm.number, 8)


def besides(journal: Journal, span: int, known: int, number: int, now: datetime) -> None:
    """One row of each other kind, told by its table and the alarm's number that is in it."""
    journal.tried("alarm", known, now, Attempt("speaker", ok=True, step=number))
    say("tried", span, number, 0)
    journal.found(known, "cable", now, who=str(number))
    say("found", span, number, 0)
    journal.write_note("alarm", known, now, f"note {number}", who=str(number))
    say("note", span, number, 0)
    journal.care(CareEvent("exit-site", "done", now, hours=number))
    say("care", span, number, 0)
    technical = journal.raise_technical(span, str(number), "medium", began=now, raised=now)
    say("technical", span, number, 0)
    journal.note_technical(technical, "ended", now)
    journal.end_pause(journal.pause(span, "bath", now, now, who=str(number)), now)
    say("pause", span, number, 0)
    journal.margin(span, now + timedelta(minutes=number), float(number))
    say("margin", span, number, 0)
    journal.in_force(span, now, f"alarms = {number}")


def main(folder: Path) -> None:
    """Write until killed."""
    say("opening", 0, 0, 0)
    journal = Journal(Store(folder))
    now = datetime.now(UTC)
    span = journal.begin_listening("USB microphone", "household", now)
    say("listening", span, 0, 0)
    number = 0
    while journal.fault is None:
        number += 1
        one_alarm(journal, span, replace(LEAD, number=number), now + timedelta(seconds=20 * number))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
