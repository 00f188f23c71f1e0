"""Does it stay up, and without crying wolf? False technical alarms, memory and cost.

    python -m tests.bench.staying ordinary [--nights 300]   what the loop sees of ordinary nights, at high speed
    python -m tests.bench.staying memory [--nights 30]      the whole loop over nights of sound at high speed: RSS
    python -m tests.bench.staying live [--minutes 10]       `watch` in the virtual room in real time: cost, RSS, alarms

Each prints its figures and adds them to `results/staying.json`.
"""

import argparse
import ctypes
import gc
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from threading import Thread

import numpy as np
import soundfile

from beepwatch.events import Noise
from beepwatch.hearing.health import Health
from beepwatch.hearing.technical import TABLE
from beepwatch.recognizer import Recognizer
from beepwatch.records.journal import Journal
from beepwatch.records.store import Store
from beepwatch.sources.block import Block
from beepwatch.waking.messages import Messages
from beepwatch.watch.conditions import Conditions
from beepwatch.watch.console import Console
from beepwatch.watch.loop import Watch
from beepwatch.watch.power import Power
from beepwatch.watch.timeline import Clock
from beepwatch.watch.upkeep import Upkeep, World
from beepwatch.watch.waker import Waker
from tests.bench import ordinary
from tests.live.room import Room

RESULTS = Path(__file__).parent / "results" / "staying.json"
HOURS = 10.0
EACH = 300.0
"""s between two looks at the memory."""
TICK = os.sysconf("SC_CLK_TCK")
WORLD = World(lambda: Power(battery=False, minutes=None), lambda _: 1e12)


def simulated(nights: int) -> dict[str, object]:
    """Nights of block arrivals and room levels through the rules; the usual level is kept from night to night."""
    told: Counter[str] = Counter()
    coughs = 0
    with tempfile.TemporaryDirectory() as folder:
        for night in range(nights):
            rng = np.random.default_rng(night)
            found, lost = _one_night(Path(folder), rng)
            told += found
            coughs += lost
    false = sum(told[row.cause] for row in TABLE if row.sounded)
    return {"nights": nights, "hours": nights * HOURS, "false alarms": false, "told": dict(told), "coughs": coughs}


def _one_night(folder: Path, rng: np.random.Generator) -> tuple[Counter[str], int]:
    now, told, coughs = 1000.0, Counter[str](), 0
    health, conditions, upkeep = Health(now), Conditions(), Upkeep(folder, "a microphone", world=WORLD)
    rooms = ordinary.levels(HOURS, rng)
    next_noise, deaf = now, False
    for gap in ordinary.gaps(HOURS, rng):
        now += gap
        if gap > 1.1:  # what a server does not hold is lost
            coughs += 1
            health.lost(now, gap - 1.0)
        was, deaf = deaf, health.deaf(now) is not None
        if deaf and not was:
            told["no-sound"] += 1
        health.arrived(now, silent=False)
        health.understood(now, well=gap < 3.0)
        if now >= next_noise:
            next_noise += 2.0
            level = next(rooms, None)
            if level is not None:
                upkeep.noise(Noise(now, ((1000.0, level), (5000.0, level))))
            upkeep.look(now, health, conditions)
            told.update(word.condition.cause for word in conditions.look(now) if word.step == "told")
    upkeep.close()
    return told, coughs


class Endless:
    """A microphone that gives one night's sound as fast as it is asked, again and again, on a clock of its own."""

    live, ended, dead, hangs, elsewhere = True, False, False, False, False
    name, rate, channels = "a microphone", ordinary.RATE, 1
    trouble: str | None = None

    def __init__(self, seconds: float, nights: int, after: Callable[[int], None]) -> None:
        self._seconds, self._nights, self._after = seconds, nights, after
        self.now, self._end, self._night, self._place = 1000.0, 0, 0, 0
        self._sound = self._next_sound()
        self.over: Callable[[], None] = lambda: None

    def take(self, timeout: float) -> Block | None:
        """See `Source`."""
        if self._place >= len(self._sound):
            self._night, self._place = self._night + 1, 0
            self._sound = self._sound[:0].copy()  # the bench's own memory is not to be counted
            self._after(self._night)
            if self._night >= self._nights:
                self.over()
                return None
            self._sound = self._next_sound()
        samples = self._sound[self._place : self._place + 1600]
        self._place += 1600
        self.now += len(samples) / self.rate
        self._end += len(samples)
        return Block(samples.reshape(-1, 1), self._end - len(samples), 0, self.now)

    def reopen(self) -> bool:
        """See `Source`."""
        return True

    def close(self) -> bool:
        """See `Source`."""
        return True

    def _next_sound(self) -> "np.ndarray[tuple[int, ...], np.dtype[np.float32]]":
        return ordinary.sound(self._seconds, np.random.default_rng(self._night))


