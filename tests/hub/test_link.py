"""Against a real mosquitto and its own client tools: what is published, who is noticed to listen, what breaks."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from queue import SimpleQueue

import pytest

from beepwatch.board.board import Board
from beepwatch.board.state import OpenAlarm, State
from beepwatch.channels.way import Tried
from beepwatch.errors import InputError
from beepwatch.hub.link import Broker, Link
from beepwatch.hub.way import HubWay
from beepwatch.settings.model import decode
from beepwatch.waking.actions import Alert
from beepwatch.waking.commands import Command, Going
from tests.hub.broker import PASSWORD, USER, Mosquitto

NOW = datetime.now(UTC)
ALARM = OpenAlarm(7, "lead-disconnect", "high", "Cable alarm", ("Go to Sam now.",), NOW, "waking")
STATE = State(hearing="listening", since=NOW, alarms=(ALARM,), run="abc")
ALERT = Alert((7,), "lead-disconnect", "high", "Cable alarm", ("Go to Sam now.",), False, "Anna")


class Home:
    """A link with its board, and all that came of it."""

    def __init__(self, broker: Broker) -> None:
        self.board = Board()
        self.commands: list[Command] = []
        self.said: list[str] = []
        self.link = Link(broker, self.board, self.commands.append, self.said.append)
        self.tries: SimpleQueue[Tried] = SimpleQueue()
        self.way = HubWay(self.link, self.board, self.tries.put)
        self.board.post(STATE)
        self.link.start()


@contextmanager
def connected(broker: Broker) -> Iterator[Home]:
    home = Home(broker)
    try:
        yield home
    finally:
        home.link.close()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path)
    yield made
    made.stop()


@pytest.fixture
def home(mosquitto: Mosquitto) -> Iterator[Home]:
    with connected(Broker("127.0.0.1", mosquitto.port, tls=False)) as made:
        until(lambda: made.link.up)
        yield made


def until(true: Callable[[], bool], seconds: float = 15.0) -> None:
    """Wait for something that happens in another thread."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)


def lines(process: "subprocess.Popen[str]") -> dict[str, str]:
    """{topic: payload} that mosquitto_sub printed."""
    out, _ = process.communicate(timeout=30)
    return dict(line.split(" ", 1) for line in out.splitlines())


def test_who_comes_late_learns_how_it_stands(mosquitto: Mosquitto, home: Home) -> None:
    """Link, state and alarm are retained; the heartbeat comes by itself."""
    until(lambda: home.board.posted.number > 0)
    time.sleep(0.3)
    told = lines(mosquitto.subscribe("beepwatch/#", 3))
    assert told["beepwatch/link"] == "up"
    assert json.loads(told["beepwatch/state"])["alarms"][0]["pattern"] == "lead-disconnect"
    assert json.loads(told["beepwatch/alarm"])["alarm"] == "abc-7"
    heart = mosquitto.subscribe("beepwatch/heartbeat", 1)
    while heart.poll() is None:  # as the loop does
        home.board.post(STATE)
        time.sleep(0.5)
    assert json.loads(lines(heart)["beepwatch/heartbeat"])["hearing"] == "listening"


def test_a_loop_that_hangs_is_told_as_stuck(mosquitto: Mosquitto, home: Home) -> None:
    """Where nothing is put up for 3 s the next heartbeat says so, and so does the state."""
    until(lambda: home.board.age > 3)
    assert json.loads(lines(mosquitto.subscribe("beepwatch/heartbeat", 1))["beepwatch/heartbeat"])["hearing"] == "stuck"
    assert json.loads(lines(mosquitto.subscribe("beepwatch/state", 1))["beepwatch/state"])["hearing"] == "stuck"


def test_a_change_is_published_at_once(mosquitto: Mosquitto, home: Home) -> None:
    """An alarm that is over is told as over."""
    time.sleep(0.3)
    home.board.post(replace(STATE, alarms=()))
    time.sleep(0.3)
    assert json.loads(lines(mosquitto.subscribe("beepwatch/alarm", 1))["beepwatch/alarm"]) == {"alarm": None}


def test_a_call_that_somebody_takes_is_done(mosquitto: Mosquitto, home: Home) -> None:
    """The ladder's step succeeds where somebody at the broker has subscribed."""
    listener = mosquitto.subscribe("beepwatch/call", 1)
    time.sleep(0.5)
    home.way.alert(ALERT)
    tried = home.tries.get(timeout=10)
    assert tried.ok
    assert (tried.way, tried.who, tried.number) == ("hub", "Anna", 7)
    assert json.loads(lines(listener)["beepwatch/call"])["alarm"] == "abc-7"


def test_a_call_that_nobody_takes_is_noticed(home: Home) -> None:
    """A broker without anybody behind it has woken nobody: the ladder must go on."""
    home.way.alert(ALERT)
    tried = home.tries.get(timeout=10)
    assert not tried.ok
    assert "nobody there listens" in tried.detail


def test_a_broken_link_is_told_and_mended(mosquitto: Mosquitto, home: Home) -> None:
    """The broker dies: a line says so, a call fails; it comes back: a line says so, and all is published anew."""
    mosquitto.stop()
    until(lambda: any("hub is gone" in line for line in home.said))
    home.way.alert(ALERT)
    assert not home.tries.get(timeout=15).ok
    mosquitto.start()
    until(lambda: home.said[-1] == "The hub is connected.", 30)
    time.sleep(0.3)
    assert json.loads(lines(mosquitto.subscribe("beepwatch/alarm", 1))["beepwatch/alarm"])["alarm"] == "abc-7"


