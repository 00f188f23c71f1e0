"""Tonight, week and month: their figures are those of the report and of `beepwatch history`."""

import json
import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.events import Alarm
from beepwatch.records.store import Store
from beepwatch.records.words import length
from beepwatch.views.book import Book
from beepwatch.views.frame import MOST, PLACES, Place
from beepwatch.views.night import period
from tests.views.markup import Read
from tests.views.shelf import NIGHT, NOW, book, settings

CAPTIONS = ("Hours listened and gaps", "Alarms by kind, without drills")


def view(folder: Path, place: Place, last: date = NIGHT) -> Read:
    """It, read."""
    return Read(period(book(folder).period(last, place.nights), place))


def first(place: Place, last: date = NIGHT) -> date:
    """The first night of it."""
    return last - timedelta(days=place.nights - 1)


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place.title)
def test_the_figures_are_those_of_the_report(filled: tuple[Path, int], place: Place, tmp_path: Path) -> None:
    """Table for table, row for row, as `beepwatch report` writes them for the same nights."""
    file = tmp_path / "report.html"
    asked = ["--from", str(first(place)), "--to", str(NIGHT), "-o", str(file), "--data", str(filled[0])]
    assert main(["report", *asked]) == 0
    report, mine = Read(file.read_text("utf-8")), view(filled[0], place)
    for caption in CAPTIONS:
        assert mine.tables[caption] == report.tables[caption]
        assert len(mine.tables[caption]) > 1
    if place.nights > 1:
        nights, theirs = mine.tables["Each night in words"], report.tables["Each night in words"]
        assert len(nights) == place.nights + 1
        assert nights == [[*row[:-1], re.sub(r" \(evidence of.*", "", row[-1])] for row in theirs]


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place.title)
def test_each_alarm_of_the_history_leads_to_its_evidence(
    filled: tuple[Path, int], place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    """The numbers, seconds until answered and lengths of `beepwatch history`, drills with the word DRILL."""
    since, until = f"{first(place)}T12:00", f"{NIGHT + timedelta(days=1)}T12:00"
    asked = ["--since", since, "--until", until, "--format", "jsonl", "--data", str(filled[0])]
    assert main(["history", *asked]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    read = view(filled[0], place)
    links = {href: said for href, said in read.links if href.startswith("/alarm/")}
    assert len(rows) == len(links) >= 2
    for row in rows:
        said = links[f"/alarm/{row['id']}"]
        assert row["pattern"].replace("-", " ") in said
        assert ("DRILL" in said) == row["drill"]
        after = row["acknowledged_after"]
        assert (f"answered after {length(after)} by" if after is not None else "woke nobody") in read.text


def test_gaps_and_planned_pauses_are_told_apart(filled: tuple[Path, int]) -> None:
    """The month has one hole in a night, four baths and a night away."""
    read = view(filled[0], PLACES[2])
    (head, *holes) = read.tables["Gaps: not listened, and nobody wanted it"]
    assert head == ["From", "How long", "Why"]
    assert [row[1:] for row in holes] == [["48 min 0 s", "no sound came from the microphone"]]
    pauses = read.tables["Planned pauses, counted apart"][1:]
    assert [row[2] for row in pauses].count("bath, Anna") == 5
    assert [row[2] for row in pauses].count("away, Anna") == 1
    assert "no sound" in read.text.split("Times it could not hear or wake")[1]


def test_drills_are_counted_nowhere_else(filled: tuple[Path, int]) -> None:
    """Tonight: one alarm and one drill."""
    read = view(filled[0], PLACES[0])
    (row,) = read.tables["Alarms by kind, without drills"][1:]
    assert row[2] == "1"
    assert "Alarms: 1 of 1 that woke somebody were answered" in read.text
    assert "Drills, counted apart: 1 of 1 that woke somebody were answered" in read.text
    assert "Drills" in read.text


def test_every_view_has_the_caution_and_says_that_it_wakes_nobody(filled: tuple[Path, int]) -> None:
    """Also that it is not the device's own record; nothing is inline."""
    for place in PLACES:
        read = view(filled[0], place)
        assert "silence does not mean all is well" in read.text
        assert "not the device's own record" in read.text
        assert "this phone does not wake you" in read.text
        assert not any({"style", "onclick"} & set(attributes) for _, attributes in read.tags)
        assert [attributes.get("src") for tag, attributes in read.tags if tag == "script"] == ["/views.js"]
        assert not any(tag == "style" for tag, _ in read.tags)


def test_the_picture_has_words_and_no_colours_of_its_own(filled: tuple[Path, int]) -> None:
    """Its title and description, and classes for the page's colours; one night alone needs none."""
    read = view(filled[0], PLACES[1])
    drawn = [attributes for tag, attributes in read.tags if tag in ("rect", "line")]
    assert len(drawn) > 20
    assert all("class" in one and "stroke" not in one and one.get("fill") in (None, "none") for one in drawn)
    assert "A filled band: listened." in read.text
    assert not any(tag == "svg" for tag, _ in view(filled[0], PLACES[0]).tags)


def test_nothing_heard_is_no_good_news(tmp_path: Path) -> None:
    """An empty history: no alarms is not said; that nothing was listened to is."""
    Store(tmp_path).close()
    read = view(tmp_path, PLACES[1])
    assert "nothing can be said about alarms" in read.text
    assert "At 11:30, when this was read, IT DID NOT LISTEN" in read.text
    assert "None was heard" not in read.text


def test_it_says_whether_it_listens_now(tmp_path: Path) -> None:
    """A span that was extended this moment."""
    store = Store(tmp_path)
    span = store.begin_listening("USB", "household", NOW - timedelta(hours=2))
    store.extend_listening(span, NOW)
    assert "At 11:30, when this was read, it listened" in view(tmp_path, PLACES[0]).text
    store.close()


def test_links_lead_to_earlier_and_later_nights(filled: tuple[Path, int]) -> None:
    """Back from tonight, but not into the future; an earlier night has both."""
    assert [href for href, _ in view(filled[0], PLACES[1]).links if "/week/" in href] == ["/week/2026-03-24"]
    links = [href for href, _ in view(filled[0], PLACES[1], date(2026, 3, 24)).links if "/week/" in href]
    assert links == ["/week/2026-03-17", "/week/2026-03-31"]


def test_a_wild_night_stays_bounded(tmp_path: Path) -> None:
    """A thousand alarms: the newest are shown, and how many are left out."""
    store = Store(tmp_path)
    with store.together():
        span = store.begin_listening("USB", "household", NOW - timedelta(hours=8))
        for count in range(1000):
            alarm = Alarm(count, "unknown", "low", 1.0, 9.0, None, 8.0, 3, 1.2, None, 2000.0, 0.9, "beeps")
            at = NOW - timedelta(hours=7) + timedelta(seconds=20 * count)
            store.raise_alarm(span, alarm, at, at + timedelta(seconds=8))
        store.extend_listening(span, NOW)
    store.close()
    read = view(tmp_path, PLACES[0])
    links = [href for href, _ in read.links if href.startswith("/alarm/")]
    assert len(links) == MOST
    assert links[0] == "/alarm/1000"
    assert f"and {1000 - MOST} more" in read.text


def test_the_night_begins_at_noon(filled: tuple[Path, int]) -> None:
    """At eleven it is still yesterday's, at one it is tonight's."""
    for hour, day in ((11, NIGHT), (13, NIGHT + timedelta(days=1))):
        assert Book(filled[0], settings, lambda hour=hour: NOW.replace(hour=hour)).night() == day  # type: ignore[misc]
