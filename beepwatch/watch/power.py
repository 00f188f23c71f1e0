"""Is there mains power, and how long will the battery do? From Linux' /sys/class/power_supply; elsewhere unknown."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path("/sys/class/power_supply")


@dataclass(frozen=True, slots=True)
class Power:
    """Where this computer has its power from."""

    battery: bool
    """It runs on its battery."""
    minutes: float | None
    """Left in the battery, as it is used now; None where that cannot be told."""

    @property
    def detail(self) -> str:
        """How long it will do, in words; "" where that is not known."""
        return "" if self.minutes is None else f"about {self.minutes:.0f} min are left"


def power(root: Path = ROOT) -> Power | None:
    """What holds now; None for a computer without a battery of its own (a mouse's does not count)."""
    supplies = [one for one in sorted(root.glob("*")) if _text(one / "scope") != "Device"] if root.is_dir() else []
    batteries = [one for one in supplies if _text(one / "type") == "Battery"]
    if not batteries:
        return None
    mains = [_text(one / "online") for one in supplies if _text(one / "type") in ("Mains", "USB")]
    draining = any(_text(one / "status") == "Discharging" for one in batteries)
    on_battery = draining and "1" not in mains
    left = [minutes for one in batteries if (minutes := _minutes(one)) is not None]
    return Power(on_battery, sum(left) if on_battery and left else None)


def _minutes(battery: Path) -> float | None:
    """Of one battery: from its own estimate, else energy over power, else charge over current (all in micro units)."""
    told = _number(battery / "time_to_empty_now")
    if told is not None and told > 0:
        return told / 60
    for store, drain in (("energy_now", "power_now"), ("charge_now", "current_now")):
        left, rate = _number(battery / store), _number(battery / drain)
        if left is not None and rate:
            return abs(60 * left / rate)
    return None


def _number(path: Path) -> float | None:
    try:
        return float(_text(path))
    except ValueError:
        return None


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""
