"""The steps of a check as plain functions: sound in, findings out. Pure; `cli/check.py` plays and records."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from beepwatch.bedroom.bands import Floor, noise_floor
from beepwatch.bedroom.findings import Finding, finding
from beepwatch.bedroom.lines import line_findings
from beepwatch.bedroom.raw import raw_findings, silent_stretches

Samples = NDArray[np.float32]
Step: TypeAlias = Literal["room", "tone", "echo", "match", "places"]
STEPS: tuple[Step, ...] = ("room", "tone", "echo", "match", "places")
MINUTE = 60.0
"""s of quiet room that a check listens to."""
LEAST = 3.0
"""s without which nothing can be said of a room."""
SHUT = 0.5
"""s of digital silence amid sound that show a gate or a sleep: no room is that quiet."""


@dataclass(frozen=True, slots=True)
class Room:
    """A room while nothing is played."""

    floor: Floor
    """Of the loudest channel."""
    findings: tuple[Finding, ...]


def room_check(samples: Samples, rate: int, tone: float | None) -> Room:
    """A stretch of quiet room, shape (n, channels), LEAST s or more; tone: Hz of the device, where it is known."""
    best = samples[:, int(np.argmax(np.std(np.nan_to_num(samples), axis=0)))]
    floor = noise_floor(best, rate)
    raw = raw_findings(samples, rate)
    if any(each.kind == "muted" for each in raw):
        return Room(floor, tuple(raw))
    shut = silent_stretches(best, rate, SHUT)
    if shut:
        kept = [each for each in raw if each.kind != "drop-outs"]
        longest = max(end - begin for begin, end in shut)
        return Room(floor, (*kept, finding("asleep", longest)))
    return Room(floor, (*raw, *line_findings(best, rate, tone)))
