"""How soon the first sound leaves the speaker after an alarm is raised, in the virtual room.

`python -m tests.bench.waking [--runs 50] [--block S] [--latency S] [--out FOLDER]` prints the median and the worst, and
writes `waking.json`.

The whole loop runs as a process of its own: microphone, recogniser, escalation, speaker. Only who raises is replaced:
a click in the room raises an alarm in the very sample in which it is heard, beside the recogniser at its own work. Two
recorders of one kind, at the room and at the bedside speaker, time the click and the first sound: what they delay by
themselves falls out of the difference. So the figure holds all that is between the sample that proves an alarm and the
sound: the sound system's buffers both ways, the block, the loop, and the opening of the speaker.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from statistics import median
from threading import Thread

import numpy as np
import soundfile

from beepwatch.channels.speaker import Speaker
from beepwatch.channels.voice import Voice
from beepwatch.events import Alarm, Event, OwnSound, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.records.journal import Journal
from beepwatch.records.store import Store
from beepwatch.sources import portaudio
from beepwatch.sources.block import Samples
from beepwatch.sources.clock import ticking
from beepwatch.sources.microphone import Microphone
from beepwatch.waking.commands import Going
from beepwatch.waking.messages import Messages
from beepwatch.watch.console import Console
from beepwatch.watch.loop import Watch
from beepwatch.watch.waker import Report, Waker
from tests.live.bedside import ROOT, Ears
from tests.live.room import Room

FOLDER = Path(__file__).parent / "results"
CLICK = 0.3
"""Amplitude of a click, far over the hiss."""
EVERY = 3.07
"""s between two clicks: no multiple of a block, so that each falls elsewhere in one."""
SOUNDS = 1.2
"""s of wake sound until it is answered."""


class Clicks:
    """A recogniser that also raises an alarm for each click, at the click's own stream time."""

    def __init__(self, channels: int) -> None:
        self._real = Recognizer(channels)
        self._position = 0
        self._number = 0

    def push(self, samples: Samples) -> list[Event]:
        """See `Recognizer`."""
        events = list(self._real.push(samples))
        loud = np.flatnonzero(np.abs(samples).max(axis=1) > CLICK / 2)
        start, self._position = self._position, self._position + len(samples)
        return [*events, self._raised((start + int(loud[0])) / RATE)] if len(loud) else events

    def skip(self, count: int) -> list[Event]:
        """See `Recognizer`."""
        self._position += count
        return list(self._real.skip(count))

    def own_sound(self, sound: OwnSound | None) -> None:
        """See `Recognizer`."""
        self._real.own_sound(sound)

    def flush(self) -> list[Event]:
        """See `Recognizer`."""
        return []

    def _raised(self, at: float) -> Raised:
        self._number += 1
        return Raised(at, Alarm(
            1000 + self._number, "lead-disconnect", "high", at, at, None, at, 3, 1.2, 3.0, 2730.0, 0.95, "a click",
        ))  # fmt: skip


def listen(block: float, latency: float) -> None:
    """The child: the loop, and an answer `SOUNDS` s after each alarm; ends with its input."""
    portaudio.BLOCK, portaudio.LATENCY = block, latency
    reports: SimpleQueue[Report] = SimpleQueue()
    voice = Voice(reports.put)
    messages = Messages("Anna", "Sam")
    voice.prepare(messages.lines("lead-disconnect"))
    voice.wait(20)
    waker = Waker(Speaker(reports.put, device="pulse", voice=voice), reports, messages, voice)
    source = Microphone("pulse")
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Store(Path(folder)), ticking)
        watch = Watch(source, lambda: Clicks(source.channels), journal, waker, Console(None))

        def answer() -> None:
            while True:
                time.sleep(0.02)
                if waker.waking:
                    time.sleep(SOUNDS)
                    watch.command(Going("", "bench"))
                    time.sleep(0.3)

        def end() -> None:
            sys.stdin.read()
            watch.stop()

        Thread(target=answer, daemon=True).start()
        Thread(target=end, daemon=True).start()
        print("ready", flush=True)
        watch.run()


def measure(runs: int, block: float, latency: float) -> list[float]:
    """s from click to sound, for each run."""
    room = Room()
    with tempfile.TemporaryDirectory() as folder:
        clicks = Path(folder) / "clicks.wav"
        _write(clicks, runs)
        child = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.waking", "--listen", "--block", str(block), "--latency", str(latency)],
            env=room.env, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert child.stdout is not None
        child.stdout.readline()
        inside, bedside = Ears(room, "ROOM"), Ears(room)
        room.play(clicks)
        found = []
        since = time.monotonic()
        for _ in range(runs):
            click = inside.first_sound(since, 20, CLICK / 2)
            found.append(bedside.first_sound(click, 10) - click)
            since = click + EVERY / 2
        inside.close()
        bedside.close()
        child.communicate(timeout=20)
        room.close()
    return found


def _write(path: Path, runs: int) -> None:
    rng = np.random.default_rng(5)
    n = round((runs * EVERY + 8.0) * RATE)
    sound = rng.normal(0.0, 5e-4, n)
    for run in range(runs):
        sound[round((4.0 + run * EVERY) * RATE) :][:16] += CLICK
    soundfile.write(path, sound, RATE)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--block", type=float, default=portaudio.BLOCK, help="s of sound a callback")
    parser.add_argument("--latency", type=float, default=portaudio.LATENCY, help="s that the sound system may hold")
    parser.add_argument("--out", type=Path, default=FOLDER)
    parser.add_argument("--listen", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.listen:
        listen(arguments.block, arguments.latency)
        return
    found = measure(arguments.runs, arguments.block, arguments.latency)
    told = {
        "when": datetime.now(UTC).isoformat(timespec="minutes"),
        "runs": len(found),
        "block": arguments.block,
        "latency": arguments.latency,
        "median": round(median(found), 3),
        "worst": round(max(found), 3),
        "seconds": [round(one, 3) for one in found],
    }
    print(f"raised to first sound, {len(found)} runs: median {told['median']} s, worst {told['worst']} s")
    arguments.out.mkdir(exist_ok=True)
    (arguments.out / "waking.json").write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
