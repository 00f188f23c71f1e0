"""Every state and everything that may happen in it, seen from outside."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias, get_args

import pytest

from beepwatch.events import Changed, Ended, Raised
from beepwatch.waking.escalation import Escalation
from beepwatch.waking.table import LOUD, TABLE, URGENCY, Happening, State, kept, urgency, wakes
from tests.waking.bedside import PRIORITIES, Bedside, alarm

KEPT, PASSING, LOW = "backup-battery", "medical-medium", "unknown"
"""Two medium patterns, one that is kept until a person answers and one that is not; and one that does not wake."""
Move: TypeAlias = Callable[[Escalation, Bedside, str], None]


def raise_it(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """It begins."""
    bedside.do(core.hear(Raised(0, alarm(1, pattern)), 0.0))


def end_it(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """Its beeping stops."""
    bedside.do(core.hear(Ended(1, alarm(1, pattern)), 1.0))


def answer(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """A person answers."""
    bedside.do(core.acknowledge(2.0))


def beep_again(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """One more beep."""
    bedside.do(core.hear(Changed(3, alarm(1, pattern)), 3.0))


def rename(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """It has another name, as urgent."""
    bedside.do(core.hear(Changed(4, alarm(1, "other", "medium"), pattern), 4.0))


def play_down(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """It has a name that does not wake."""
    bedside.do(core.hear(Changed(5, alarm(1, "other", "low"), pattern), 5.0))


def rename_late(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """As `rename`, without a new beep."""
    bedside.do(core.hear(Ended(4, alarm(1, "other", "medium")), 4.0))


def pause_it(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """A planned pause begins."""
    bedside.do(core.pause(2.0, 1e6, "20:40"))


def resume_it(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """The pause is over, if there was one."""
    bedside.do(core.resume(6.0))


def play_down_late(core: Escalation, bedside: Bedside, pattern: str) -> None:
    """As `play_down`, without a new beep."""
    bedside.do(core.hear(Ended(5, alarm(1, "other", "low")), 5.0))


# What a person notices in each state: is there sound, and what the screen says of it.
Seen: TypeAlias = tuple[bool, frozenset[str]]
SIGNS: dict[State, Seen] = {
    State.SHOWN: (False, frozenset()),
    State.SOUNDING: (True, frozenset()),
    State.STOPPED: (True, frozenset({"stopped"})),
    State.ACKNOWLEDGED: (False, frozenset({"answered"})),
    State.PAUSED: (False, frozenset({"paused"})),
    State.OVER: (False, frozenset({"stopped"})),
}
WORDS = {"stopped": "The beeping has stopped.", "answered": "Quiet until this", "paused": "Quiet until the pause"}


def seen(bedside: Bedside) -> Seen:
    """What there is of the signs."""
    return bedside.sound is not None, frozenset(sign for sign, words in WORDS.items() if words in bedside.screen)


ROADS: list[tuple[State, str, list[Move]]] = [
    (State.SHOWN, LOW, [raise_it]),
    (State.SOUNDING, KEPT, [raise_it]),
    (State.SOUNDING, PASSING, [raise_it]),
    (State.STOPPED, KEPT, [raise_it, end_it]),
    (State.ACKNOWLEDGED, KEPT, [raise_it, answer]),
    (State.ACKNOWLEDGED, PASSING, [raise_it, answer]),
    (State.PAUSED, KEPT, [raise_it, pause_it]),
    (State.PAUSED, PASSING, [pause_it, raise_it]),
]
MOVES: dict[Happening, Move] = {
    "acknowledged": answer,
    "renamed": rename,
    "played-down": play_down,
    "again": beep_again,
    "ended": end_it,
    "paused": pause_it,
    "resumed": resume_it,
}
LATE: dict[Move, Move] = {rename: rename_late, play_down: play_down_late}
"""Once the beeping has stopped: a new beep would be a second thing that happens."""


@pytest.mark.parametrize(("state", "pattern", "road"), ROADS)
@pytest.mark.parametrize("what", MOVES)
def test_each_pair_does_what_the_table_says(state: State, pattern: str, road: list[Move], what: Happening) -> None:
    """Whatever happens in whatever state, a person notices the state that the table names."""
    core, bedside = Escalation(), Bedside()
    for move in road:
        move(core, bedside, pattern)
    assert seen(bedside) == SIGNS[state]
    move = MOVES[what]
    (LATE.get(move, move) if state is State.STOPPED else move)(core, bedside, pattern)
    if_kept, otherwise = TABLE[state, what]
    after = if_kept if pattern == KEPT or what == "renamed" else otherwise
    if (after, what) == (State.OVER, "paused") or (state, after) == (State.PAUSED, State.OVER):
        assert seen(bedside) == (False, frozenset())  # the screen is the pause's
    else:
        assert seen(bedside) == SIGNS[after]


def test_what_still_beeps_90_s_after_an_answer_wakes_again() -> None:
    """Of high priority, by the table's "unmended"; before that time, and of medium priority, it does not."""
    for pattern, priority, again in (("lead-disconnect", "high", True), ("medical-medium", "medium", False)):
        core, bedside = Escalation(), Bedside()
        raise_it(core, bedside, pattern)
        answer(core, bedside, pattern)
        bedside.do(core.hear(Changed(91, replace(alarm(1, pattern), last=91.0)), 91.9))
        assert bedside.sound is None
        bedside.do(core.hear(Changed(95, replace(alarm(1, pattern), last=95.0)), 95.0))
        assert (bedside.sound is not None) == again, priority


def test_the_table_is_whole() -> None:
    """There is an answer for each state that is kept and each thing that may happen, and none beside."""
    states = [state for state in State if state is not State.OVER]
    assert set(TABLE) == {(state, what) for state in states for what in get_args(Happening)}


def test_only_a_person_or_the_end_of_a_passing_alarm_ends_waking() -> None:
    """A person answers or plans a pause; nothing else leads from a state that wakes to one that does not."""
    for (state, what), (if_kept, otherwise) in TABLE.items():
        if state in LOUD and what not in ("acknowledged", "paused"):
            assert if_kept in LOUD
            assert otherwise in LOUD or what == "ended"


def test_nobody_is_woken_before_an_acknowledged_condition_ends() -> None:
    """Acknowledged is silenced until the condition ends (IEC 60601-1-8, quoted): more of the same does not wake."""
    for what in ("again", "acknowledged", "played-down"):
        assert TABLE[State.ACKNOWLEDGED, what] == (State.ACKNOWLEDGED, State.ACKNOWLEDGED)


def test_the_patterns_are_in_order_of_priority() -> None:
    """The order of urgency never puts a lower priority before a higher one, and knows every profile."""
    assert set(URGENCY) == set(PRIORITIES)
    keys = [urgency(pattern, PRIORITIES[pattern]) for pattern in URGENCY]
    assert keys == sorted(keys)


@pytest.mark.parametrize(("pattern", "woken", "until_answered"), [
    ("lead-disconnect", True, True),
    ("battery-critical", True, True),
    ("backup-battery", True, True),
    ("fire", True, True),
    ("carbon-monoxide", True, True),
    ("medical-high", True, True),
    ("medical-medium", True, False),
    ("unknown", False, False),
])  # fmt: skip
def test_which_patterns_wake_and_which_are_kept(pattern: str, woken: bool, until_answered: bool) -> None:
    """All but `unknown` wake; all that wake but another device's medium call go on until answered."""
    assert wakes(PRIORITIES[pattern]) == woken
    assert kept(pattern, PRIORITIES[pattern]) == until_answered
