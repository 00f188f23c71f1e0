"""The table of technical conditions: complete, within the times that are asked for, and the same in the manual."""

from pathlib import Path

import numpy as np
import pytest

from beepwatch.events import Noise
from beepwatch.hearing.repeats import Repeats
from beepwatch.hearing.technical import BY_CAUSE, MESSAGES, TABLE, TOLD, rendered
from beepwatch.hearing.usual import BEGUN, CELLS, KNOWN, Usual, level_of
from beepwatch.waking.messages import Messages
from beepwatch.waking.table import kept

README = Path(__file__).parents[2] / "README.md"
RATE, FRAMES = 16_000, 1_600


def test_the_manual_holds_the_same_table() -> None:
    """README and code cannot drift apart."""
    assert rendered() in README.read_text("utf-8")


def test_each_cause_has_one_row_and_each_row_its_words() -> None:
    """What is sounded has a message of its own; what is only shown has none; all say what happens by itself."""
    assert len(BY_CAUSE) == len(TABLE)
    for row in TABLE:
        assert row.reason
        assert row.recovery
        assert (row.message in Messages().patterns) is row.sounded
    assert {row.message for row in TABLE if row.sounded} == MESSAGES


def test_high_priority_is_told_and_sounded_within_ten_seconds() -> None:
    """7 s leave 3 s for counting frames and opening a speaker; on the screen it stands before."""
    high = [row for row in TABLE if row.level == "high"]
    assert len(high) == 8
    assert all(TOLD < row.seconds <= 8.0 for row in high)


@pytest.mark.parametrize("message", sorted(MESSAGES))
def test_it_takes_itself_back(message: str) -> None:
    """beepwatch knows when it hears again: no such alarm goes on after its condition."""
    assert not kept(message, "high")


@pytest.mark.parametrize("message", sorted(MESSAGES - {"not-started"}))
def test_each_message_says_who_goes_and_what_not_to_rely_on(message: str) -> None:
    """Who, the person first, the family's plan; and until when to listen for oneself, or what still works."""
    call, go, look, unwell, well, check = Messages(caregiver="Anna", person="Sam").lines(message)
    assert call.startswith("Anna.")
    assert "Go to Sam" in go
    assert look == "Look at Sam first."
    assert "backup breathing plan" in unwell
    assert well.startswith("If Sam is well: ")
    assert "listen" in check or "write" in check


def repeats(blocks: "list[np.ndarray[tuple[int, int], np.dtype[np.float32]]]") -> list[bool]:
    watch = Repeats(RATE)
    return [watch.push(block) for block in blocks]


@pytest.mark.parametrize("period", [400, 1600, 7777, 24000])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_buffer_that_repeats_is_found(period: int, channels: int) -> None:
    """Any period up to 2 s, whatever the blocks are: known within 1 s of its second turn."""
    turn = np.random.default_rng(1).normal(size=(period, channels)).astype(np.float32)
    sound = np.tile(turn, (8 * RATE // period + 1, 1))
    told = repeats([sound[at : at + FRAMES] for at in range(0, 6 * RATE, FRAMES)])
    assert all(told[10 * period // RATE + 10 :])


def test_a_constant_is_frozen_too() -> None:
    """Stuck at one value that is not zero."""
    assert repeats([np.full((FRAMES, 1), 0.25, np.float32)] * 20)[-1]


@pytest.mark.parametrize("steps", [1, 2, 30])
def test_a_quiet_microphone_never_repeats(steps: int) -> None:
    """An hour of noise of one, two or 30 steps of 16 bits; nor does digital silence."""
    rng = np.random.default_rng(steps)
    watch = Repeats(RATE)
    for _ in range(36_00):
        block = (np.rint(rng.normal(scale=steps, size=(FRAMES, 1))) / 32768).astype(np.float32)
        assert not watch.push(block)
    assert not any(repeats([np.zeros((FRAMES, 1), np.float32)] * 30))


def learnt(seconds: float, quiet: float = -62.0, loud: float = -50.0) -> Usual:
    """A room that is quiet for half of the time."""
    usual = Usual()
    for at in range(round(seconds / 2)):
        usual.heard(quiet if at % 2 else loud, 2.0)
    return usual


def test_nothing_is_said_of_a_room_that_is_not_known() -> None:
    """In its first ten minutes."""
    assert learnt(BEGUN - 10).heard(-120.0, 2.0) is None


def test_a_fall_far_under_the_quietest_is_a_drop() -> None:
    """10 dB once a night was heard, 25 dB before, when a fan that stops may fall by 20."""
    assert learnt(KNOWN + 10).heard(-74.0, 2.0) == "dropped"
    assert learnt(KNOWN + 10).heard(-71.0, 2.0) is None
    assert learnt(3600.0).heard(-74.0, 2.0) is None
    assert learnt(3600.0).heard(-88.0, 2.0) == "dropped"


def test_a_rise_far_over_the_usual_is_told() -> None:
    """No number comes with it."""
    assert learnt(KNOWN).heard(-39.0, 2.0) == "louder"
    assert learnt(KNOWN).heard(-41.0, 2.0) is None


def test_a_microphone_under_a_pillow_does_not_soon_count_as_usual() -> None:
    """An hour later it is still a drop; some nights later it is the new level."""
    usual = learnt(40 * 3600.0)
    told = [usual.heard(-80.0, 2.0) for _ in range(1800)]
    assert set(told) == {"dropped"}
    for _ in range(20 * 1800):
        usual.heard(-80.0, 2.0)
    assert usual.heard(-80.0, 2.0) is None


def test_what_was_learnt_is_kept_and_damage_is_not_taken_over() -> None:
    """The state goes through a file; one of another shape or with negative times counts for nothing."""
    usual = learnt(KNOWN)
    assert Usual(usual.state).limits() == usual.limits()
    assert Usual([1.0]).learnt == 0
    assert Usual([-1.0] * CELLS).learnt == 0
    assert Usual([float("nan")] * CELLS).learnt == 0


def test_the_level_of_a_room_is_the_mean_of_its_bands() -> None:
    """dBFS."""
    assert level_of(Noise(0.0, ((1000.0, -60.0), (4000.0, -70.0)))) == -65.0
