"""Every fault of the table put in for real, and how long it takes until it is told and until it is over."""

import json
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

from beepwatch.hearing.technical import BY_CAUSE, Cause
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
    over: str = "I HEAR AGAIN"
    """Words that say that it is over."""
    words: str = ""
    """Words that tell it, where they are not the message's title."""


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
    title = fault.words or Messages().title(fault.message)[:50]
    mark, began = len(listening.lines), time.monotonic()
    if fault.end is None:  # one that began by itself: it is told only after this line
        mark = next(at for at, line in enumerate(listening.lines) if "THE FAULT BEGINS" in line)
    fault.begin()
    alarm = listening.wait_for(title, limit, mark)
    while marks is not None and marks.stat().st_size == before and time.monotonic() - began < limit:
        time.sleep(0.05)  # another process writes it
    told = None if alarm is None else time.monotonic() - began
    healed = time.monotonic()
    if fault.end is not None:
        mark = len(listening.lines)
        fault.end()
    over = listening.wait_for(fault.over, heal, mark)
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


def standing(reason: str) -> str:
    """How the end of a condition beside deafness is told."""
    return f"Over: {reason}"


def _ends_by_itself(name: str, cause: Cause) -> Fault:
    return Fault(name, BY_CAUSE[cause].message, lambda: None, None, over=standing(BY_CAUSE[cause].reason))


SICK = {
    "slow": Fault("recogniser at half speed", "cannot-hear-slow", lambda: None, None),
    "raises": Fault("recogniser fails", "cannot-hear-slow", lambda: None, None),
    "hangs": Fault(
        "recogniser hangs", "cannot-hear-slow", lambda: None, None,
        over="The program goes on", words="the program stands still",
    ),
    "clock": _ends_by_itself("clock set by an hour", "clock-set"),
    "mains": _ends_by_itself("mains lost", "mains-lost"),
    "disk": _ends_by_itself("disk full", "disk-full"),
}  # fmt: skip
"""Faults that `tests.live.sick` begins and ends by itself."""


def by_server(hiss: Path, folder: Path) -> list[Measured]:
    """Suspended, muted, moved, frozen, killed; frozen and dead it sounds by the second way."""
    room = Room("copy")
    for sink in ("ROOM", "ELSEWHERE"):
        room.play(hiss, sink)
    words, marks = second_way(room)
    (folder / "settings.toml").write_text(f"[sound]\nsecond-way = {json.dumps(words)}\n")
    listening = Listening(room, folder, "--device", "pulse", "--config", str(folder))
    try:
        listening.expect("The second way was tried: its command ended well.", 25)
        listening.expect("Listening to 'pulse'", 20)
        found = []
        for fault in server_faults(room, hiss):
            before = len(marks.read_text().split())
            by_second = fault.name.startswith("server")
            found.append(measure(listening, fault, marks=marks if by_second else None))
            sounded = len(marks.read_text().split()) - before
            assert (sounded > 0) is by_second, f"{fault.name}: {sounded} times by the second way"
        assert listening.end() == 0
    finally:
        listening.close()
        room.close()
    return found


def by_pipe(_: Path, folder: Path) -> list[Measured]:
    """A microphone that repeats half a second, and one that gives half of its frames; while all is well, no word."""
    room = Room("pipe")
    feeder = Feeder(room.pipe)
    listening = Listening(room, folder, "--device", "pulse", "--silent")
    try:
        listening.expect("Listening to 'pulse'", 20)
        assert listening.wait_for("cannot hear", 4) is None
        found = [measure(listening, fault) for fault in pipe_faults(feeder)]
        assert listening.end() == 0
    finally:
        listening.close()
        room.close()
        feeder.close()
    return found


def by_sickness(sick: str, hiss: Path, folder: Path) -> list[Measured]:
    """What `tests.live.sick` puts in."""
    room = Room()
    room.play(hiss)
    listening = Listening(room, folder, "--device", "pulse", "--silent", sick=sick)
    try:
        listening.expect("THE FAULT BEGINS", 30)
        found = [measure(listening, SICK[sick], 75.0 if sick in ("mains", "disk") else 16.0, 100.0)]
        assert listening.end() == 0
    finally:
        listening.close()
        room.close()
    return found
