"""Signs of life by systemd's notify protocol, read at a real socket and held against `systemd-notify` itself."""

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from beepwatch.watch.guard import Mailbox
from beepwatch.watch.pulse import Notify, Pulse, notify_of
from tests.watch.hand import Bedroom, ScriptedRecogniser


class Reader:
    """The service manager's end of the protocol."""

    def __init__(self, name: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(name)
        self.socket.settimeout(10)

    def message(self) -> list[str]:
        """The next datagram, line by line."""
        return self.socket.recv(4096).decode().splitlines()

    def waiting(self) -> list[list[str]]:
        """All that has come."""
        self.socket.setblocking(False)
        found = []
        try:
            while True:
                found.append(self.message())
        except BlockingIOError:
            return found


@pytest.fixture
def reader(tmp_path: Path) -> Iterator[Reader]:
    made = Reader(str(tmp_path / "notify"))
    yield made
    made.socket.close()


def test_the_first_block_says_ready_and_each_second_has_a_sign(reader: Reader, tmp_path: Path) -> None:
    """READY=1 once, WATCHDOG=1 at most each second, STATUS where it changes."""
    notify = Notify(str(tmp_path / "notify"))
    pulse = Pulse(notify.send)
    for tick in range(31):
        pulse.heard()
        pulse.look(100.0 + tick / 10, None)
    assert reader.waiting() == [["READY=1", "WATCHDOG=1", "STATUS=Listening."], *[["WATCHDOG=1"]] * 3]
    pulse.look(104.0, "no sound came")
    pulse.stopping()
    assert reader.waiting() == [["X_BEEPWATCH=alarming", "STATUS=NOT LISTENING: no sound came."], ["STOPPING=1"]]
    notify.close()


@pytest.mark.parametrize("lines", [["READY=1", "STATUS=Listening."], ["WATCHDOG=1"]])
def test_the_messages_are_those_of_systemd_notify(reader: Reader, tmp_path: Path, lines: list[str]) -> None:
    """Byte by byte as systemd's own program sends them (it may add its main process)."""
    if shutil.which("systemd-notify") is None:
        assert os.environ.get("CI") != "true", "systemd-notify is missing"
        pytest.skip("systemd-notify is missing")
    env = os.environ | {"NOTIFY_SOCKET": str(tmp_path / "notify")}
    options = ["--no-block"] if "no-block" in _help() else []
    words = ["--ready" if line == "READY=1" else line for line in lines]
    words = [f"--status={line[7:]}" if line.startswith("STATUS=") else line for line in words]
    subprocess.run(["systemd-notify", *options, *words], env=env, check=True, timeout=10)
    theirs = {line for line in reader.message() if not line.startswith("MAINPID=")}
    notify = Notify(str(tmp_path / "notify"))
    notify.send(*lines)
    notify.close()
    assert theirs == set(reader.message()) == set(lines)


def _help() -> str:
    return subprocess.run(["systemd-notify", "--help"], capture_output=True, text=True, check=True).stdout


def test_an_abstract_socket_is_one_too() -> None:
    """Its name begins with @, as some service managers give it."""
    name = f"beepwatch-test-{os.getpid()}"
    reader = Reader(f"\0{name}")
    notify = Notify(f"@{name}")
    notify.send("WATCHDOG=1")
    assert reader.message() == ["WATCHDOG=1"]
    notify.close()
    reader.socket.close()


def test_nobody_there_is_known_and_harms_nothing(tmp_path: Path) -> None:
    """The second process was killed: told by `gone`, and over when it is back."""
    notify = Notify(str(tmp_path / "notify"))
    notify.send("WATCHDOG=1")
    assert notify.gone
    reader = Reader(str(tmp_path / "notify"))
    notify.send("WATCHDOG=1")
    assert not notify.gone
    notify.close()
    reader.socket.close()


def test_the_socket_is_taken_out_of_the_environment() -> None:
    """Children (a voice, a family's command) are not to send signs of life."""
    env = {"NOTIFY_SOCKET": "/nowhere"}
    made = notify_of(env)
    assert made is not None
    made.close()
    assert env == {}
    assert notify_of(env) is None


def test_the_mailbox_reads_what_a_pulse_sends() -> None:
    """Our own second process takes the same messages."""
    mail = Mailbox()
    notify = Notify(mail.name)
    pulse = Pulse(notify.send)
    pulse.heard()
    pulse.look(1.0, None)
    assert mail.take() == ["READY=1", "WATCHDOG=1", "STATUS=Listening."]
    assert mail.take() == []
    notify.close()
    mail.close()


def test_signs_of_life_come_from_the_loop_only_while_it_hears(tmp_path: Path) -> None:
    """No block, or a recogniser that fails on each: no WATCHDOG=1, and once it is told it says alarming."""
    sent: list[tuple[float, tuple[str, ...]]] = []
    bedroom = Bedroom(tmp_path, [("sound", 5), ("nothing", 20), ("sound", 5), ("break", 0), ("sound", 10)])
    bedroom.watch._pulse = Pulse(lambda *lines: sent.append((bedroom.hand.now - 1000.0, lines)))
    bedroom.calls["break"] = lambda: setattr(bedroom.watch._ears, "_recogniser", ScriptedRecogniser([], [0.0] * 99))
    bedroom.watch._ears._make = lambda: ScriptedRecogniser([], [0.0] * 99)
    bedroom.run()
    alive = [at for at, lines in sent if "WATCHDOG=1" in lines]
    assert not [at for at in alive if 5.3 < at < 25.0]
    assert not [at for at in alive if at > 31.3]
    assert len(alive) >= 9
    alarming = [at for at, lines in sent if "X_BEEPWATCH=alarming" in lines]
    assert min(alarming) == pytest.approx(10.2, abs=0.5)
    assert sent[-1][1] == ("STOPPING=1",)
