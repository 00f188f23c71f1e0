"""The page in a real browser: what a person sees, presses and hears of; what it says when nobody speaks to it."""

import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from beepwatch.board.state import Asked, Happened
from beepwatch.waking.commands import Found
from tests.page.browser import SOON, chromium, findings, paired, phone
from tests.page.house import MESSAGES, NIGHT, Beating, open_alarm


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for this file; each test has phones of its own."""
    with chromium() as made:
        yield made


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Beating]:
    """The page, served, and its loop."""
    made = Beating(tmp_path)
    yield made
    made.close()


def line(page: Page) -> str:
    """The one line."""
    return page.locator("#line").inner_text()


def test_pair_see_an_alarm_and_answer_it(browser: Browser, house: Beating) -> None:
    """From the QR code's link to "Anna is going", with the message read out and the code gone from the address."""
    with phone(browser) as context:
        page = paired(context, house)
        assert line(page) == "Listening"
        assert "#" not in page.url
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        for words in open_alarm().lines:
            expect(page.locator("#cards")).to_contain_text(words)
            expect(page.locator("#loud")).to_contain_text(words)
        assert page.evaluate("() => alarm.kind") == "alarm"
        page.click("#going")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
        expect(page.locator("#going")).to_be_hidden()
        assert page.evaluate("() => alarm.kind") == ""


def test_a_page_that_did_not_load_whole_says_what_to_do(browser: Browser, house: Beating) -> None:
    """The script is lost on the way, as where a phone changes its network: the page asks to be loaded again."""
    with phone(browser) as context:
        page = context.new_page()
        page.route("**/pair.js", lambda route: route.abort("failed"))
        page.goto(f"{house.url('/pair')}#{house.code()}")
        expect(page.locator("#word")).to_contain_text("load it again")
        page.unroute("**/pair.js")
        page.reload()
        expect(page.locator("#word")).to_be_empty()
        assert page.input_value("#code")


def test_two_phones_both_learn_who_goes(browser: Browser, house: Beating) -> None:
    """Ben's phone falls silent and names Anna; a third one without pairing learns nothing."""
    with phone(browser) as one, phone(browser) as two, phone(browser) as three:
        anna, ben = paired(one, house, "Anna"), paired(two, house, "Ben")
        house.post(alarms=(open_alarm(),))
        for page in (anna, ben):
            expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        anna.click("#going")
        for page in (anna, ben):
            expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
            assert page.evaluate("() => alarm.kind") == ""
        stranger = three.new_page()
        answer = stranger.goto(house.url("/"))
        assert answer is not None
        assert answer.status == 401
        assert "Sam" not in stranger.content()


def test_an_alarm_counts_as_shown_when_the_page_says_so(browser: Browser, house: Beating) -> None:
    """Visible and sounding, by name; nothing before."""
    with phone(browser) as context:
        paired(context, house)
        assert house.page.watchers.of("r1:7") == []
        house.post(alarms=(open_alarm(7),))
        (seen,) = house.page.watchers.shown("r1:7", 15.0)
        assert (seen.device, seen.visible, seen.sounding) == ("Anna", True, True)


def test_without_a_word_for_five_seconds_it_says_so_and_sounds(browser: Browser, tmp_path: Path) -> None:
    """The server is gone: NOT LISTENING within 10 s, with sound; it comes back on the same port: listening again."""
    house = Beating(tmp_path)
    with phone(browser) as context:
        page = paired(context, house)
        port = house.page.port
        house.close()
        gone = time.monotonic()
        expect(page.locator("#line")).to_have_text("NOT LISTENING", timeout=SOON)
        assert time.monotonic() - gone < 10
        assert page.evaluate("() => alarm.kind") == "lost"
        assert "NOT LISTENING" in page.locator("#loud").inner_text()
        again = Beating(tmp_path, port)
        expect(page.locator("#line")).to_have_text("Listening", timeout=SOON)
        assert page.evaluate("() => alarm.kind") == ""
        again.close()


