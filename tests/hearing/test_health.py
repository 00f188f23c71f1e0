"""When not hearing is told: each cause after its time, none before, and none once it is over."""

import pytest

from beepwatch.hearing.health import TOLD, Deaf, Health


def listened(health: Health, until: float, *, silent: bool = False, well: bool = True) -> None:
    """A block each 0.1 s up to `until`."""
    for tick in range(int(until * 10)):
        health.arrived(tick / 10, silent)
        health.understood(tick / 10, well)


def test_a_healthy_hour_is_not_deaf() -> None:
    """Blocks of sound that are understood: never a word."""
    health = Health(0.0)
    for tick in range(36_000):
        health.arrived(tick / 10, silent=False)
        health.understood(tick / 10, well=True)
        assert health.deaf(tick / 10 + 0.05) is None


def test_no_sound_counts_from_the_last_block() -> None:
    """Told only after `TOLD` s without a block."""
    health = Health(0.0)
    listened(health, 10.0)
    assert health.deaf(9.9 + TOLD) is None
    assert health.deaf(9.9 + TOLD + 0.1) == Deaf("no-sound", 9.9)


def test_zeros_count_from_the_last_sound() -> None:
    """Blocks go on, but every sample is exactly zero."""
    health = Health(0.0)
    health.arrived(0.0, silent=False)
    listened(health, 10.0, silent=True)
    assert health.deaf(10.0) == Deaf("digital-silence", 0.0)
    health.arrived(10.1, silent=False)
    assert health.deaf(10.1) is None


def test_failing_counts_from_the_first_failure() -> None:
    """A loop that was held up for long and then catches up is not deaf; one that goes on failing is."""
    health = Health(0.0)
    listened(health, 5.0)
    health.arrived(60.0, silent=False)
    health.understood(60.0, well=False)
    assert health.deaf(60.0) is None
    health.arrived(66.0, silent=False)
    health.understood(66.0, well=False)
    assert health.deaf(66.0) == Deaf("not-understood", 60.0)
    health.understood(66.1, well=True)
    assert health.deaf(66.1) is None


@pytest.mark.parametrize("silent", [True, False])
def test_the_first_cause_on_the_way_of_the_sound_is_told(silent: bool) -> None:
    """Nothing arrives: whether the last blocks were silent does not matter."""
    health = Health(0.0)
    listened(health, 3.0, silent=silent, well=False)
    deaf = health.deaf(30.0)
    assert deaf is not None
    assert deaf.cause == "no-sound"
