"""What tests of teaching share: beeps made up, a talk with its answers ready, and a small night as a file."""

from io import StringIO
from pathlib import Path

import soundfile

from beepwatch.bedroom.talk import Talk
from beepwatch.events import Beep, Character
from beepwatch.synthesis import decode, render

NIGHT = """
duration = 34.0
seed = 8
level = -60.0
[background]
kind = "white"
[[alarms]]
pattern = "lead-disconnect"
start = 3.0
count = {count}
breaths_a_minute = 15
length = 1.2
snr = 12.0
tone = {tone}
"""


def beep(onset: float, tone: float = 2730.0, length: float = 1.2, level: float = -40.0, snr: float = 10.0) -> Beep:
    """A buzzer's beep."""
    return Beep(onset, length, tone, level, snr, onset + length + 0.2, character=Character())


def night(path: Path, count: int = 6, tone: float = 2730.0) -> Path:
    """A recording of 34 s with `count` beeps of a cable alarm."""
    scenario = decode(NIGHT.format(count=count, tone=tone))
    soundfile.write(path, render(scenario).samples, scenario.rate)
    return path


class Told:
    """A talk whose answers are ready, and what it said."""

    def __init__(self, *answers: str) -> None:
        self.out = StringIO()
        self.talk = Talk(StringIO("".join(f"{answer}\n" for answer in answers)), self.out)

    @property
    def said(self) -> str:
        return self.out.getvalue()
