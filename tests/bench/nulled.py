"""Device alarms whose tone lies in the deepest null of the room: how many are named, and how late.

`python -m tests.bench.nulled [--rooms 60] [--out FOLDER]` puts a sounder that warms up by 0.2 % into ROOMS bedrooms
(tests/hearing/rooms.py), its tone where the room weakens it most within 3 %, in white, pink, fan and breathing noise by
turns. It prints a row for each alarm and level, untaught and with the tone told 0.2 % wrong, and writes `nulled.json`
in FOLDER (tests/bench/results). Some four minutes of one core.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from beepwatch.events import Raised
from beepwatch.recognizer import Recognizer
from tests.bench.naming import keep
from tests.bench.outcomes import Row
from tests.bench.trials import KINDS
from tests.hearing.rooms import RoomScene, scene_in_room

FOLDER = Path(__file__).parent / "results"
FIRST = 28_000
"""Seed of the first room; none of them served to build anything."""
TOLD = 0.998
"""Tone taught over the true one."""
AT_ONCE, SOON = 1.0, 8.0
"""s after the beep that completes the evidence."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """Beeps of `length` s, `pause` s apart; named after beep `first` of them untaught, `taught` with the tone known."""

    name: str
    length: float
    pause: float
    count: int
    first: int
    taught: int

    def scene(self, room: int, snr: float) -> RoomScene:
        """In one room."""
        kind = KINDS[room % len(KINDS)]
        return scene_in_room(room, self.count, self.length, pause=self.pause, snr=snr, kind=kind, null=True)


ALARMS = (
    (Alarm("lead-disconnect", 1.2, 3.3, 9, 2, 1), (0.0, -8.0)),
    (Alarm("battery-critical", 20.0, 40.0, 2, 0, 0), (0.0,)),
    (Alarm("backup-battery", 10.0, 50.0, 2, 0, 0), (0.0,)),
)
"""With the levels, dB over the noise in 0-8 kHz. Battery tones come twice; each is looked for from the first on."""


def late(alarm: Alarm, scene: RoomScene, taught: bool) -> tuple[float | None, list[str]]:
    """(s after the beep that completes the evidence, None where not named; names of what else woke)."""
    tone = scene.tones[0]
    recognizer = Recognizer(1, tone=TOLD * tone.frequency if taught else None)
    told = recognizer.push(scene.samples[:, None]) + recognizer.flush()
    waking = [one for one in told if isinstance(one, Raised) and one.alarm.priority != "low"]
    named = [one.at for one in waking if one.alarm.pattern == alarm.name]
    complete = scene.tones[alarm.taught if taught else alarm.first].end
    return (named[0] - complete if named else None), [
        one.alarm.pattern for one in waking if one.alarm.pattern != alarm.name
    ]


def rows(rooms: int) -> list[Row]:
    """One for each alarm, level and way."""
    made = []
    for alarm, snrs in ALARMS:
        for snr in snrs:
            scenes = [alarm.scene(FIRST + room, snr) for room in range(rooms)]
            for taught in (False, True):
                found = [late(alarm, scene, taught) for scene in scenes]
                times = np.array([np.inf if one is None else one for one, _ in found])
                figures = {
                    "rooms": rooms,
                    "in_1_s": int(np.sum(times <= AT_ONCE)),
                    "in_8_s": int(np.sum(times <= SOON)),
                    "named": int(np.sum(times < np.inf)),
                    "wrong": sum(bool(wrong) for _, wrong in found),
                }
                worst = tuple(
                    f"room {FIRST + room}: {'not named' if one is None else f'{one:.1f} s'} {' '.join(wrong)}".strip()
                    for room, (one, wrong) in enumerate(found)
                    if one is None or one > SOON or wrong
                )
                way = "taught" if taught else "untaught"
                made.append(Row("nulled", f"{alarm.name}, {snr:g} dB, {way}", {**figures}, worst))
                print("\n  ".join((made[-1].line(), *worst)), flush=True)
    return made


def main(arguments: list[str] | None = None) -> int:
    """Run, print and write."""
    made = argparse.ArgumentParser(prog="tests.bench.nulled", description=(__doc__ or "").splitlines()[0])
    made.add_argument("--rooms", type=int, default=60)
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = made.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    keep(options.out / "nulled.json", "nulled", rows(options.rooms), seed=FIRST, quick=options.rooms < 60)
    return 0


if __name__ == "__main__":
    sys.exit(main())
