"""Tone and level of beeps through a real sound server, against what was played.

`python -m tests.bench.distances [--out FILE]` plays five beeps at each of three levels (three distances) into the
virtual room of tests/live, hears them by the live microphone, and prints the errors.
"""

import argparse
import json
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import fmean

import numpy as np
import soundfile

from beepwatch.bedroom.playing import record
from beepwatch.bedroom.sounds import BEEP, BEEPS, LEVEL, PAUSE, beeps
from beepwatch.events import Beep
from beepwatch.recognizer import Recognizer
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.resample import Resampler
from tests.live.room import Room

TONE, RATE = 2731.7, 48_000
DISTANCES = {"0.5 m": 0.0, "1.6 m": -10.0, "5 m": -20.0}
"""dB re the nearest, in free air (theory)."""
NOISE = -50.0
"""dBFS to half the rate: -54.8 in 0-8 kHz, 25 dB under the nearest tone."""


def scene() -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """All beeps, near to far, in white noise."""
    parts = [beeps(TONE, RATE) * 10 ** ((gain - 20) / 20) for gain in DISTANCES.values()]
    sound = np.concatenate(parts)
    noise = np.random.default_rng(1).standard_normal(len(sound)) * 10 ** ((NOISE - 3.01) / 20)
    return (sound + noise).astype(np.float32)


def heard(path: Path, seconds: float) -> list[Beep]:
    """What the recogniser makes of the file as the live microphone hears it."""
    room = Room()
    os.environ.update(room.env)
    try:
        microphone = Microphone("pulse")
        playing = room.play(path)
        captured = record(microphone, seconds + 2)
        playing.wait(timeout=10)
        microphone.close()
    finally:
        room.close()
    resampler = Resampler(captured.rate, captured.samples.shape[1])
    recognizer = Recognizer(captured.samples.shape[1], tone=TONE)
    sound = np.concatenate([resampler.push(captured.samples), resampler.flush()])
    return [each for each in [*recognizer.push(sound), *recognizer.flush()] if isinstance(each, Beep)]


def main(given: Sequence[str] | None = None) -> None:
    """Play, hear, print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--out", type=Path, metavar="FILE", help="write it as JSON")
    chosen = options.parse_args(given)
    sound = scene()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scene.wav"
        soundfile.write(path, sound, RATE, "PCM_24")
        told = heard(path, len(sound) / RATE)
    first = told[0].onset - 1.0
    span = 1.0 + BEEPS * (BEEP + PAUSE)
    rows = []
    for i, (distance, gain) in enumerate(DISTANCES.items()):
        here = [each for each in told if i * span <= each.onset - first < (i + 1) * span]
        level = [each.level - (LEVEL - 4 + gain - 20) for each in here]
        tone = [each.frequency - TONE for each in here]
        rows.append({"distance": distance, "found": len(here), "of": BEEPS, "snr": fmean(e.snr for e in here),
                     "level": fmean(level), "level, worst": max(level, key=abs),
                     "hertz": fmean(tone), "hertz, worst": max(tone, key=abs)})  # fmt: skip
        print(
            f"{distance}: {len(here)} of {BEEPS}, SNR {rows[-1]['snr']:.1f} dB, "
            f"level {fmean(level):+.2f} (worst {max(level, key=abs):+.2f}) dB, "
            f"tone {fmean(tone):+.3f} (worst {max(tone, key=abs):+.3f}) Hz"
        )
    if chosen.out is not None:
        chosen.out.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
