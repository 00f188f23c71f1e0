"""The page live: real sound in the virtual room, the real program, a real browser; and a cable that is cut."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from beepwatch.channels.tone import FREQUENCY
from beepwatch.page.names import host_name
from tests.live import wires
from tests.live.bedside import Ears
from tests.live.listening import Listening
from tests.live.room import Room
from tests.page.browser import CHROMIUM, SOON, chromium, lacking, phone

pytestmark = pytest.mark.live
ROOT = Path(__file__).parents[2]
LINK = re.compile(r"'(https://\S+/pair#[0-9A-Z]+)~[0-9a-f]{64}'")


def link(room_env: Mapping[str, str], data: Path, *options: str) -> str:
    """The link of a fresh code, as `beepwatch paired --new` prints it."""
    told = subprocess.run(
        [sys.executable, "-m", "beepwatch", "paired", "--new", "--data", str(data), *options],
        env=room_env, cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = LINK.search(told.stdout)
    assert found is not None, told.stdout
    return found[1]


def pair(page: Page, address: str, name: str) -> None:
    """As a person does, and the one tap; a page that did not load whole says so, and is loaded again."""
    lost: list[str] = []
    page.on("requestfailed", lambda request: lost.append(f"{request.url}: {request.failure}"))
    page.on("response", lambda answer: lost.append(f"{answer.url}: {answer.status}") if answer.status >= 400 else None)
    page.goto(address)
    if not page.input_value("#code"):
        expect(page.locator("#word")).to_contain_text("load it again")
        page.reload()
    assert page.input_value("#code"), lost
    page.fill("#name", name)
    page.click("button[type=submit]")
    expect(page.locator("#line")).to_have_text("Listening", timeout=SOON)
    page.click("#unlock-now")
    expect(page.locator("#phone")).to_contain_text("Sound is on", timeout=SOON)


def loudest_hertz(room_sound: "np.ndarray[tuple[int], np.dtype[np.float64]]", rate: int) -> float:
    """The frequency of the strongest line."""
    power = np.abs(np.fft.rfft(room_sound * np.hanning(len(room_sound))))
    return float(np.argmax(power) * rate / len(room_sound))


def free_port() -> int:
    """A port that is free now."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def test_a_sound_in_the_room_wakes_at_the_phone(
    room: Room, listen: Callable[..., Listening], lead: Path, hiss: Path, tmp_path: Path
) -> None:
    """Beeps in the room; the phone shows them, sounds at 520 Hz by its own speaker, and answers, pauses and
    goes on. Then the program is stopped (SIGSTOP): the phone says so within 10 s, and sounds; both go on together."""
    place = f"127.0.0.1:{free_port()}"
    room.play(hiss)
    listening = listen("--silent", "--page", place)
    listening.expect("The page, for paired devices", 20)
    ears = Ears(room)
    with chromium(room.env, sound=True) as browser, phone(browser) as context:
        page = context.new_page()
        pair(page, link(room.env, tmp_path / "data", "--page", place), "Anna")
        assert not any("/pair#" in told for told in listening.lines)  # it could end up in a log
        room.play(lead)
        expect(page.locator("#line")).to_have_text("ALARM", timeout=30_000)
        shown = time.monotonic()
        listening.expect("ALARM: lead-disconnect", 1)
        assert ears.first_sound(shown - 1.0, 10) < shown + 5
        heard = ears.between(shown + 1.0, shown + 4.0)
        assert abs(loudest_hertz(heard, 48_000) - FREQUENCY) < 0.1 * FREQUENCY
        page.click("#going")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
        listening.expect("Anna is going", 5)

        page.click("#pause-more summary")
        page.click("#pause-now")
        expect(page.locator("#line")).to_contain_text("NOT LISTENING until", timeout=SOON)
        page.click("#resume")
        expect(page.locator("#line")).not_to_contain_text("NOT LISTENING", timeout=SOON)

        listening.process.send_signal(signal.SIGSTOP)
        stopped = time.monotonic()
        expect(page.locator("#line")).to_contain_text("NOT LISTENING", timeout=20_000)
        assert time.monotonic() - stopped < 10
        assert page.evaluate("() => alarm.kind") == "lost"
        assert ears.first_sound(time.monotonic() - 0.5, 10) < stopped + 15
        listening.process.send_signal(signal.SIGCONT)
        expect(page.locator("#line")).not_to_contain_text("NOT LISTENING", timeout=20_000)
    ears.close()
    assert listening.end() == 0


