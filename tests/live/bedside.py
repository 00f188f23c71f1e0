"""The bedside as a test sees it: a speaking process to steer, and ears at the virtual speaker with a clock."""

import json
import subprocess
import sys
import time
from pathlib import Path
from queue import Queue
from threading import Condition, Thread
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.live.room import Room

ROOT = Path(__file__).parents[2]
RATE = 48_000


class Speaking:
    """`tests.live.speaking` in a room."""

    def __init__(self, room: Room, *lines: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.live.speaking", *lines],
            env=room.env, cwd=ROOT, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        self._reports: Queue[dict[str, Any]] = Queue()
        self._answers: Queue[dict[str, Any]] = Queue()
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def report(self, seconds: float) -> dict[str, Any]:
        """The next report."""
        return self._reports.get(timeout=seconds)

    def expect(self, kind: str, seconds: float) -> dict[str, Any]:
        """The next report, which has to be of this kind."""
        told = self.report(seconds)
        assert told["kind"] == kind, told
        return told

    def do(self, command: str) -> dict[str, Any]:
        """Give a command; return when it began and how long the caller had to wait (`at`, `took`)."""
        assert self._process.stdin is not None
        self._process.stdin.write(command + "\n")
        self._process.stdin.flush()
        return self._answers.get(timeout=5.0)

    def close(self) -> None:
        """End it, whatever it does."""
        self._process.kill()
        self._process.wait(timeout=10)
        self._reader.join(timeout=10)
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            told = json.loads(line)
            (self._answers if told["kind"] == "Done" else self._reports).put(told)


class Ears:
    """What comes out of the bedside speaker (or another sink), with the time of each sample (to about 10 ms)."""

    def __init__(self, room: Room, sink: str = "BEDSIDE") -> None:
        self._process = subprocess.Popen(
            ["parec", f"--device={sink}.monitor", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=1",
             "--latency-msec=10"],
            env=room.env, stdout=subprocess.PIPE, bufsize=0,
        )  # fmt: skip
        self._news = Condition()
        self._blocks: list[tuple[float, npt.NDArray[np.float64]]] = []
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def first_sound(self, since: float, seconds: float, over: float = 0.01) -> float:
        """When the first sound after `since` came that is over this amplitude (monotonic s); waits for it."""
        with self._news:
            self._news.wait_for(lambda: self._onset(since, over) is not None, seconds)
            onset = self._onset(since, over)
        assert onset is not None, f"no sound within {seconds} s"
        return onset

    def between(self, since: float, until: float) -> npt.NDArray[np.float64]:
        """The sound of that time; waits for its end."""
        with self._news:
            assert self._news.wait_for(lambda: bool(self._blocks) and self._blocks[-1][0] >= until, 60)
            return np.concatenate([block for at, block in self._blocks if since <= at < until])

    def close(self) -> None:
        """Stop listening."""
        self._process.kill()
        self._process.wait(timeout=10)
        self._reader.join(timeout=10)  # it has read the end; only then may the pipe be closed
        assert self._process.stdout is not None
        self._process.stdout.close()

    def _onset(self, since: float, over: float) -> float | None:
        for at, block in self._blocks:
            if at >= since and np.abs(block).max() > over:
                return at - (len(block) - int(np.argmax(np.abs(block) > over))) / RATE
        return None

    def _read(self) -> None:
        assert self._process.stdout is not None
        spare = b""
        while data := self._process.stdout.read(RATE // 50 * 2):
            data = spare + data
            whole = len(data) // 2 * 2
            spare = data[whole:]
            block = np.frombuffer(data[:whole], "<i2") / 32768
            with self._news:
                if len(block):
                    self._blocks.append((time.monotonic(), block))
                self._news.notify_all()
