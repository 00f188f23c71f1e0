"""The report as one accessible file, in a real browser."""

from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from beepwatch.paper.caution import CAUTION
from beepwatch.report import words
from beepwatch.report.figures import Review
from beepwatch.report.page import html
from tests.page.browser import chromium, findings
from tests.paper.test_fonts import NAMES

WHICH = ("ordinary_review", "full_review", "empty_review", "hostile_review")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as made:
        yield made


@pytest.mark.parametrize("wide", [1100, 320])
@pytest.mark.parametrize("which", WHICH)
def test_axe_finds_nothing(
    browser: Browser, request: pytest.FixtureRequest, tmp_path: Path, which: str, wide: int
) -> None:
    """WCAG 2.2 AA by axe-core, on a desk and on a narrow phone, where nothing runs off the side; no word acts."""
    file = tmp_path / "report.html"
    file.write_text(html(request.getfixturevalue(which)), "utf-8")
    context = browser.new_context(viewport={"width": wide, "height": 800}, bypass_csp=True)
    page = context.new_page()
    said: list[str] = []
    page.on("dialog", lambda dialog: said.append(dialog.message))
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= wide
    assert page.evaluate("document.querySelectorAll('script, img, iframe, link, form').length") == 0
    assert (said, asked) == ([], [file.as_uri()])
    assert findings(page) == []
    context.close()


def text(review: Review) -> str:
    """What a reader of the file finds, without its head."""
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_data(self, data: str) -> None:
            found.append(data)

    reader = Reader()
    reader.feed(html(review).split("</head>")[1])
    return " ".join(" ".join(found).split())


@pytest.mark.parametrize("which", WHICH)
def test_it_says_what_it_is(request: pytest.FixtureRequest, which: str) -> None:
    """The caution, the origin and the last hash; and the language, for whatever reads it aloud."""
    review = request.getfixturevalue(which)
    told = text(review)
    assert CAUTION in told
    assert told.count(words.ORIGIN) == 2
    assert review.last_hash in told
    assert html(review).startswith('<!DOCTYPE html>\n<html lang="en">')


def test_everything_that_paper_has_no_room_for_is_in_it(full_review: Review) -> None:
    """Each of hundreds of alarms with its evidence, each note, and each night in words."""
    told = text(full_review)
    assert told.count("Evidence:") == len(full_review.high)
    for section in words.sections(full_review):
        for entry in section.entries:
            assert entry[0] in told
    assert "left out here" not in told


def test_the_picture_has_its_words(ordinary_review: Review) -> None:
    """A table says each night: the drawing has a title, a description, and no figure of its own."""
    made = html(ordinary_review)
    assert 'role="img" aria-labelledby="picture-title picture-words"' in made
    table = made.split("<caption>Each night in words</caption>")[1].split("</table>")[0]
    assert table.count('<th scope="row">') == len(ordinary_review.nights)
    assert table.count("<tr>") == 1 + len(ordinary_review.nights)


def test_each_night_leads_to_its_evidence(ordinary_review: Review) -> None:
    """A link for each high-priority alarm of a night, to the entry that has its sentence and finding."""
    made = html(ordinary_review)
    for told in ordinary_review.high:
        assert made.count(f'<a href="#alarm-{told.alarm.id}">') == 1
        entry = made.split(f'<li id="alarm-{told.alarm.id}">')[1].split("</li>")[0]
        assert f"(number {told.alarm.id})" in entry
        assert "Evidence: 18 beeps" in entry


def test_the_same_figures_give_the_same_text(ordinary_review: Review) -> None:
    """Two files do not differ."""
    assert html(ordinary_review) == html(ordinary_review)


@pytest.mark.parametrize("script", NAMES)
def test_a_name_in_its_own_script(ordinary_review: Review, script: str) -> None:
    """As it was given."""
    assert f"What a listener heard of {NAMES[script]}'s device" in text(replace(ordinary_review, person=NAMES[script]))
