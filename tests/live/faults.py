"""Every fault of the table put in for real, and how long it takes until it is told and until it is over."""

import os
import shlex
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread

import numpy as np
import numpy.typing as npt

from beepwatch.waking.messages import Messages
from tests.live.listening import Listening
from tests.live.room import PIPE_RATE, Room

PIECE = PIPE_RATE // 50


class Feeder:
    """Fills the microphone's pipe with noise in real time; `share` of it is written; `frozen`: the same 0.5 s."""

    def __init__(self, pipe: Path) -> None:
        self._pipe = pipe
        self.share = 1.0
        self.frozen = False
        self._over = Event()
        self._thread = Thread(target=self._work, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End it."""
        self._over.set()
        self._thread.join(5)

    def _work(self) -> None:
        rng = np.random.default_rng(5)
        noise: npt.NDArray[np.int16] = np.rint(rng.normal(scale=20, size=PIPE_RATE // 2)).astype("<i2")
        end = os.open(self._pipe, os.O_WRONLY)
        began, place, due = time.monotonic(), 0, 0.0
        with suppress(BrokenPipeError):  # the server has gone
            while not self._over.wait(max(0.0, began + due - time.monotonic())):
                if place == 0 and not self.frozen:
                    noise = np.rint(rng.normal(scale=20, size=len(noise))).astype("<i2")
                os.write(end, noise[place : place + PIECE].tobytes())
                place = (place + PIECE) % len(noise)
                due += PIECE / PIPE_RATE / self.share
        os.close(end)


@dataclass(frozen=True)
class Fault:
    """One fault: what it does, what takes it back (None: it ends by itself), and which message it must bring."""

    name: str
    message: str
    begin: Callable[[], object]
    end: Callable[[], object] | None


@dataclass(frozen=True)
class Measured:
    """Seconds from the fault to the technical alarm, and from its end to "I hear again"."""

    fault: str
    message: str
    alarm: float | None
    recovery: float | None


def measure(
    listening: Listening, fault: Fault, limit: float = 12.0, heal: float = 40.0, marks: Path | None = None
) -> Measured:
    """Put it in, wait for its alarm (and where `marks` is given, for the second way's mark), take it back, and wait."""
    before = 0 if marks is None else marks.stat().st_size
    title = Messages().title(fault.message)[:50]
    mark, began = len(listening.lines), time.monotonic()
    fault.begin()
    alarm = listening.wait_for(title, limit, mark)
    while marks is not None and marks.stat().st_size == before and time.monotonic() - began < limit:
        time.sleep(0.05)  # another process writes it
    told = None if alarm is None else time.monotonic() - began
    healed = time.monotonic()
    if fault.end is not None:
        fault.end()
    over = listening.wait_for("I HEAR AGAIN", heal, mark)
    return Measured(fault.name, fault.message, told, None if over is None else time.monotonic() - healed)


class Held:
    """Moves the stream that records to another source, and each new one too, as a server does that remembers it."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._over = Event()
        self._thread = Thread(target=self._work, daemon=True)

    def begin(self) -> None:
        """Move it, and go on."""
        self._thread.start()

    def end(self) -> None:
        """Leave it alone, and give the last one back."""
        self._over.set()
        self._thread.join(10)
        self._move("MIC")

    def _work(self) -> None:
        while not self._over.wait(0.2):
            with suppress(subprocess.CalledProcessError):  # the stream went meanwhile
                self._move("ELSEWHERE.monitor")

    def _move(self, source: str) -> None:
        for line in self._room.control("list", "short", "source-outputs").splitlines():
            if "protocol-native" in line:
                self._room.control("move-source-output", line.split()[0], source)


def server_faults(room: Room, hiss: Path) -> list[Fault]:
    """In a room whose microphone is a copy, with a hiss in it."""

    held = Held(room)

    def again() -> None:
        room.restart_server()
        room.play(hiss)

    return [
        Fault("suspended", "cannot-hear", lambda: room.control("suspend-source", "MIC", "1"),
              lambda: room.control("suspend-source", "MIC", "0")),
        Fault("muted", "cannot-hear-muted", lambda: room.control("set-source-mute", "MIC", "1"),
              lambda: room.control("set-source-mute", "MIC", "0")),
        Fault("moved, again and again", "cannot-hear-moved", held.begin, held.end),
        Fault("server frozen", "cannot-hear-hung", room.hang_server, room.wake_server),
        Fault("server killed", "cannot-hear", room.kill_server, again),
    ]  # fmt: skip


def pipe_faults(feeder: Feeder) -> list[Fault]:
    """In a room whose microphone is a pipe."""

    def set_to(name: str, value: float | bool) -> Callable[[], None]:
        return lambda: setattr(feeder, name, value)

    return [
        Fault("frozen buffer", "cannot-hear-frozen", set_to("frozen", True), set_to("frozen", False)),
        Fault("half of the frames", "cannot-hear-holes", set_to("share", 0.5), set_to("share", 1.0)),
    ]


def second_way(room: Room) -> tuple[str, Path]:
    """A second way that does not use the sound server: its setting, and the file that it leaves when it sounds."""
    marks = room.folder / "second-way"
    return shlex.join(["sh", "-c", f'date +%s.%N >> {marks}; sleep 0.8; test -s "$0"', "{sound}"]), marks
