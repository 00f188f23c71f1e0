"""What a review costs, as ratios: whole processes, CPU time, the median of five taken by turns.

`python -m tests.bench.speed [--rounds 5] [--minutes 60] [--out FOLDER]` prints a table and writes `speed.json`. The
yardstick is one process that reads the file and makes one float32 scipy.fft.rfft pass (2048 samples each 1024), as
`yardsticks.py` does. Start-up is taken off each by a run on one second of sound. librosa.stft and
scipy.signal.ShortTimeFFT are measured likewise. Memory is the most that was resident, for 3 minutes and for the whole.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import numpy as np
import soundfile

from beepwatch.hearing import RATE
from beepwatch.synthesis import Tone
from tests.bench.trials import nonstop
from tests.bench.yardsticks import YARDSTICKS
from tests.hearing.scenes import add, background, level

FOLDER = Path(__file__).parent / "results"


@dataclass(frozen=True, slots=True)
class Cost:
    """One process over one file: CPU seconds and most resident memory, MB."""

    seconds: float
    megabytes: float


LAUNCHER = """
import resource, subprocess, sys
code = subprocess.call(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(code, used.ru_utime + used.ru_stime, used.ru_maxrss)
"""
"""Between us and the process: what was resident before an exec counts as the new program's, so it must be little."""


def measure(what: str, path: Path) -> Cost:
    """Run one process over one file. Raises CalledProcessError when it fails."""
    module = ["beepwatch", "review", "--format", "jsonl"] if what == "review" else ["tests.bench.yardsticks", what]
    command = [sys.executable, "-m", *module, str(path)]
    threads = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", LAUNCHER, *command], env={**os.environ, **threads}, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    code, seconds, kilobytes = done.stdout.split()
    if int(code):
        raise subprocess.CalledProcessError(int(code), command)
    return Cost(float(seconds), int(kilobytes) / 1024)


def files(folder: Path, minutes: float) -> dict[str, Path]:
    """The sounds, 16-bit WAV: a second, three minutes, and `minutes` each of noise, beeps and speech."""
    seconds = minutes * 60
    beeps = [Tone(3 + 9 * i, 1.2, 2700, level(0), drift=-0.002) for i in range(int(seconds / 9) - 1)]
    noise = background(seconds, 30_000)
    speech, _ = nonstop("speech", minutes)
    sounds = {
        "second": noise[:RATE],
        "three minutes": noise[: 180 * RATE],
        "noise": noise,
        "a beep each 9 s": add(noise, beeps),
        "nonstop speech": np.resize(speech, len(noise)),
    }
    paths = {}
    for name, samples in sounds.items():
        paths[name] = folder / f"{name}.wav"
        soundfile.write(paths[name], samples, RATE, subtype="PCM_16")
    return paths


def costs(paths: dict[str, Path], rounds: int) -> dict[tuple[str, str], Cost]:
    """Medians of `rounds` for each (what, file), by turns so that a busy machine is busy for all."""
    pairs = [("review", name) for name in paths] + [(what, name) for what in YARDSTICKS for name in ("second", "noise")]
    seen: dict[tuple[str, str], list[Cost]] = {pair: [] for pair in pairs}
    for _ in range(rounds):
        for what, name in pairs:
            seen[what, name].append(measure(what, paths[name]))
    return {
        pair: Cost(median(one.seconds for one in some), median(one.megabytes for one in some))
        for pair, some in seen.items()
    }


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the table; `ratio` over the yardstick, both without start-up; `times`: faster than real time."""

    name: str
    seconds: float
    ratio: float
    times: float
    megabytes: float

    def text(self) -> str:
        """For people."""
        cost = f"{self.seconds:7.2f} s  x{self.ratio:6.2f}  {self.times:6.0f} x real time"
        return f"{self.name:28} {cost}  {self.megabytes:5.0f} MB"


def table(found: dict[tuple[str, str], Cost], minutes: float) -> list[Line]:
    """All rows, the yardstick first."""
    startup = {what: found[what, "second"].seconds for what in ("review", *YARDSTICKS)}
    base = found["rfft", "noise"].seconds - startup["rfft"]
    lines = []
    for (what, name), cost in sorted(found.items(), key=lambda item: item[0][0] != "rfft"):
        if name not in ("second", "three minutes"):
            net = cost.seconds - startup[what]
            lines.append(Line(f"{what}, {name}", net, net / base, minutes * 60 / net, cost.megabytes))
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Measure, print and write."""
    parser = argparse.ArgumentParser(prog="tests.bench.speed", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--out", type=Path, default=FOLDER, metavar="FOLDER")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        found = costs(files(Path(folder), options.minutes), options.rounds)
    lines = table(found, options.minutes)
    short, long = found["review", "three minutes"].megabytes, found["review", "noise"].megabytes
    for line in lines:
        print(line.text())
    startup = found["review", "second"].seconds
    print(f"review: start-up {startup:.2f} s; {short:.1f} MB after 3 minutes, {long - short:+.1f} MB by the end")
    whole = {
        "date": datetime.now(UTC).date().isoformat(),
        "rounds": options.rounds,
        "minutes": options.minutes,
        "lines": [asdict(line) for line in lines],
        "startup_s": startup,
        "megabytes_3_min": short,
        "megabytes_whole": long,
    }
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "speed.json").write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
