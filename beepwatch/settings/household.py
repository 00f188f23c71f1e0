"""All that is known of one household, read together, and whether it has changed since."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from beepwatch.settings.file import FILE, SOUNDERS, load, load_sounders
from beepwatch.settings.model import BY_NAME, KEYS, Settings, value_of
from beepwatch.settings.sounder import NEAR_DEVICE, Aside, Sounder, aside, device_of

Origin: TypeAlias = Literal["command line", "file", "default", "taught"]

DEFAULTS = Settings()


@dataclass(frozen=True, slots=True)
class Household:
    """Settings, taught sounders, and what follows from both."""

    folder: Path
    settings: Settings = DEFAULTS
    given: frozenset[str] = frozenset()
    """Keys that the file gives."""
    sounders: tuple[Sounder, ...] = ()

    @property
    def device(self) -> Sounder | None:
        """The taught beep of the breathing device; None while it is not taught."""
        return device_of(self.sounders, self.settings.device.sounder)

    @property
    def tone(self) -> float | None:
        """Hz of the device: as set, else as taught (drift followed); None where neither is known."""
        if self.settings.device.tone is not None:
            return self.settings.device.tone
        return None if self.device is None else self.device.now

    def length_at(self, tone: float | None) -> float | None:
        """s of the device's breath-long beep, where it was taught on about this tone (Hz)."""
        one = self.device
        return one.length if one is not None and tone and abs(one.now / tone - 1) < NEAR_DEVICE else None

    @property
    def aside(self) -> Aside:
        """Beeps that are ignored or only logged."""
        return aside(self.sounders, self.tone)

    @property
    def notes(self) -> tuple[str, ...]:
        """One line for each thing that is not as it was meant."""
        chosen = self.settings.device.sounder
        lost = chosen and self.device is None
        missing = (f"device.sounder = {chosen!r}, but no beep of that name that wakes is taught",) if lost else ()
        return (*missing, *self.aside.notes)


@dataclass(frozen=True, slots=True)
class Row:
    """One setting as it holds."""

    name: str
    value: str
    origin: Origin
    may_be: str
    waits: bool


def household(folder: Path) -> Household:
    """Read it all from `folder`. Raises InputError, one line, for anything that cannot be understood."""
    settings, keys = load(folder)
    return Household(folder, settings, keys, tuple(load_sounders(folder)))


def rows(home: Household, options: Mapping[str, str]) -> list[Row]:
    """Every setting with its value and where it came from; `options`: what the command line gives, by key."""
    return [_row(home, key.name, options) for key in KEYS]


def signature(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """What changes when any of the files does; cheap enough for each second."""
    paths = [folder / FILE, *sorted((folder / SOUNDERS).glob("*.toml"))]
    marks = []
    for path in paths:
        try:
            status = path.stat()
        except OSError:
            continue
        marks.append((path.name, status.st_mtime_ns, status.st_ino))
    return tuple(marks)


def _row(home: Household, name: str, options: Mapping[str, str]) -> Row:
    key = BY_NAME[name]
    origin: Origin = "default"
    value, shown = value_of(home.settings, name), key.default
    if name in home.given and value is not None:
        shown, origin = f"{value:g}" if isinstance(value, int | float) else value, "file"
    elif name == "device.tone" and home.device is not None:
        shown, origin = f"{home.device.now:.1f} ({home.device.name})", "taught"
    elif name == "device.sounder" and home.device is not None:
        shown, origin = home.device.name, "taught"
    if name in options:
        shown, origin = options[name], "command line"
    return Row(name, shown, origin, key.may_be, key.waits)
