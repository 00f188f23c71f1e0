"""How far down hearing hears: recall against SNR beside the ideal, false beeps, edges, latency, rooms, real sound.

`python -m tests.bench.detection [--quick] [--only SECTION] [--jobs 2] [--out FOLDER]` prints one table and writes
`detection.json` and `detection.png` into FOLDER (tests/bench/results). The whole takes under 20 minutes on two cores,
`--quick` two. Beeps are counted as found where onset and end are within the collars of event scores (0.2 s, and 20 % of
the length for the end) and the tone within 1 %; as heard where a beep of that tone overlaps at least half.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial
from hashlib import sha256
from pathlib import Path

from beepwatch import hearing
from tests.bench.counting import Row
from tests.bench.trials import (
    beside,
    curve_point,
    drifting,
    ears,
    false_beeps,
    fast_pulses,
    real_beeps,
    real_sound,
    rooms,
    square_wave,
)

FOLDER = Path(__file__).parent / "results"
SNRS = {
    0.3: (-20, -19, -18, -17, -16, -15, -14, -13, -12),
    1.2: (-26, -25, -24, -23, -22, -21, -20, -19, -18, -15, -10, 0),
    10.0: (-34, -32, -30, -28, -26, -24, -22, -20, -15),
    20.0: (-36, -34, -32, -30, -28, -26, -24, -22, -18, -14),
}
"""dB over the noise in 0-8 kHz, for each length in s."""
BEEPS = 300
"""Of each length, at each point, and of each other row."""
MORE = {(1.2, -20.0): 1500}
"""The same where the figure lies so near its bar that one beep of 300 would decide."""
HOURS = 10.0
"""Of each noise, for false beeps."""
KINDS = ("white", "pink", "fan", "breathing")
Task = tuple[str, Callable[[], Row]]


def tasks(quick: bool) -> list[Task]:
    """(section, trial) of the whole benchmark."""
    hours, parts = (0.25, 1) if quick else (HOURS, 10)
    share = 10 if quick else 1
    minutes = 2.0 if quick else 20.0
    todo: list[Task] = [
        ("false", partial(false_beeps, kind, hours / parts, seed))
        for kind in KINDS
        for seed in range(10_000, 10_000 + parts)
    ]
    for length, snrs in SNRS.items():
        count = BEEPS // share
        for snr in (float(one) for one in snrs[:: 2 if quick else 1]):
            beeps = count if quick else MORE.get((length, snr), count)
            todo.append(("curve", partial(curve_point, length, snr, beeps)))
    todo += _in_rooms(4 if quick else 38)
    for on in (0.1, 0.15):
        todo += [("pulses", partial(fast_pulses, on, 0.1, snr, BEEPS // share)) for snr in (10.0, 0.0, -6.0)]
    todo += [("520 Hz", partial(square_wave, snr, BEEPS // share)) for snr in (10.0, 0.0, -10.0)]
    todo += [
        ("drift", partial(drifting, moved, snr, BEEPS // share))
        for moved in (0.01, 0.02, 0.03)
        for snr in (10.0, 0.0, -6.0)
    ]
    for faded in (False, True):
        todo += [("ears", partial(ears, snr, faded, BEEPS // share)) for snr in (-20.0, -22.0, -24.0)]
    todo += [("real", partial(real_sound, kind, minutes)) for kind in ("speech", "music", "ambient")]
    return [*todo, *(("in real", partial(real_beeps, kind, 10.0, BEEPS // share)) for kind in ("speech", "music"))]


def _in_rooms(count: int) -> list[Task]:
    """Breath-long beeps and 20 s beeps in rooms, and the first by two microphones 10 cm apart.

    In rooms that hearing was not mended by: those from 20 000 to 31 038 were looked into one by one.
    """
    some, few = (32_000, 32_000 + count), (33_000, 33_000 + 4 * count)
    clear = [partial(rooms, 1.2, 8, snr=snr, seeds=some) for snr in (10.0, 0.0, -8.0, -14.0)]
    nulls = [partial(rooms, 1.2, 8, snr=snr, seeds=some, null=True) for snr in (0.0, -14.0)]
    long = [partial(rooms, 20.0, 2, snr=snr, seeds=few) for snr in (-14.0, -18.0)]
    pairs = [partial(beside, 8, snr=snr, apart=0.1, seeds=some) for snr in (10.0, 0.0, -14.0)]
    return [("rooms", trial) for trial in (*clear, *nulls, *long, *pairs)]


def run(todo: list[Task], jobs: int) -> list[Row]:
    """The rows of all tasks in their order; `jobs` at a time."""
    if jobs == 1:
        return [_told(trial()) for _, trial in todo]
    with ProcessPoolExecutor(jobs) as pool:
        waiting = [pool.submit(trial) for _, trial in todo]
        return [_told(one.result()) for one in waiting]


def _told(row: Row) -> Row:
    print(row.line(), file=sys.stderr, flush=True)
    return row


def summed(rows: Iterable[Row]) -> list[Row]:
    """Rows of the same name joined (hours of noise from several seeds)."""
    joined: dict[tuple[str, str], Row] = {}
    for row in rows:
        key = (row.section, row.name)
        joined[key] = joined[key].plus(row) if key in joined else row
    return list(joined.values())


def fingerprint() -> str:
    """Of the code that was measured: SHA-256, 12 digits, over beepwatch/hearing/*.py (margin.py is read from here)."""
    digest = sha256()
    for path in sorted(Path(hearing.__file__).parent.glob("*.py")):
        if path.name != "margin.py":
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def parser() -> argparse.ArgumentParser:
    """The command line."""
    made = argparse.ArgumentParser(prog="tests.bench.detection", description=__doc__.splitlines()[0])
    made.add_argument("--quick", action="store_true", help="a tenth of it, in two minutes")
    made.add_argument(
        "--only", metavar="SECTION", help="curve, false, rooms, pulses, 520 Hz, drift, ears, real or in real"
    )
    made.add_argument("--jobs", type=int, default=2, help="processes at once (default 2)")
    made.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    return made


def main(arguments: list[str] | None = None) -> int:
    """Run, print and write."""
    options = parser().parse_args(arguments)
    began = time.monotonic()
    todo = [task for task in tasks(options.quick) if options.only in (None, task[0])]
    rows = summed(run(todo, options.jobs))
    options.out.mkdir(parents=True, exist_ok=True)
    whole = {
        "date": datetime.now(UTC).date().isoformat(),
        "hearing": fingerprint(),
        "quick": options.quick,
        "seconds": round(time.monotonic() - began),
        "rows": [asdict(row) | row.derived() for row in rows],
    }
    (options.out / "detection.json").write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    print("\n".join(row.line() for row in rows))
    if any(row.section == "curve" for row in rows):
        from tests.bench.picture import draw  # noqa: PLC0415 - matplotlib is slow to import

        draw(rows, options.out / "detection.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
