"""The second process for real: the first is killed or stopped, sound comes to the bedside, and listening goes on."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.live.bedside import Ears
from tests.live.listening import Listening
from tests.live.room import Room

pytestmark = pytest.mark.live
LIMIT = 10.0
"""s to the technical alarm."""


@pytest.fixture
def ears(room: Room) -> Iterator[Ears]:
    made = Ears(room)
    yield made
    made.close()


def first_process(guard: int) -> int:
    """The process that listens: the guard's child."""
    (child,) = Path(f"/proc/{guard}/task/{guard}/children").read_text().split()
    return int(child)


def listening_again(listening: Listening, old: int, seconds: float) -> int:
    """Wait until another first process listens; return it."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if "".join(listening.lines).count("Listening to 'pulse'") >= 2:
            break
        time.sleep(0.1)  # its lines are read by another thread
    now = first_process(listening.process.pid)
    assert now != old
    return now


def revived(number: signal.Signals, hiss: Path, folder: Path) -> float:
    """s from the fault to sound at the bedside; afterwards it listens again, and a person's end is an end."""
    room = Room()
    room.play(hiss)
    ears, listening = Ears(room), Listening(room, folder, "--device", "pulse", "--guarded")
    try:
        listening.expect("Listening to 'pulse'", 25)
        time.sleep(2.0)  # signs of life
        child = first_process(listening.process.pid)
        began = time.monotonic()
        os.kill(child, number)
        sounded = ears.first_sound(began, LIMIT) - began
        listening.expect("I cannot hear the room: the program has stopped", 1)
        listening_again(listening, child, 40)
        listening.expect("the program listens again", 30)
        print(f"{number.name}: {sounded:.1f} s to the sound, {time.monotonic() - began:.1f} s to listening again")
        assert listening.end(signal.SIGTERM, seconds=20) == 0
    finally:
        ears.close()
        listening.close()
        room.close()
    return sounded


@pytest.mark.usefixtures("room")
def test_a_first_process_that_is_killed_or_hangs_is_sounded_and_revived(hiss: Path, tmp_path: Path) -> None:
    """Sound at the bedside within 10 s though nothing of the first process lives; then it listens again, and quiet."""
    with ThreadPoolExecutor(2) as pool:
        runs = [
            pool.submit(revived, number, hiss, tmp_path / number.name) for number in (signal.SIGKILL, signal.SIGSTOP)
        ]
        assert all(run.result() < LIMIT for run in runs)


def test_ctrl_c_ends_both(room: Room, listen: Callable[..., Listening], hiss: Path) -> None:
    """A person's end is no alarm: exit 0, and no first process is left."""
    room.play(hiss)
    listening = listen("--guarded", "--silent")
    listening.expect("Listening to 'pulse'", 20)
    time.sleep(1.0)  # signs of life
    child = first_process(listening.process.pid)
    assert listening.end(signal.SIGINT, seconds=20) == 0
    assert not Path(f"/proc/{child}").exists()
    assert not any("has stopped" in line for line in listening.lines)


def test_bad_input_at_the_start_is_its_own_answer(room: Room, tmp_path: Path) -> None:
    """One line, exit code 2, and nothing is tried again."""
    done = subprocess.run(
        [sys.executable, "-m", "beepwatch", "watch", "--guarded", "--device", "no such", "--data", str(tmp_path)],
        env=room.env, capture_output=True, text=True, timeout=40, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert re.fullmatch(r"beepwatch: there is no one microphone 'no such'.*\n", done.stderr)


def test_an_evening_without_listening_is_sounded(room: Room, ears: Ears, tmp_path: Path) -> None:
    """`service evening` with no history: the message on the screen, and sound at the bedside, rising."""
    began = time.monotonic()
    child = subprocess.Popen(
        [sys.executable, "-m", "beepwatch", "service", "evening", "--data", str(tmp_path), "--config", str(tmp_path)],
        env=room.env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    assert "Tonight's listening has not started" in child.stdout.readline()
    ears.first_sound(began, 20)
    child.kill()
    child.wait(timeout=10)
    child.stdout.close()


def lines_within(reader: socket.socket, seconds: float) -> list[str]:
    """All that comes to systemd's end in that time."""
    until, found = time.monotonic() + seconds, list[str]()
    while (left := until - time.monotonic()) > 0:
        reader.settimeout(left)
        try:
            found += reader.recv(4096).decode().splitlines()
        except TimeoutError:
            break
    return found


def signs_of_life(hiss: Path, folder: Path, *options: str) -> None:
    """A night of half a minute with a frozen server in it, as systemd's end hears it."""
    folder.mkdir()
    room = Room()
    room.play(hiss)
    reader = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    reader.bind(str(folder / "notify"))
    child = subprocess.Popen(
        [sys.executable, "-m", "beepwatch", "watch", "--device", "pulse", "--data", str(folder), *options],
        env=room.env | {"NOTIFY_SOCKET": str(folder / "notify")},
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        reader.settimeout(30)
        assert "READY=1" in reader.recv(4096).decode().splitlines()
        assert 3 <= lines_within(reader, 5.0).count("WATCHDOG=1") <= 6
        room.hang_server()
        lines_within(reader, 2.0)
        frozen = lines_within(reader, 5.0)
        assert "WATCHDOG=1" not in frozen
        assert any(line.startswith("STATUS=NOT LISTENING") for line in frozen)
        assert bool(options) is not any(line.startswith("X_") for line in frozen)
        room.wake_server()
        assert "WATCHDOG=1" in lines_within(reader, 8.0)
        child.send_signal(signal.SIGTERM)
        assert child.wait(timeout=20) == 0
        assert "STOPPING=1" in lines_within(reader, 0.5)
    finally:
        child.kill()
        child.wait(timeout=10)
        reader.close()
        room.close()


@pytest.mark.usefixtures("room")
def test_systemd_gets_signs_of_life_only_while_sound_is_processed(hiss: Path, tmp_path: Path) -> None:
    """READY=1 with the first block, then WATCHDOG=1 each second; none while the sound server is frozen; then again.

    With and without the second process, which hands them on.
    """
    with ThreadPoolExecutor(2) as pool:
        alone = pool.submit(signs_of_life, hiss, tmp_path / "alone")
        pool.submit(signs_of_life, hiss, tmp_path / "guarded", "--guarded").result()
        alone.result()
