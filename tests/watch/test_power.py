"""Mains and battery, read from a folder laid out as Linux' /sys/class/power_supply."""

from pathlib import Path

import pytest

from beepwatch.watch.power import Power, power


def supply(root: Path, name: str, **files: str) -> None:
    (root / name).mkdir(parents=True)
    for key, value in files.items():
        (root / name / key).write_text(f"{value}\n")


def laptop(root: Path, online: str, status: str, **battery: str) -> Power | None:
    supply(root, "AC", type="Mains", online=online)
    supply(root, "BAT0", type="Battery", status=status, **battery)
    supply(root, "hidpp_battery_0", type="Battery", scope="Device", status="Discharging")
    return power(root)


def test_a_computer_without_a_battery_tells_nothing(tmp_path: Path) -> None:
    """A desktop, another system, or only a mouse's battery."""
    assert power(tmp_path / "none") is None
    supply(tmp_path, "mouse", type="Battery", scope="Device", status="Discharging")
    assert power(tmp_path) is None


def test_with_mains_nothing_is_wrong(tmp_path: Path) -> None:
    """Charging, full, or held at a limit."""
    assert laptop(tmp_path, "1", "Not charging", energy_now="40000000", power_now="0") == Power(False, None)


def test_energy_over_power_is_the_time_left(tmp_path: Path) -> None:
    """20 Wh at 10 W are two hours."""
    found = laptop(tmp_path, "0", "Discharging", energy_now="20000000", power_now="10000000")
    assert found is not None
    assert found.battery
    assert found.minutes == pytest.approx(120)
    assert found.detail == "about 120 min are left"


def test_charge_over_current_is_too(tmp_path: Path) -> None:
    """Some batteries tell ampere hours, some of them a negative current."""
    found = laptop(tmp_path, "0", "Discharging", charge_now="2000000", current_now="-4000000")
    assert found is not None
    assert found.minutes == pytest.approx(30)


def test_its_own_estimate_goes_first(tmp_path: Path) -> None:
    """In seconds."""
    assert laptop(tmp_path, "0", "Discharging", time_to_empty_now="900") == Power(True, 15)


def test_what_cannot_be_read_is_not_made_up(tmp_path: Path) -> None:
    """Discharging with no figures, or with words in their place."""
    found = laptop(tmp_path, "0", "Discharging", energy_now="unknown", power_now="0")
    assert found == Power(True, None)
    assert found.detail == ""
