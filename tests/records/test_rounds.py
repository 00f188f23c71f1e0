"""What is written besides spans and alarms comes back as it was, by the store and by the journal."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pytest

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm
from beepwatch.records.entries import Attempt, CareEvent, Clip
from beepwatch.records.journal import Journal
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.records.verify import verify

Ask: TypeAlias = Callable[[str], list[tuple[object, ...]]]
SECOND = timedelta(seconds=1)
CLIP = Clip("alarm-1.flac", bytes(range(32)), 4000, datetime(2026, 3, 1, 21, 0, tzinfo=UTC), 12.5, 2730.0)


def alarm_of(store: Store, evening: datetime, lead: Alarm) -> int:
    """One alarm in a span of its own."""
    return store.raise_alarm(store.begin_listening("USB microphone", "household", evening), lead, evening, evening)


def test_who_was_tried_and_who_answered_by_what(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """Each try with its outcome, in order; the answer with person and way."""
    alarm = alarm_of(store, evening, lead)
    failed = Attempt("speaker", ok=False, who="Anna", detail="the speaker is gone", step=1, after=0.2)
    went = Attempt("page", ok=True, who="Anna", step=2, after=0.4)
    store.tried("alarm", alarm, evening, failed)
    store.tried("alarm", alarm, evening + SECOND, went)
    store.note(alarm, "acknowledged", evening + 30 * SECOND, 30.0, who="Anna", way="page")
    with History(tmp_path) as history:
        assert [tried.attempt for tried in history.tried("alarm", alarm)] == [failed, went]
        (logged,) = history.alarms()
    assert (logged.answered_by, logged.answered_way, logged.drill) == ("Anna", "page", False)


def test_a_drill_is_marked_so(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """In the alarm itself, so that no reader can take it for an alarm."""
    span = store.begin_listening("USB microphone", "household", evening)
    store.raise_alarm(span, lead, evening, evening, drill=True)
    with History(tmp_path) as history:
        assert [alarm.drill for alarm in history.alarms()] == [True]


def test_a_technical_alarm_from_its_beginning_to_its_end(store: Store, tmp_path: Path, evening: datetime) -> None:
    """Since when, when told, who answered, when it was over; outside any listening span, too."""
    told = evening + 9 * SECOND
    mine = store.raise_technical(None, "digital-silence", "high", began=evening, raised=told, why="Only zeros come.")
    store.note_technical(mine, "woken", told, 0.2)
    store.note_technical(mine, "acknowledged", told + SECOND, 1.0, who="Anna", way="key")
    store.note_technical(mine, "ended", told + 60 * SECOND, detail="opened anew")
    with History(tmp_path) as history:
        (technical,) = history.technicals()
    assert (technical.cause, technical.priority, technical.why) == ("digital-silence", "high", "Only zeros come.")
    assert (technical.began, technical.raised, technical.ended) == (evening, told, told + 60 * SECOND)
    assert (technical.answered_by, technical.answered_way) == ("Anna", "key")


def test_a_planned_pause_ends_early_or_counts_to_its_planned_end(
    store: Store, tmp_path: Path, evening: datetime
) -> None:
    """Ending it twice does no harm: the first end counts."""
    early = store.pause(None, "bath", evening, evening + 1800 * SECOND, who="Anna")
    store.end_pause(early, evening + 600 * SECOND, "person")
    store.end_pause(early, evening + 900 * SECOND)
    store.pause(None, "care", evening + 3600 * SECOND, evening + 5400 * SECOND)
    with History(tmp_path) as history:
        first, second = history.pauses()
    assert (first.purpose, first.who, first.until, first.how) == ("bath", "Anna", evening + 600 * SECOND, "person")
    assert (second.ended, second.until) == (None, evening + 5400 * SECOND)


def test_an_hour_of_margin_is_one_row(store: Store, ask: Ask, tmp_path: Path, evening: datetime) -> None:
    """A figure a minute, unknown ones too; the hour under way is read with the rest; a crash loses none."""
    span = store.begin_listening("USB microphone", "household", evening)
    for minute in range(130):
        figure = None if minute == 61 else 5.0 if minute in {3, 4} else 20.0 + minute / 10
        store.margin(span, evening + minute * timedelta(minutes=1), figure)
    assert ask("SELECT count(*) FROM margin") == [(2,)]
    with History(tmp_path) as history:
        hours = history.margins()
        assert [len(hour.figures) for hour in hours] == [60, 60, 10]
        assert hours[0].figures[3:6] == (5.0, 5.0, 20.5)
        assert hours[1].figures[1] is None
        assert history.margin_minutes() == (120, 1, 2)
    store.begin_listening("USB microphone", "household", evening + timedelta(hours=5))
    assert ask("SELECT minutes FROM margin ORDER BY id") == [(60,), (60,), (10,)]
    assert ask("SELECT count(*) FROM margin_open") == [(0,)]


def test_settings_in_force_are_kept_once_for_each_text(
    store: Store, ask: Ask, tmp_path: Path, evening: datetime
) -> None:
    """A period has those that held when it began, and each change in it."""
    for day, text in enumerate(("a = 1", "a = 2", "a = 1")):
        store.in_force(None, evening + day * timedelta(days=1), text)
    assert ask("SELECT count(*) FROM payload") == [(2,)]
    with History(tmp_path) as history:
        held = history.settings_in_force(evening + timedelta(hours=30))
    assert [settings.text for settings in held] == ["a = 2", "a = 1"]


def test_findings_notes_and_care(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """The newest finding counts; a note is about one thing; a corrected entry is left out, the row in its place not."""
    alarm = alarm_of(store, evening, lead)
    store.found(alarm, "other", evening)
    store.found(alarm, "cable", evening + SECOND, who="Anna")
    store.write_note("alarm", alarm, evening, "the plug had slipped", who="Anna")
    event = CareEvent("main-battery", "done", evening, hours=480.0, who="Anna", alarm=alarm)
    wrong = store.care(event)
    right = store.care(replace(event, hours=48.0))
    store.correct("care", wrong, evening, by=right, why="a slip of the finger")
    with History(tmp_path) as history:
        assert [found.what for found in history.found().values()] == ["cable"]
        assert history._ask('SELECT about, about_id, "by" FROM correction WHERE about = \'found\'', {})[0][:] == (
            "found", 1, 2,
        )  # fmt: skip
        (note,) = history.notes_on("alarm", alarm)
        assert (note.text, note.who, history.notes()) == ("the plug had slipped", "Anna", [note])
        assert [logged.event for logged in history.care(routine="main-battery")] == [replace(event, hours=48.0)]
        assert history.care(routine="exit-site") == []


def test_only_what_is_there_can_be_corrected_or_deleted(store: Store, evening: datetime) -> None:
    """A wrong number is told, not written."""
    with pytest.raises(RecordsError, match="there is no care 7"):
        store.correct("care", 7, evening)
    with pytest.raises(RecordsError, match="there is no note 7"):
        store.delete_note(7, evening)


def test_deleted_words_are_gone_from_every_file(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """That there was a note, and that it was deleted, stays; its words are in no byte of the folder."""
    alarm = alarm_of(store, evening, lead)
    note = store.write_note("alarm", alarm, evening, "unmistakable words")
    assert any(b"unmistakable" in file.read_bytes() for file in tmp_path.iterdir())
    store.delete_note(note, evening)
    assert not any(b"unmistakable" in file.read_bytes() for file in tmp_path.iterdir())
    with History(tmp_path) as history:
        assert [kept.text for kept in history.notes()] == [None]


def test_deleted_settings_are_gone_and_the_history_is_whole(store: Store, tmp_path: Path, evening: datetime) -> None:
    """When they changed stays; those of the next start are kept again."""
    store.in_force(None, evening, "names.person = Samuel")
    store.delete_settings(evening)
    assert not any(b"Samuel" in file.read_bytes() for file in tmp_path.iterdir())
    store.in_force(None, evening + SECOND, "names.person = the person")
    with History(tmp_path) as history:
        assert [held.text for held in history.settings_in_force()] == [None, "names.person = the person"]
    assert verify(tmp_path).faults == ()


def test_a_clip_is_read_back_and_its_deletion_told(
    store: Store, tmp_path: Path, evening: datetime, lead: Alarm
) -> None:
    """File, hash, size, time, tone."""
    alarm = alarm_of(store, evening, lead)
    clip = store.clip(alarm, CLIP)
    with History(tmp_path) as history:
        (before,) = history.clips(alarm)
        store.clip_deleted(clip, evening, "30 days old")
        (after,) = history.clips()
    assert (before.clip, before.deleted, after.deleted) == (CLIP, None, evening)


def test_a_journal_writes_the_same(store: Store, tmp_path: Path, evening: datetime, lead: Alarm) -> None:
    """Its ids are its own, and one of an earlier run can be taken up."""
    alarm_of(store, evening, lead)
    old = store.pause(None, "away", evening, evening + SECOND)
    journal = Journal(store, lambda: 0.0)
    span = journal.begin_listening("USB microphone", "household", evening)
    alarm = journal.raise_alarm(span, lead, evening, evening, drill=True)
    assert (alarm, journal.row("alarm", alarm)) == (1, 2)
    journal.tried("alarm", alarm, evening, Attempt("speaker", ok=True))
    journal.note(alarm, "acknowledged", evening, 3.0, who="Ben", way="key")
    journal.found(alarm, "cable", evening)
    journal.write_note("alarm", alarm, evening, "words")
    journal.clip(alarm, CLIP)
    journal.care(CareEvent("cable", "done", evening, alarm=alarm))
    technical = journal.raise_technical(span, "margin", "medium", began=evening, raised=evening)
    journal.tried("technical", technical, evening, Attempt("speaker", ok=False))
    journal.note_technical(technical, "ended", evening)
    journal.end_pause(journal.adopt("pause", old), evening, "person")
    journal.margin(span, evening, 12.0)
    journal.in_force(span, evening, "a = 1")
    assert (journal.pending, journal.fault, journal.dropped) == (0, None, 0)
    with History(tmp_path) as history:
        assert [one.drill for one in history.alarms()] == [False, True]
        assert len(history.tried("alarm", 2)) == len(history.tried("technical", 1)) == 1
        assert list(history.found()) == [2]
        assert [clip.alarm for clip in history.clips()] == [2]
        assert [logged.event.alarm for logged in history.care()] == [2]
        assert history.pauses()[0].how == "person"
        assert history.margins()[0].figures == (12.0,)
        assert history.technicals()[0].ended == evening