def test_an_alarm_of_tonight_is_opened_heard_and_noted(
    room: Room, listen: Callable[..., Listening], lead: Path, hiss: Path, tmp_path: Path
) -> None:
    """Beeps in the room, answered at the phone; its evidence is read there while it listens on, the clip is played, and
    what is written on the phone is in `beepwatch history`."""
    place = f"127.0.0.1:{free_port()}"
    room.play(hiss)
    listening = listen("--silent", "--page", place)
    listening.expect("The page, for paired devices", 20)
    with chromium(room.env) as browser, phone(browser) as context:
        page = context.new_page()
        pair(page, link(room.env, tmp_path / "data", "--page", place), "Anna")
        room.play(lead)
        expect(page.locator("#line")).to_have_text("ALARM", timeout=30_000)
        page.click("#going")
        expect(page.locator("#line")).to_have_text("Anna is going", timeout=SOON)
        page.click("#views a >> text=Tonight")
        until = time.monotonic() + 40
        while "when this was read, it listened" not in page.inner_text("main") and time.monotonic() < until:
            page.wait_for_timeout(1000)  # how far was heard is written each ten seconds
            page.reload()
        assert "when this was read, it listened" in page.inner_text("main")
        page.click("main a >> text=lead disconnect")
        expect(page.locator("main")).to_contain_text("by Anna (page)")
        until = time.monotonic() + 40
        while page.locator("audio").count() == 0 and time.monotonic() < until:
            page.wait_for_timeout(1000)  # the clip is cut 8 s after the alarm was named
            page.reload()
        page.evaluate("() => { document.querySelector('audio').muted = true; }")
        page.evaluate("() => document.querySelector('audio').play()")
        assert page.evaluate("() => document.querySelector('audio').duration") > 5
        page.check("#what-cable")
        page.fill("#words", "the plug had slipped")
        page.click("button[type=submit]")
        expect(page.locator("#noted")).to_have_text("Written down.", timeout=SOON)
    assert listening.end() == 0
    told = subprocess.run(
        [sys.executable, "-m", "beepwatch", "history", "--data", str(tmp_path / "data")],
        env=room.env, cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert "what it was: a cable or lead" in told
    assert "note 1: the plug had slipped" in told


class Program:
    """`beepwatch watch --page` in a namespace, with a recording in real time for a room."""

    def __init__(self, cable: wires.Cable, data: Path, *options: str) -> None:
        night = ROOT / "samples" / "night.flac"
        command = [sys.executable, "-m", "beepwatch", "watch", str(night), "--data", str(data)]
        command += ["--real-time", "--silent", "--page"]
        self.output = data.parent / f"said-{time.monotonic_ns()}"
        with self.output.open("w") as file:
            self.process = subprocess.Popen(
                cable.inside(cable.a, *command, *options), cwd=ROOT, stdout=file, stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL, env=os.environ | {"PYTHONUNBUFFERED": "1"},
            )  # fmt: skip
        until = time.monotonic() + 30
        while "The page, for paired devices" not in self.said and time.monotonic() < until:
            assert self.process.poll() is None, self.said
            time.sleep(0.1)

    @property
    def said(self) -> str:
        return self.output.read_text()

    def close(self) -> None:
        self.process.kill()
        self.process.wait(timeout=10)


@pytest.fixture
def cable() -> Iterator[wires.Cable]:
    """Two namespaces; skipped with a reason where that cannot be, never in CI."""
    lack = wires.missing()
    if lack is not None:
        lacking(lack)
    with wires.cable() as made:
        yield made


@pytest.fixture
def started(cable: wires.Cable) -> Iterator[Callable[[Path], Program]]:
    """Starts the program in the listener's namespace; what still runs at the end is closed."""
    running: list[Program] = []

    def begin(data: Path) -> Program:
        running.append(Program(cable, data))
        return running[-1]

    yield begin
    for program in running:
        program.close()


def test_a_cut_cable_is_noticed_at_the_phone_and_heals(
    cable: wires.Cable, started: Callable[[Path], Program], tmp_path: Path
) -> None:
    """Two network namespaces: the cable is cut, the phone says so within 10 s by its own clock; mended, it goes on by
    itself; the program is killed and started anew: the same; a restart of it needs no new pairing."""
    (tmp_path / "data").mkdir()
    program = started(tmp_path / "data")
    with chromium(executable=cable.script(cable.b, CHROMIUM, tmp_path)) as browser, phone(browser) as context:
        page = context.new_page()
        pair(page, re.sub("//[^:/]+", f"//{wires.LISTENER}", link(os.environ, tmp_path / "data")), "Anna")
        cable.cut()
        cut = time.monotonic()
        expect(page.locator("#line")).to_have_text("NOT LISTENING", timeout=20_000)
        assert time.monotonic() - cut < 10
        assert page.evaluate("() => alarm.kind") == "lost"
        time.sleep(3.0)  # the browser may notice by itself meanwhile: that must change nothing
        expect(page.locator("#line")).to_have_text("NOT LISTENING")
        cable.mend()
        expect(page.locator("#line")).not_to_have_text("NOT LISTENING", timeout=30_000)
        program.close()
        expect(page.locator("#line")).to_have_text("NOT LISTENING", timeout=20_000)
        program = started(tmp_path / "data")
        assert "To pair a device" in program.said
        expect(page.locator("#line")).to_have_text("Listening", timeout=30_000)


def test_a_browser_that_took_the_certificate_over_does_not_warn(
    cable: wires.Cable, started: Callable[[Path], Program], tmp_path: Path
) -> None:
    """The phone's one-time step, in Chromium's own store: the page opens without a warning, by number and by name. Then
    the router gives out another number: by name all goes on, pairing and certificate too; by the new number the browser
    warns, for the certificate cannot vouch for it, and the program says so."""
    data, home, name = tmp_path / "data", tmp_path / "home", host_name()
    data.mkdir()
    (home / ".pki" / "nssdb").mkdir(parents=True)
    program = started(data)
    store = f"sql:{home / '.pki' / 'nssdb'}"
    wires.run("certutil", "-d", store, "-N", "--empty-password")
    wires.run("certutil", "-d", store, "-A", "-t", "C,,", "-n", "home", "-i", str(data / "page" / "authority.crt"))
    cable.name(cable.b, name, wires.LISTENER)
    address = link(os.environ, data)
    with chromium({"HOME": str(home)}, executable=cable.script(cable.b, CHROMIUM, tmp_path)) as browser:
        page = browser.new_context(ignore_https_errors=False).new_page()
        answer = page.goto(f"https://{wires.LISTENER}:8443/pair")
        assert answer is not None
        assert answer.status == 200
        pair(page, address, "Anna")
        assert page.url == f"https://{name}:8443/"
        program.close()
        cable.move("10.77.0.9")
        cable.name(cable.b, name, "10.77.0.9")
        program = started(data)
        assert "10.77.0.9 is new since" in program.said
        expect(page.locator("#line")).to_have_text("Listening", timeout=60_000)
        with pytest.raises(Exception, match="ERR_CERT_"):
            page.goto("https://10.77.0.9:8443/pair")
