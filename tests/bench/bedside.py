"""From raised on the listener's board to the first sound at the bedside's speaker, and from a cut link to its alarm.

A real page server on loopback, `beepwatch bedside` as a process in a virtual room (PulseAudio), its speaker recorded.
Prints a median and the worst, and writes JSON: `python -m tests.bench.bedside [--runs 50] [--out FILE]`.
"""

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from threading import Event, Thread

from beepwatch.bedside.paired import keep, pair, parsed
from beepwatch.page.pairing import link
from tests.live.bedside import Ears
from tests.live.room import Room
from tests.page.house import House, open_alarm

RESULTS = Path(__file__).parent / "results" / "bedside.json"
ROOT = Path(__file__).parents[2]


class Loop(Thread):
    """Puts the board up twice a second, as `watch` does; it can be held."""

    def __init__(self, house: House) -> None:
        super().__init__(daemon=True)
        self._house, self.held = house, Event()

    def run(self) -> None:
        """Until the process ends."""
        while True:
            if not self.held.is_set():
                self._house.post()
            time.sleep(0.5)


@dataclass(frozen=True, slots=True)
class Scene:
    """A listener's page, its loop, and ears at the bedside's speaker."""

    house: House
    loop: Loop
    ears: Ears

    def raised(self, runs: int) -> list[float]:
        """s from an alarm on the board to the first sound."""
        found = []
        rng = random.Random(1)
        for number in range(1, runs + 1):
            time.sleep(rng.uniform(1.5, 2.5))
            begun = time.monotonic()
            self.house.post(alarms=(open_alarm(number),))
            found.append(self.ears.first_sound(begun, 10) - begun)
            self.house.post(alarms=())
        return found

    def silent(self, runs: int) -> list[float]:
        """s from the last sign of the listener's loop to the first sound at the bedside."""
        found = []
        for _ in range(runs):
            time.sleep(3.0)
            self.loop.held.set()
            begun = time.monotonic()
            found.append(self.ears.first_sound(begun + 0.5, 15) - begun)
            self.loop.held.clear()
        return found


def paired(house: House, folder: Path) -> None:
    """Pair once the server is up."""
    time.sleep(2.0)
    text = link("127.0.0.1", house.page.port, house.code(), house.page.identity.fingerprint)
    keep(folder, pair(parsed(text), "Anna"))


def main(arguments: list[str] | None = None) -> int:
    """Run it; returns 0."""
    made = argparse.ArgumentParser(description=__doc__)
    made.add_argument("--runs", type=int, default=50)
    made.add_argument("--out", type=Path, default=RESULTS)
    chosen = made.parse_args(arguments)
    room = Room()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        house = House(folder / "listener")
        house.page.start()
        paired(house, folder)
        loop = Loop(house)
        loop.start()
        command = [sys.executable, "-m", "beepwatch", "bedside", "--data", name, "--config", name, "--device", "none"]
        process = subprocess.Popen(command, env=room.env, cwd=ROOT, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL)
        time.sleep(5.0)
        ears = Ears(room)
        scene = Scene(house, loop, ears)
        rows = {"raised": scene.raised(chosen.runs), "listener hangs": scene.silent(max(1, chosen.runs // 10))}
        process.kill()
        process.wait()
        ears.close()
        house.close()
    room.close()
    told = {
        name: {"runs": len(row), "median": round(median(row), 3), "worst": round(max(row), 3)}
        for name, row in rows.items()
    }
    for name, row in told.items():
        print(f"{name}: median {row['median']} s, worst {row['worst']} s of {row['runs']}")
    chosen.out.write_text(json.dumps(told, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