def test_an_answer_counts_once_it_names_the_alarm(mosquitto: Mosquitto, home: Home) -> None:
    """ "I am going" from the hub is the same command as from a key."""
    mosquitto.publish("beepwatch/going", json.dumps({"alarm": "abc-7", "at": datetime.now(UTC).isoformat()}))
    until(lambda: bool(home.commands))
    assert home.commands == [Going("", "hub", 7)]


def test_an_old_answer_is_told_and_ignored(mosquitto: Mosquitto, home: Home) -> None:
    """One that waited half a minute somewhere silences nothing."""
    old = datetime.now(UTC) - timedelta(seconds=31)
    mosquitto.publish("beepwatch/going", json.dumps({"alarm": "abc-7", "at": old.isoformat()}))
    until(lambda: any("does not count" in line for line in home.said))
    assert home.commands == []


def test_a_retained_answer_is_ignored(mosquitto: Mosquitto) -> None:
    """An answer that the broker kept from another time is not an answer."""
    fresh = json.dumps({"alarm": "abc-7", "at": datetime.now(UTC).isoformat()})
    mosquitto.publish("beepwatch/going", fresh, retain=True)
    with connected(Broker("127.0.0.1", mosquitto.port, tls=False)) as home:
        until(lambda: any("retained" in line for line in home.said))
        assert home.commands == []


KILLED = """
import sys, time
from beepwatch.board.board import Board
from beepwatch.hub.link import Broker, Link
link = Link(Broker("127.0.0.1", int(sys.argv[1]), tls=False), Board(), print, print)
link.start()
time.sleep(60)
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGSTOP])
def test_the_last_will_says_that_nobody_listens_any_more(mosquitto: Mosquitto, end: signal.Signals) -> None:
    """Killed, the hub learns it at once; frozen, within the keep-alive: under 10 s."""
    ends = mosquitto.subscribe("beepwatch/link", 2, 40)
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(mosquitto.port)], stdout=subprocess.DEVNULL)
    try:
        time.sleep(3)
        begun = time.monotonic()
        process.send_signal(end)
        assert lines(ends)["beepwatch/link"] == "down"
        assert time.monotonic() - begun < 12  # 10 s and the load of a busy machine
    finally:
        process.kill()
        process.wait()


def test_an_ordinary_end_is_told_too(mosquitto: Mosquitto) -> None:
    """A clean disconnect sends no last will, so the end is published."""
    with connected(Broker("127.0.0.1", mosquitto.port, tls=False)) as home:
        until(lambda: home.link.up)
        time.sleep(0.3)
    assert lines(mosquitto.subscribe("beepwatch/link", 1))["beepwatch/link"] == "down"


@pytest.fixture
def secure(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path, secure=True)
    (tmp_path / "password").write_text(f"{PASSWORD}\n")
    yield made
    made.stop()


def test_tls_and_password_are_used(secure: Mosquitto, tmp_path: Path) -> None:
    """With the authority and the right password it connects, and mosquitto_sub reads it by TLS."""
    broker = Broker("127.0.0.1", secure.port, "beepwatch", USER, tmp_path / "password", True, tmp_path / "cert.pem")
    with connected(broker) as home:
        until(lambda: home.link.up)
        time.sleep(0.3)
        assert lines(secure.subscribe("beepwatch/link", 1))["beepwatch/link"] == "up"


def test_a_wrong_password_is_told(secure: Mosquitto, tmp_path: Path) -> None:
    """Refused: one line with what to do, and it never counts as connected."""
    (tmp_path / "wrong").write_text("wrong\n")
    broker = Broker("127.0.0.1", secure.port, "beepwatch", USER, tmp_path / "wrong", True, tmp_path / "cert.pem")
    with connected(broker) as home:
        until(lambda: any("Look at user and password" in line for line in home.said))
        assert not home.link.up


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # paho leaves that socket to be collected
def test_another_authority_is_not_believed(secure: Mosquitto, tmp_path: Path) -> None:
    """A broker whose certificate the system's authorities do not know gets nothing, not even the password."""
    with connected(Broker("127.0.0.1", secure.port, "beepwatch", USER, tmp_path / "password", True, None)) as home:
        until(lambda: any("cannot be reached" in line or "gone" in line for line in home.said))
        assert not home.link.up


def test_files_that_cannot_be_read_are_told_at_the_start(tmp_path: Path) -> None:
    """A missing password file or certificate is one line, before anything listens."""
    for broker in (
        Broker("localhost", 1, user="x", password_file=tmp_path / "none"),
        Broker("localhost", 1, ca_file=tmp_path / "none"),
    ):
        with pytest.raises(InputError, match=r"hub\."):
            Link(broker, Board(), print, print)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ('host = "hub.local"\ntls = "no"', "only for a broker on this computer"),
        ('host = "hub.local"', "needs hub.user"),
        ('host = "hub.local"\nuser = "a"', "needs hub.user"),
        ('topic = "a/#"', "hub.topic"),
        ("port = 0", "hub.port"),
    ],
)
def test_settings_that_would_leave_it_open_are_refused(table: str, told: str) -> None:
    """Beyond this computer only with TLS, a user and a password; no wildcard as a topic."""
    with pytest.raises(InputError, match=told):
        decode(f"[hub]\n{table}\n")