def memory(nights: int, seconds: float) -> dict[str, object]:
    """RSS after each of so many nights in one run of the loop, each made dense: `seconds` of sound; and the slope."""
    sizes: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        source = Endless(seconds, nights, lambda _: sizes.append(_trimmed()))
        clock = Clock(lambda: source.now, lambda: datetime.fromtimestamp(1.78e9 + source.now, UTC), lambda _: None)
        store = Journal(Store(Path(name)), clock.ticks)
        with Path(os.devnull).open("w") as nowhere:
            watch = Watch(
                source, lambda: Recognizer(1), store, Waker(None, SimpleQueue(), Messages()), Console(nowhere),
                clock=clock, upkeep=Upkeep(Path(name), source.name, world=WORLD),
            )  # fmt: skip
            source.over = watch.stop
            watch.run()
    print("MB after each night:", " ".join(f"{size:.1f}" for size in sizes))
    half = np.arange(len(sizes) // 3, len(sizes))
    slope = float(np.polyfit(half, np.array(sizes)[half], 1)[0])
    return {
        "nights": nights, "seconds of sound a night": seconds, "first MB": round(sizes[0], 1),
        "last MB": round(sizes[-1], 1), "slope MB a night": round(slope, 3),
    }  # fmt: skip


def live(minutes: float) -> dict[str, object]:
    """`watch` in the virtual room with an ordinary night played into it: its own CPU time, RSS and what it told."""
    room = Room()
    try:
        with tempfile.TemporaryDirectory() as name:
            scene = Path(name) / "night.wav"
            soundfile.write(scene, ordinary.sound(600.0, np.random.default_rng(7)), ordinary.RATE)
            return _listened(room, scene, Path(name) / "data", minutes)
    finally:
        room.close()


def _listened(room: Room, scene: Path, data: Path, minutes: float) -> dict[str, object]:
    player = room.play(scene)
    time.sleep(1.0)  # it plays before anything listens
    child = subprocess.Popen(
        [sys.executable, "-m", "beepwatch", "watch", "--device", "pulse", "--data", str(data)],
        env=room.env | {"PYTHONUNBUFFERED": "1"}, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    lines: list[str] = []
    reader = Thread(target=lambda: lines.extend(child.stdout or ()), daemon=True)
    reader.start()
    time.sleep(20.0)  # its start is not counted
    began, used, first = time.monotonic(), _used(child.pid), _resident(child.pid)
    sizes = [first]
    while time.monotonic() - began < 60 * minutes and child.poll() is None:
        if time.monotonic() - began > EACH * len(sizes):
            sizes.append(_resident(child.pid))
        if player.poll() is not None:
            player = room.play(scene)
        time.sleep(0.2)  # real time: the bench's own
    took, spent, last = time.monotonic() - began, _used(child.pid) - used, _resident(child.pid)
    child.send_signal(signal.SIGINT)
    child.wait(20)
    reader.join(5)
    told = [line.strip() for line in lines if "  ! " in line or "ALARM" in line]
    return {
        "hours": round(took / 3600, 2), "share of a core %": round(100 * spent / took, 2),
        "RSS MB": round(last, 1), "RSS grew MB": round(last - first, 2), "told": told,
        f"RSS each {EACH:.0f} s": [round(size, 1) for size in sizes],
        "false technical alarms": sum("I cannot hear" in line for line in lines),
    }  # fmt: skip


def _trimmed() -> float:
    """MB of this process, once what is free was given back."""
    gc.collect()
    ctypes.CDLL("libc.so.6").malloc_trim(0)
    return _resident(os.getpid())


def _used(process: int) -> float:
    """CPU s of a process and of those of its children that have ended."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return sum(int(one) for one in fields[11:15]) / TICK


def _resident(process: int) -> float:
    """MB."""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * resource.getpagesize() / 1e6


def main() -> None:
    """Run one of the three."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("ordinary", "memory", "live"))
    parser.add_argument("--nights", type=int)
    parser.add_argument("--seconds", type=float, default=600.0, help="of sound a night, for `memory`")
    parser.add_argument("--minutes", type=float, default=10.0)
    chosen = parser.parse_args()
    if chosen.what == "ordinary":
        found = simulated(chosen.nights or 300)
    elif chosen.what == "memory":
        found = memory(chosen.nights or 30, chosen.seconds)
    else:
        found = live(chosen.minutes)
    for key, value in found.items():
        print(f"{key:26} {value}")
    RESULTS.parent.mkdir(exist_ok=True)
    kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    RESULTS.write_text(json.dumps(kept | {chosen.what: found}, indent=2) + "\n")


if __name__ == "__main__":
    main()
