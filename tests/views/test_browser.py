"""The views in a real browser, phone-sized: seen, heard by a screen reader's rules, reached by keyboard, written to."""

import shutil
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from beepwatch.cli import main
from beepwatch.views.routes import views
from tests.page.browser import SOON, chromium, findings, paired, phone
from tests.page.house import Beating, open_alarm
from tests.records.hostile import HOSTILE
from tests.views.shelf import Loop, book

Scheme = Literal["dark", "light"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for this file; each test has phones of its own."""
    with chromium() as made:
        yield made


@pytest.fixture
def house(filled: tuple[Path, int], tmp_path: Path) -> Iterator[tuple[Beating, Path, int]]:
    """The page, served, with a history, the loop that writes it, and the alarm that has everything."""
    folder, number = tmp_path / "data", filled[1]
    shutil.copytree(filled[0], folder)
    loop = Loop(folder)
    made = Beating(tmp_path, views=views(book(folder), loop.command))
    yield made, folder, number
    made.close()
    loop.close()


def opened(context: BrowserContext, house: tuple[Beating, Path, int], path: str) -> Page:
    """A paired phone that reads this view."""
    page = paired(context, house[0], unlock=False)
    page.goto(house[0].url(path))
    return page


def paths(number: int) -> tuple[str, ...]:
    return "/tonight", "/week", "/month", f"/alarm/{number}", "/alarm/99999"


@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_axe_finds_nothing(browser: Browser, house: tuple[Beating, Path, int], scheme: Scheme) -> None:
    """WCAG 2.2 A and AA and best practices, on each view, dark and light; the banner of a deaf house, too."""
    with phone(browser, bypass=True) as context:
        page = opened(context, house, "/tonight")
        page.emulate_media(color_scheme=scheme)
        for path in paths(house[2]):
            page.goto(house[0].url(path))
            assert findings(page) == [], path
        house[0].post(hearing="deaf", why="the microphone sends only digital silence")
        expect(page.locator("#loud")).to_be_visible(timeout=SOON)
        assert findings(page) == []


def test_the_main_page_leads_to_each_alarms_evidence(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """Two touches: the view, then the alarm; its sound can be played; no console error, no refusal by the policy."""
    with phone(browser) as context:
        page = paired(context, house[0], unlock=False)
        faults: list[str] = []
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: faults.append(str(error)))
        expect(page.locator("#views a")).to_have_text(["Tonight", "Week", "Month"], timeout=SOON)
        page.click("#views a >> text=Week")
        page.wait_for_url(house[0].url("/week"))
        page.click("main a >> text=Wed 1 Apr 2026, 02:10")
        page.wait_for_url(house[0].url(f"/alarm/{house[2]}"))
        page.evaluate("() => { document.querySelector('audio').muted = true; }")
        page.evaluate("() => document.querySelector('audio').play()")
        assert page.evaluate("() => document.querySelector('audio').duration") == pytest.approx(10, abs=0.01)
        assert faults == []


@pytest.mark.parametrize("width", [320, 390, 844])
def test_it_fits_small_and_turned_phones(browser: Browser, house: tuple[Beating, Path, int], width: int) -> None:
    """No sideways scrolling of the page at 320 CSS pixels (WCAG 1.4.10); what is wide scrolls within itself."""
    with phone(browser, width=width, height=390 if width == 844 else 700) as context:
        page = opened(context, house, "/tonight")
        for path in paths(house[2]):
            page.goto(house[0].url(path))
            assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), path
            targets = page.evaluate(
                "() => [...document.querySelectorAll('a, button, input, textarea')].filter(e => e.offsetHeight)"
                ".map(e => e.getBoundingClientRect().height)"
            )
            assert min(targets) >= 24, path  # WCAG 2.2, 2.5.8


def test_nothing_moves(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """With reduced motion or without: no animation, no transition."""
    with phone(browser, motion="reduce") as context:
        page = opened(context, house, "/month")
        for path in paths(house[2]):
            page.goto(house[0].url(path))
            assert page.evaluate("() => document.getAnimations().length") == 0


def test_headings_and_landmarks_are_in_order(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """One h1, no level left out, one main, header, footer; every table has a caption and heads."""
    with phone(browser) as context:
        page = opened(context, house, "/tonight")
        for path in paths(house[2]):
            page.goto(house[0].url(path))
            levels = page.evaluate("() => [...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1])")
            assert levels[0] == 1
            assert levels.count(1) == 1
            assert all(b - a <= 1 for a, b in pairwise(levels))
            for landmark in ("main", "header", "footer"):
                assert page.locator(landmark).count() == 1
            bare = (
                "() => [...document.querySelectorAll('table')].filter(t => !t.caption || !t.querySelector('th')).length"
            )
            assert page.evaluate(bare) == 0


def test_by_keyboard_alone_to_a_note_in_the_history(
    browser: Browser, house: tuple[Beating, Path, int], capsys: pytest.CaptureFixture[str]
) -> None:
    """Tab and keys from tonight to the alarm, to "a false alarm", to a note; then `beepwatch history` has both."""
    with phone(browser) as context:
        page = opened(context, house, "/tonight")
        tab_to(page, f"e => e.pathname === '/alarm/{house[2]}'")
        page.keyboard.press("Enter")
        page.wait_for_url(house[0].url(f"/alarm/{house[2]}"))
        tab_to(page, "e => e.type === 'radio'")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowDown")
        tab_to(page, "e => e.id === 'words'")
        page.keyboard.type("the oven beeped")
        tab_to(page, "e => e.type === 'submit'")
        page.keyboard.press("Enter")
        expect(page.locator("#noted")).to_have_text("Written down.", timeout=SOON)
        expect(page.locator("#notes")).to_be_focused(timeout=SOON)
        expect(page.locator(".said").last).to_have_text("the oven beeped")
    assert main(["history", "--data", str(house[1]), "--since", "2026-03-31"]) == 0
    told = capsys.readouterr().out
    assert "what it was: a false alarm" in told
    assert "the oven beeped" in told


def tab_to(page: Page, wanted: str) -> None:
    """Press Tab until the focus is on what `wanted` (JavaScript) says, each time with a visible mark."""
    for _ in range(60):
        page.keyboard.press("Tab")
        focus = (
            "() => { const e = document.activeElement; return e.type === 'radio' || getComputedStyle(e).outlineStyle"
        )
        assert page.evaluate(f"{focus} === 'solid' || e.tagName === 'AUDIO' || e === document.body; }}")
        if page.evaluate(f"() => ({wanted})(document.activeElement)"):
            return
    raise AssertionError(f"{wanted} cannot be reached by Tab")


def test_hostile_notes_stay_words(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """Written on the phone and shown again: no script runs, no picture is asked for, nothing is turned round."""
    with phone(browser) as context:
        page = opened(context, house, f"/alarm/{house[2]}")
        page.on("dialog", lambda dialog: pytest.fail("a script ran"))
        for words in (HOSTILE[0], HOSTILE[5], HOSTILE[9]):
            page.fill("#words", words)
            page.click("button[type=submit]")
            expect(page.locator("#noted")).to_have_text("Written down.", timeout=SOON)
        assert page.locator("main img, main script").count() == 0
        assert HOSTILE[0] in page.locator(".said").all_inner_texts()
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")


def test_nothing_is_not_sent_and_a_dead_computer_is_told(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """An empty form says what to do; where nobody answers it says that nothing was written, and keeps the words."""
    with phone(browser) as context:
        page = opened(context, house, f"/alarm/{house[2]}")
        page.click("button[type=submit]")
        expect(page.locator("#word")).to_contain_text("Choose what it was")
        context.set_offline(True)
        page.fill("#words", "kept")
        page.click("button[type=submit]")
        expect(page.locator("#word")).to_contain_text("NOT written", timeout=SOON)
        assert page.input_value("#words") == "kept"


def test_an_alarm_takes_the_views_place(browser: Browser, house: tuple[Beating, Path, int]) -> None:
    """Whatever is read, at an alarm the page that wakes is there; it can be gone back from."""
    with phone(browser) as context:
        page = opened(context, house, "/month")
        house[0].post(alarms=(open_alarm(),))
        page.wait_for_url(house[0].url("/"), timeout=SOON)
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (lambda house: house.post(hearing="deaf", why="no sound comes"), "NOT LISTENING: no sound comes"),
        (lambda house: house.hang(), "NOT LISTENING"),
        (lambda house: house.page.pairing.revoke(1, 0.0), "NOT PAIRED"),
        (lambda house: house.close(), "NOT LISTENING. No word from the computer"),
    ],
    ids=["deaf", "hangs", "revoked", "gone"],
)
def test_a_house_that_is_not_listened_to_is_told_on_top(
    browser: Browser, house: tuple[Beating, Path, int], fault: Callable[[Beating], object], words: str
) -> None:
    """In words, for a screen reader at once, and with a way to the page that sounds."""
    with phone(browser) as context:
        page = opened(context, house, "/week")
        expect(page.locator("#loud")).to_be_hidden()
        fault(house[0])
        expect(page.locator("#loud-word")).to_contain_text(words, timeout=SOON)
        assert page.locator("#loud").get_attribute("role") == "alert"
        assert page.locator("#loud a").is_visible()
