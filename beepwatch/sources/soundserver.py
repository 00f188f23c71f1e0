"""What a PulseAudio or PipeWire server tells through `pactl`: where our sound comes from, whether a sink is mute.

Elsewhere nothing is told, and nothing is made of that. Each question is a process of its own with a time-out (a frozen
server never answers; measured: 3 ms of a core where it does).
"""

import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import TypeAlias, TypeVar

import msgspec

from beepwatch.sources.clock import ticking

PATIENCE = 2.0
"""s to wait for an answer."""
EACH = 3.0
"""s between two looks for the microphone: twice within the 8 s after which somebody is woken."""
SINK_LOOKS = 10
"""Looks for the microphone between two looks at the sink: half a minute."""

Ask: TypeAlias = Callable[..., bytes | None]
"""Words of the question -> the answer, or None."""
Rows = TypeVar("Rows")


class _Recording(msgspec.Struct, frozen=True):
    """A stream that records."""

    index: int
    source: int
    properties: dict[str, str] = {}


class _Source(msgspec.Struct, frozen=True):
    """A microphone, as the server sees it."""

    index: int
    name: str


class _Volume(msgspec.Struct, frozen=True):
    value: int


class Sink(msgspec.Struct, frozen=True):
    """A loudspeaker, as the server sees it."""

    name: str
    mute: bool
    volume: dict[str, _Volume] = {}

    @property
    def silent(self) -> bool:
        """Whether nothing would be heard of it."""
        return self.mute or all(one.value == 0 for one in self.volume.values())


def pactl(*words: str) -> bytes | None:
    """What `pactl` answers; None where it is missing, fails or does not answer in time."""
    if shutil.which("pactl") is None:
        return None
    env = os.environ | {"LC_ALL": "C"}  # other languages write other numbers
    try:
        done = subprocess.run(("pactl", *words), env=env, capture_output=True, timeout=PATIENCE, check=True)
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout


def place_of(process: int, ask: Ask = pactl) -> tuple[int, int] | None:
    """(Newest stream by which this process records, source that it comes from); None where that cannot be told."""
    recordings = _rows(ask("-f", "json", "list", "source-outputs"), list[_Recording])
    ours = [one for one in recordings or () if one.properties.get("application.process.id") == str(process)]
    if not ours:
        return None
    newest = max(ours, key=lambda one: one.index)
    return newest.index, newest.source


def name_of(place: int, ask: Ask = pactl) -> str | None:
    """Name of the source of this number; None where that cannot be told."""
    sources = _rows(ask("-f", "json", "list", "sources"), list[_Source])
    return next((one.name for one in sources or () if one.index == place), None)


def default_sink(ask: Ask = pactl) -> Sink | None:
    """The sink that plays what asks for none by name; None where that cannot be told."""
    name = os.environ.get("PULSE_SINK") or (ask("get-default-sink") or b"").decode(errors="replace").strip()
    sinks = _rows(ask("-f", "json", "list", "sinks"), list[Sink])
    return next((one for one in sinks or () if one.name == name), None)


def _rows(answer: bytes | None, kind: type[Rows]) -> Rows | None:
    try:
        return None if answer is None else msgspec.json.decode(answer, type=kind)
    except msgspec.DecodeError:
        return None


@dataclass(slots=True)
class Whereabouts:
    """Looks from a thread of its own, each few seconds, where our sound comes from.

    at: clock reading of the newest look that told something. right: whether it was the microphone of the first look.
    """

    process: int
    ask: Ask = pactl
    clock: Callable[[], float] = ticking
    at: float = 0.0
    right: bool = True
    first: str | None = None
    now: str | None = None
    muted: bool = False
    """Whether the default sink is muted, as of the newest look each minute."""
    _place: tuple[int, int] | None = None
    _over: Event = field(default_factory=Event)

    def start(self) -> "Whereabouts":
        """Begin to look, where there is something to ask."""
        if shutil.which("pactl") is not None:
            Thread(target=self._work, name="whereabouts", daemon=True).start()
        return self

    def look(self) -> None:
        """Look once."""
        place = place_of(self.process, self.ask)
        name = self.now if place is not None and place == self._place else None
        if place is not None and name is None:
            name = name_of(place[1], self.ask)
        if name is None:
            return
        self._place = place
        self.first = self.first or name
        self.now = name
        self.right = name == self.first
        self.at = self.clock()

    def look_at_sink(self) -> None:
        """Look once whether the default sink is muted; where that cannot be told, it is not."""
        sink = default_sink(self.ask)
        self.muted = sink is not None and sink.silent

    def close(self) -> None:
        """Look no more."""
        self._over.set()

    def _work(self) -> None:
        looks = 0
        while not self._over.wait(EACH):
            self.look()
            looks += 1
            if looks % SINK_LOOKS == 1:
                self.look_at_sink()