def test_a_loop_that_hangs_is_not_taken_for_listening(browser: Browser, house: Beating) -> None:
    """The server lives and the connection stands, but the loop has said nothing for some seconds."""
    with phone(browser) as context:
        page = paired(context, house)
        house.hang()
        expect(page.locator("#line")).to_have_text("NOT LISTENING", timeout=SOON)
        expect(page.locator("#under")).to_contain_text("the program itself hangs", ignore_case=True)


def test_a_phone_that_is_shut_out_says_so(browser: Browser, house: Beating) -> None:
    """Revoked at the computer: within seconds it shows nothing more, and says why, and sounds."""
    with phone(browser) as context:
        page = paired(context, house)
        assert house.page.pairing.revoke(1, time.time())
        expect(page.locator("#line")).to_have_text("NOT PAIRED", timeout=SOON)
        assert page.evaluate("() => alarm.kind") == "lost"
        house.post(alarms=(open_alarm(),))
        time.sleep(1.0)  # that nothing comes can only be waited for
        assert line(page) == "NOT PAIRED"


def test_the_alarm_on_screen_outlives_the_connection(browser: Browser, tmp_path: Path) -> None:
    """The network goes while an alarm is open: both are said, and "I am going" owns up that it was not sent."""
    house = Beating(tmp_path)
    with phone(browser) as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        house.close()
        expect(page.locator("#line")).to_have_text("ALARM. NOT LISTENING", timeout=SOON)
        page.click("#going")
        expect(page.locator("#sent")).to_contain_text("NOT SENT", timeout=SOON)
        assert page.evaluate("() => alarm.kind") == "alarm"


def test_pause_and_listen_again(browser: Browser, house: Beating) -> None:
    """Two steps to pause, so that no sleeve does it; then large letters, and one button back."""
    with phone(browser) as context:
        page = paired(context, house)
        page.click("#pause-more summary")
        page.select_option("#purpose", "bath")
        page.click("#pause-now")
        for _ in range(100):
            if house.commands:
                break
            time.sleep(0.05)
        house.post(hearing="paused", paused_until=NIGHT + timedelta(minutes=30))
        expect(page.locator("#line")).to_have_text("NOT LISTENING until 02:44", timeout=SOON)
        page.click("#resume")
        expect(page.locator("#pause-word")).to_have_text("", timeout=SOON)
        kinds = [type(one).__name__ for one in house.commands]
        assert kinds == ["Pause", "Resume"]


def test_one_tap_unlocks_sound_screen_and_vibration(browser: Browser, house: Beating) -> None:
    """Before it nothing can sound, and the page says so; after it the alarm sounds, shakes, and the screen stays on."""
    with phone(browser) as context:
        context.add_init_script("window.shaken = []; Navigator.prototype.vibrate = (how) => shaken.push(how) > 0")
        page = paired(context, house, unlock=False)
        assert page.locator("#unlock").is_visible()
        assert page.evaluate("() => alarm.ready") is False
        page.click("#unlock-now")
        expect(page.locator("#phone")).to_have_text("Sound is on. The screen stays on.", timeout=SOON)
        expect(page.locator("#unlock")).to_be_hidden()
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        assert [400, 200, 400] in page.evaluate("() => shaken")
        assert page.evaluate("() => alarm.until > alarm.context.currentTime")  # pulses are planned ahead


def test_a_page_that_was_held_back_owns_up(browser: Browser, house: Beating) -> None:
    """Halted for 7 s, as behind a lock screen: it confirms nothing meanwhile, and says for how long when it is back."""
    with phone(browser) as context:
        page = paired(context, house)
        tool = context.new_cdp_session(page)
        tool.send("Debugger.enable")
        tool.send("Debugger.pause")
        house.post(alarms=(open_alarm(9),))
        assert house.page.watchers.shown("r1:9", 7.0) == []
        tool.send("Debugger.resume")
        expect(page.locator("#slept")).to_contain_text("held the page back", timeout=SOON)
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)


