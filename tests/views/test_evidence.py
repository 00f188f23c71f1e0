"""The page of one alarm: all that belongs to it, and nothing that could do harm."""

import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from beepwatch.records.clips import delete
from beepwatch.records.entries import Note
from beepwatch.records.store import Store
from beepwatch.views.book import Evidence
from beepwatch.views.evidence import evidence
from beepwatch.views.frame import MOST
from tests.records.hostile import HOSTILE, IDS
from tests.views.markup import Read
from tests.views.shelf import LEAD, NOW, book, shelf


def told(filled: tuple[Path, int]) -> Evidence:
    """Of the alarm that has everything."""
    found = book(filled[0]).evidence(filled[1])
    assert found is not None
    return found


def test_it_has_all_that_belongs_to_the_alarm(filled: tuple[Path, int]) -> None:
    """Why, beeps, states, tries, finding, note, sound; times of beeps by the sound's own clock."""
    read = Read(evidence(told(filled)))
    assert "3 beeps of 1.2 s" in read.text
    beeps = read.tables["All beeps heard while it went on"]
    assert len(beeps) == 10
    assert beeps[1] == ["02:10:00.0", "1.20 s", "2730 Hz", "-41 dB", "14 dB"]
    assert beeps[2][0] == "02:10:05.0"
    states = [row[1] for row in read.tables["State by state"][1:]]
    assert states == [
        "named lead disconnect, 3 beeps", "waking began", "heard on, 8 beeps", "answered by Anna (page)",
        "over, 9 beeps",
    ]  # fmt: skip
    assert read.tables["Tries to wake somebody"][1:] == [
        ["02:10:12", "speaker", "Anna", "went out", "under 1 s"],
        ["02:10:42", "command", "Ben", "FAILED: no such number", "30 s"],
    ]
    short = dict(row for row in read.tables["In short"])
    assert short["Answered"] == "answered after 35 s by Anna (page)"
    assert short["What it was"] == "a cable or lead, says Anna"
    assert short["Went on for"] == "41 s"
    assert "the plug had slipped" in read.text
    (sound,) = [attributes["src"] for tag, attributes in read.tags if tag == "audio"]
    assert sound == f"/alarm/{filled[1]}/clip/1"


@pytest.mark.parametrize("words", HOSTILE, ids=IDS)
def test_hostile_words_stay_words(filled: tuple[Path, int], words: str) -> None:
    """As note, evidence sentence, name, detail of a try: no tag more, no control letters, not endless."""
    clean = told(filled)
    note = Note(9, "alarm", filled[1], NOW, words[:50], words)
    alarm = replace(clean.alarm, answered_by=words[:60], state=replace(clean.alarm.state, why=words))
    tried = tuple(replace(one, attempt=replace(one.attempt, detail=words[:300])) for one in clean.tried)
    made = evidence(replace(clean, notes=(note,), alarm=alarm, tried=tried))
    read = Read(made)
    assert [tag for tag, _ in read.tags] == [tag for tag, _ in Read(evidence(clean)).tags]
    assert not any(ord(letter) < 32 and letter != "\n" for letter in made)
    assert "\u202e" not in made
    assert len(made) < 40_000


def test_figures_that_are_not_known_are_said_so(filled: tuple[Path, int]) -> None:
    """A NaN comes back from the file as nothing at all."""
    clean = told(filled)
    nan = replace(clean.beeps[0], onset=math.nan, level=math.nan)
    state = replace(clean.alarm.state, last=math.nan)
    read = Read(evidence(replace(clean, beeps=(nan,), alarm=replace(clean.alarm, state=state))))
    assert read.tables["All beeps heard while it went on"][1] == [
        "not known",
        "1.20 s",
        "2730 Hz",
        "not known",
        "14 dB",
    ]
    assert dict(row for row in read.tables["In short"])["Went on for"] == "an unknown time"


def test_a_thousand_beeps_are_bounded(filled: tuple[Path, int]) -> None:
    """And the rest counted."""
    clean = told(filled)
    read = Read(evidence(replace(clean, beeps=clean.beeps[:1] * 1000)))
    assert len(read.tables["All beeps heard while it went on"]) == MOST + 1
    assert f"and {1000 - MOST} after these" in read.text


def test_a_sound_that_is_gone_is_not_offered(tmp_path: Path) -> None:
    """A missing file, then a deleted clip: each is told, neither can be played."""
    number = shelf(tmp_path)
    for file in (tmp_path / "clips").iterdir():
        kept = file.rename(tmp_path / file.name)
    assert "its file is missing" in evidence(told((tmp_path, number)))
    kept.rename(tmp_path / "clips" / kept.name)
    store = Store(tmp_path)
    delete(store, tmp_path, 1, NOW)
    store.close()
    page = evidence(told((tmp_path, number)))
    assert "deleted Wed 1 Apr 2026" in page
    assert "<audio" not in page
    assert book(tmp_path).clip(number, 1) is None


def test_only_the_households_alarms_are_shown(tmp_path: Path) -> None:
    """Neither one of a recording nor one that there is not."""
    store = Store(tmp_path)
    span = store.begin_listening("night.flac", "recording", NOW - timedelta(hours=1))
    number = store.raise_alarm(span, LEAD, NOW, NOW)
    store.close()
    assert book(tmp_path).evidence(number) is None
    assert book(tmp_path).evidence(number + 1) is None


def test_a_battery_that_it_was_counts_as_changed_once(filled: tuple[Path, int], tmp_path: Path) -> None:
    """Of a battery alarm, at its alarm; not of another kind, not of a drill, not where it is written down already."""
    store = Store(tmp_path)
    span = store.begin_listening("USB", "household", NOW - timedelta(hours=1))
    store.raise_alarm(span, replace(LEAD, pattern="battery-critical"), NOW, NOW)
    store.raise_alarm(span, replace(LEAD, number=-2000, pattern="battery-critical"), NOW, NOW, drill=True)
    store.close()
    mine = book(tmp_path)
    real, drill = mine.evidence(1), mine.evidence(2)
    assert real is not None
    assert drill is not None
    assert mine.changed(real.alarm, "battery", "Anna") == NOW.timestamp()
    assert mine.changed(real.alarm, "cable", "Anna") is None
    assert mine.changed(drill.alarm, "battery", "Anna") is None
    assert book(filled[0]).changed(told(filled).alarm, "battery", "Anna") is None
