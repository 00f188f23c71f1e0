"""When not hearing is told: each cause after its time, none before, and none once it is over."""

import pytest

from beepwatch.hearing.health import Deaf, Health
from beepwatch.hearing.technical import TOLD


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


def test_a_frozen_buffer_counts_from_the_last_new_sound() -> None:
    """Blocks go on, not silent, but all were there before."""
    health = Health(0.0)
    listened(health, 10.0)
    for tick in range(100, 200):
        health.arrived(tick / 10, silent=False, repeated=True)
    assert health.deaf(19.9) == Deaf("frozen-sound", 9.9)
    health.arrived(20.0, silent=False)
    assert health.deaf(20.0) is None


def test_another_microphone_counts_from_the_last_time_it_was_the_right_one() -> None:
    """A look that tells nothing is no look, however long ago the last one was."""
    health = Health(0.0)
    health.placed(1.0, right=True)
    listened(health, 30.0)
    assert health.deaf(30.0) is None
    health.placed(27.0, right=True)
    health.placed(30.0, right=False)
    assert health.deaf(30.1) is None
    health.placed(33.0, right=False)
    health.arrived(33.0, silent=False)
    assert health.deaf(33.0) == Deaf("microphone-moved", 27.0)
    for look in (36.0, 36.0, 39.0):
        health.arrived(look, silent=False)
        assert health.deaf(look) is not None
        health.placed(look, right=True)
    assert health.deaf(39.0) is None


def test_a_call_that_hangs_gives_the_missing_sound_its_name() -> None:
    """No block: whose fault it is only changes the words."""
    health = Health(0.0)
    health.hangs(True)
    assert health.deaf(4.0) is None
    assert health.deaf(6.0) == Deaf("server-hung", 0.0)
    health.hangs(False)
    assert health.deaf(6.0) == Deaf("no-sound", 0.0)


def losing(health: Health, until: float, share: float, each: float = 2.0) -> list[float]:
    """Steady losses told each `each` s; the times at which the room was not heard."""
    deaf = []
    for tick in range(1, int(until * 10)):
        health.arrived(tick / 10, silent=False)
        if tick % round(each * 10) == 0:
            health.lost(tick / 10, share * each)
        if health.deaf(tick / 10) is not None:
            deaf.append(tick / 10)
    return deaf


def test_much_sound_lost_on_its_way_is_deafness() -> None:
    """Half of the frames are missing: told after three losses, and counted from before the first."""
    deaf = losing(Health(0.0), 20.0, 0.5)
    assert deaf[0] == pytest.approx(6.0, abs=0.2)
    assert deaf[-1] == 19.9


@pytest.mark.parametrize(("share", "each"), [(0.1, 2.0), (0.5, 7.0)])
def test_little_or_rare_losses_are_none(share: float, each: float) -> None:
    """A tenth of the frames, or a cough each 7 s: shown, and no reason to wake anybody."""
    assert losing(Health(0.0), 600.0, share, each) == []


def test_one_long_loss_is_a_cough() -> None:
    """30 s are gone at once (the computer slept): what comes after is heard."""
    health = Health(0.0)
    health.lost(30.0, 30.0)
    health.arrived(30.0, silent=False)
    for tick in range(301, 400):
        health.arrived(tick / 10, silent=False)
        assert health.deaf(tick / 10) is None