def test_a_slow_line_is_no_lost_one(browser: Browser, house: Beating) -> None:
    """1 s there and back and 8 kB/s, far below any home network: the alarm comes, and nothing cries wolf meanwhile."""
    with phone(browser) as context:
        page = paired(context, house)
        slow = {"offline": False, "latency": 1000, "downloadThroughput": 8000, "uploadThroughput": 8000}
        tool = context.new_cdp_session(page)
        tool.send("Network.enable")
        tool.send("Network.emulateNetworkConditions", slow)
        page.reload()
        expect(page.locator("#line")).to_have_text("Listening", timeout=3 * SOON)
        page.evaluate("() => { window.lines = []; setInterval(() => lines.push(line.textContent), 100) }")
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        page.click("#going")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
        assert set(page.evaluate("() => lines")) <= {"Listening", "ALARM", "Anna is going"}


def test_a_drill_is_marked_as_one(browser: Browser, house: Beating) -> None:
    """In the one line, on the card and for a screen reader; a real alarm beside it wins the line."""
    with phone(browser) as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(drill=True),))
        expect(page.locator("#line")).to_have_text("DRILL", timeout=SOON)
        expect(page.locator("#cards")).to_contain_text("DRILL. Not a real alarm.")
        expect(page.locator("#loud")).to_contain_text("Drill.")
        house.post(alarms=(open_alarm(2), open_alarm(drill=True)))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)


def test_its_own_trouble_is_no_alarm_of_the_device(browser: Browser, house: Beating) -> None:
    """A technical condition that does not stop the hearing is a WARNING, sounds the other way, and can be answered."""
    with phone(browser) as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(-2, "margin-low"),))
        expect(page.locator("#line")).to_have_text("WARNING", timeout=SOON)
        expect(page.locator("#under")).to_have_text(MESSAGES.title("margin-low"))
        assert page.evaluate("() => alarm.kind") == "lost"
        page.click("#going")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
        house.post(hearing="deaf", why="no sound came", alarms=(open_alarm(-3, "cannot-hear-hung"),))
        expect(page.locator("#line")).to_have_text("NOT LISTENING", timeout=SOON)
        expect(page.locator("#going")).to_be_visible()


def test_what_it_was_is_asked_later(browser: Browser, house: Beating) -> None:
    """After the alarm is over one tap tells what it was; the loop gets it with the device's name."""
    with phone(browser) as context:
        page = paired(context, house)
        house.post(asked=(Asked(1, "Cable alarm"),))
        page.click("#questions button:has-text('False alarm')")
        expect(page.locator("#questions")).to_contain_text("False alarm: noted", timeout=SOON)
        assert house.commands == [Found(1, "false-alarm", "Anna", "page")]


def test_nothing_is_kept_but_the_cookie(browser: Browser, house: Beating) -> None:
    """No storage of any kind after a night's use, and the cookie is out of reach of scripts."""
    with phone(browser) as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        kept = page.evaluate(
            "async () => [localStorage.length, sessionStorage.length, (await indexedDB.databases()).length,"
            " (await caches.keys()).length, (await navigator.serviceWorker.getRegistrations()).length, document.cookie]"
        )
        assert kept == [0, 0, 0, 0, 0, ""]
        (cookie,) = context.cookies()
        assert (cookie["name"], cookie["httpOnly"], cookie["secure"], cookie["sameSite"]) == (
            "__Host-beepwatch", True, True, "Strict",
        )  # fmt: skip


def test_hostile_names_and_events_stay_text(browser: Browser, house: Beating) -> None:
    """Markup in a device's name or in an event is shown as it is written, and runs nowhere."""
    with phone(browser) as context:
        faults: list[str] = []
        evil = "<img src=x onerror=alert(1)>"
        page = paired(context, house, evil)
        page.on("pageerror", lambda error: faults.append(str(error)))
        house.post(alarms=(open_alarm(),), events=(Happened(NIGHT, f"\u202e{evil}"),))
        page.click("#going")
        expect(page.locator("#line")).to_contain_text(evil, timeout=SOON)
        expect(page.locator("#events")).to_contain_text(evil)
        assert page.locator("img").count() == 0
        assert faults == []


def show(house: Beating, state: str) -> None:
    """Bring about what is to be looked at."""
    if state == "alarm":
        house.post(alarms=(open_alarm(), open_alarm(2, "backup-battery", drill=True)))
    elif state == "answered":
        house.post(alarms=(open_alarm(),))
    elif state == "paused":
        house.post(hearing="paused", paused_until=NIGHT + timedelta(minutes=30))
    elif state == "lost":
        house.post(hearing="deaf", why="no sound came from the microphone")


