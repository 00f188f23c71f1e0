"""Every cause of the table of technical conditions put in for real: seconds to its alarm, and to its end.

    python -m tests.bench.faults [--quick]      --quick leaves out what takes minutes by its own rule

All in virtual rooms (a private PulseAudio each), several at once. Prints a table and writes `results/faults.json`.
Seconds to the alarm count from the fault until the block is on the screen, which follows the order to the speaker;
where the sound server is frozen or dead, until the second way's command runs; where the first process is killed or
stopped, until sound is at the bedside.
"""

import argparse
import json
import os
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from beepwatch.hearing.technical import BY_CAUSE
from beepwatch.hearing.usual import CELLS, LOWEST
from tests.live.bedside import Ears
from tests.live.faults import Fault, Measured, by_pipe, by_server, by_sickness, measure, second_way, standing
from tests.live.listening import Listening
from tests.live.room import Room

RESULTS = Path(__file__).parent / "results" / "faults.json"
TAUGHT = """
beepwatch-sounder = 1
name = "device"
role = "wake"
tone = 2730.0
tone-spread = 0.001
length = 1.2
level = -52.0
microphone = "pulse"
beeps = 5
taught = "2026-01-01"
"""
Part = Callable[[Path, Path], list[Measured]]


def by_guard(number: signal.Signals, hiss: Path, folder: Path) -> list[Measured]:
    """The first process is killed or stopped under `--guarded`."""
    room = Room()
    room.play(hiss)
    listening, ears = Listening(room, folder, "--device", "pulse", "--guarded"), Ears(room)
    try:
        listening.expect("Listening to 'pulse'", 25)
        time.sleep(3.0)  # signs of life
        guard = listening.process.pid
        (child,) = Path(f"/proc/{guard}/task/{guard}/children").read_text().split()
        began = time.monotonic()
        os.kill(int(child), number)
        alarm = ears.first_sound(began, 12.0) - began
        listening.wait_for("the program listens again", 60.0)
        return [Measured(f"first process: {number.name}", "cannot-hear-ended", alarm, time.monotonic() - began)]
    finally:
        ears.close()
        listening.close()
        room.close()


def by_gain(hiss: Path, folder: Path) -> list[Measured]:
    """The microphone is turned down by 31 dB, in a room that is known for nine hours."""
    room = Room("copy")
    room.play(hiss)
    known = [3240.0 if -80 < LOWEST + cell < -60 else 0.0 for cell in range(CELLS)]
    (folder / "usual.json").write_text(json.dumps({"microphone": "pulse", "seconds": known}))
    listening = Listening(room, folder, "--device", "pulse")
    try:
        listening.expect("Listening to 'pulse'", 25)
        time.sleep(20.0)  # it must be told only after the fault
        fault = Fault(
            "gain dropped by 31 dB", "gain-dropped", lambda: room.control("set-source-volume", "MIC", "30%"),
            lambda: room.control("set-source-volume", "MIC", "100%"), over=standing(BY_CAUSE["gain-dropped"].reason),
        )  # fmt: skip
        return [measure(listening, fault, 90.0, 60.0)]
    finally:
        listening.close()
        room.close()


def by_speaker(hiss: Path, folder: Path) -> list[Measured]:
    """The speaker takes nothing while an alarm is due; and it is muted."""
    room = Room("copy")
    room.play(hiss)
    words, _ = second_way(room)
    (folder / "settings.toml").write_text(f"[sound]\nsecond-way = {json.dumps(words)}\n")
    listening = Listening(room, folder, "--device", "pulse", "--config", str(folder))

    def silent(yes: int) -> None:
        room.control("suspend-sink", "BEDSIDE", str(yes))
        room.control("set-source-mute", "MIC", str(yes))

    try:
        listening.expect("Listening to 'pulse'", 25)
        time.sleep(3.0)  # it has heard something
        gone = Fault(
            "speaker suspended in an alarm", "cannot-wake", lambda: silent(1),
            lambda: room.control("suspend-sink", "BEDSIDE", "0"), over=standing(BY_CAUSE["cannot-wake"].reason),
        )  # fmt: skip
        found = [measure(listening, gone, 40.0, 40.0)]
        silent(0)
        listening.wait_for("I HEAR AGAIN", 20.0)
        muted = Fault(
            "speaker muted", "cannot-wake", lambda: room.control("set-sink-mute", "BEDSIDE", "1"),
            lambda: room.control("set-sink-mute", "BEDSIDE", "0"), over=standing(BY_CAUSE["speaker-muted"].reason),
        )  # fmt: skip
        return [*found, measure(listening, muted, 120.0, 60.0)]
    finally:
        listening.close()
        room.close()


def by_margin(hiss: Path, folder: Path) -> list[Measured]:
    """A loud fan is switched on beside the microphone, for which a beep of -52 dBFS was taught; and off."""
    room = Room()
    room.play(hiss)
    loud = folder / "fan.wav"
    noise = np.random.default_rng(3).normal(scale=10 ** (-38 / 20), size=16_000 * 400)
    soundfile.write(loud, noise.astype(np.float32), 16_000)
    (folder / "sounders").mkdir()
    (folder / "sounders" / "device.toml").write_text(TAUGHT)
    listening = Listening(room, folder, "--device", "pulse", "--config", str(folder))
    players: list[subprocess.Popen[bytes]] = []

    def end() -> None:
        players[0].terminate()

    try:
        listening.expect("Listening to 'pulse'", 25)
        time.sleep(10.0)  # a margin of its own
        fault = Fault(
            "a fan beside the microphone", "margin-low", lambda: players.append(room.play(loud)),
            end, over=standing(BY_CAUSE["margin-low"].reason),
        )  # fmt: skip
        return [measure(listening, fault, 340.0, 120.0)]
    finally:
        listening.close()
        room.close()


def main() -> None:
    """Run them all."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    parts: list[Part] = [by_server, by_pipe, *(partial(by_sickness, name) for name in ("slow", "raises", "hangs"))]
    parts += [partial(by_guard, signal.SIGKILL), partial(by_guard, signal.SIGSTOP), partial(by_sickness, "clock")]
    if not quick:
        parts += [by_gain, by_speaker, by_margin, partial(by_sickness, "mains"), partial(by_sickness, "disk")]
    found = measured(parts)
    print(f"{'fault':32} {'message':20} {'alarm s':>8} {'over s':>8}")
    for one in found:
        alarm, over = ("-" if value is None else f"{value:.1f}" for value in (one.alarm, one.recovery))
        print(f"{one.fault:32} {one.message:20} {alarm:>8} {over:>8}")
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(json.dumps([asdict(one) for one in found], indent=2) + "\n")


def measured(parts: list[Part]) -> list[Measured]:
    """Run these, four at a time."""
    with tempfile.TemporaryDirectory() as name:
        hiss = Path(name) / "hiss.wav"
        noise = np.random.default_rng(1).normal(scale=5e-4, size=16_000 * 600)
        soundfile.write(hiss, noise.astype(np.float32), 16_000)
        folders = [Path(name) / str(number) for number in range(len(parts))]
        for folder in folders:
            folder.mkdir()
        with ThreadPoolExecutor(4) as pool:
            runs = [pool.submit(part, hiss, folder) for part, folder in zip(parts, folders, strict=True)]
            return [one for run in runs for one in run.result()]


if __name__ == "__main__":
    main()