@pytest.mark.parametrize("bright", [False, True], ids=["dim", "bright"])
@pytest.mark.parametrize("state", ["locked", "rest", "alarm", "answered", "paused", "lost"])
def test_axe_finds_nothing(browser: Browser, house: Beating, state: str, bright: bool) -> None:
    """WCAG 2.2 AA by axe-core in each state, dim and bright."""
    with phone(browser, motion="reduce", bypass=True) as context:
        page = paired(context, house, unlock=state != "locked")
        if bright:
            page.click("#light")
        show(house, state)
        expect(page.locator("html")).to_have_attribute(
            "data-state", {"locked": "rest", "answered": "alarm"}.get(state, state), timeout=SOON
        )
        if state == "answered":
            page.click("#going")
            expect(page.locator("html")).to_have_attribute("data-state", "answered", timeout=SOON)
        assert findings(page) == []


def test_axe_finds_nothing_while_pairing(browser: Browser, house: Beating) -> None:
    """The pairing page too."""
    with phone(browser, bypass=True) as context:
        page = context.new_page()
        page.goto(f"{house.url('/pair')}#{house.code()}")
        assert findings(page) == []


def test_by_keyboard_alone(browser: Browser, house: Beating) -> None:
    """Pair, unlock and answer without a touch: every control is reached by Tab, with a visible focus."""
    with phone(browser) as context:
        page = context.new_page()
        page.goto(f"{house.url('/pair')}#{house.code()}")
        page.focus("#name")
        page.keyboard.type("Anna")
        page.keyboard.press("Enter")
        page.wait_for_url(house.url("/"))
        expect(page.locator("#line")).to_have_text("Listening", timeout=SOON)
        tab_to(page, "unlock-now")
        page.keyboard.press("Enter")
        expect(page.locator("#phone")).to_contain_text("Sound is on", timeout=SOON)
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        tab_to(page, "going")
        assert page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle") == "solid"
        page.keyboard.press("Space")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)


def tab_to(page: Page, name: str) -> None:
    """Press Tab until this control has the focus."""
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.id") == name:
            return
    raise AssertionError(f"{name} cannot be reached by Tab")


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_nothing_moves_for_whom_it_should_not(browser: Browser, house: Beating, motion: str) -> None:
    """With reduced motion no animation runs; else one, each 2 s: far from three flashes a second (WCAG 2.3.1)."""
    with phone(browser, motion="reduce" if motion == "reduce" else "no-preference") as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        lengths = page.evaluate("() => document.getAnimations().map(a => a.effect.getTiming().duration)")
        assert lengths == ([] if motion == "reduce" else [2000])


@pytest.mark.parametrize("width", [320, 390, 844])
def test_it_fits_small_and_turned_phones(browser: Browser, house: Beating, width: int) -> None:
    """No sideways scrolling at 320 CSS pixels (WCAG 1.4.10); the line is at least 2.5 rem; buttons are 48 px high."""
    with phone(browser, width=width, height=390 if width == 844 else 700) as context:
        page = paired(context, house)
        house.post(alarms=(open_alarm(),))
        expect(page.locator("#line")).to_have_text("ALARM", timeout=SOON)
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
        assert page.evaluate("() => parseFloat(getComputedStyle(document.getElementById('line')).fontSize)") >= 40
        heights = page.evaluate(
            "() => [...document.querySelectorAll('button')].map(b => b.offsetHeight).filter(h => h > 0)"
        )
        assert min(heights) >= 48


def test_the_words_are_those_of_the_messages(browser: Browser, house: Beating) -> None:
    """The caution stands below every state, and so do the words on what a locked phone cannot do."""
    with phone(browser) as context:
        page = paired(context, house)
        for state in ("rest", "alarm", "paused", "lost"):
            show(house, state)
            expect(page.locator("html")).to_have_attribute("data-state", state, timeout=SOON)
            assert page.locator("#caution").inner_text() == MESSAGES.caution
            assert page.locator("text=A phone that is locked stops the page").is_visible()
            house.post(alarms=(), hearing="listening", why="", paused_until=None)
