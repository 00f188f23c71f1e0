"""Whatever comes in whatever order: an alarm that nobody answered is never silent, an answered one never loud."""

from dataclasses import dataclass, field
from typing import TypeAlias

from hypothesis import given
from hypothesis import strategies as st

from beepwatch.events import AlarmEvent, Changed, Ended, Raised
from beepwatch.waking.escalation import RETELL, Escalation
from tests.waking.bedside import PRIORITIES, Bedside, alarm

Step: TypeAlias = tuple[str, int, str, float]
STEPS = st.lists(
    st.tuples(
        st.sampled_from(["raised", "changed", "ended", "answer", "lose"]),
        st.integers(1, 4),
        st.sampled_from(sorted(PRIORITIES)),
        st.floats(0.1, 2 * RETELL),
    ),
    max_size=40,
)


@dataclass
class Ward:
    """A plain second account: the alarms that are open, and those for which somebody still has to come."""

    open: dict[int, str] = field(default_factory=dict)
    waiting: dict[int, str] = field(default_factory=dict)

    def event(self, kind: str, number: int, pattern: str) -> AlarmEvent | None:
        """The event, where the recogniser could tell it, taken into account."""
        known = self.open.get(number)
        if kind == "ended":
            if known is None:
                return None
            self.open.pop(number)
            return Ended(0, alarm(number, known))
        new = kind == "raised" or known is None
        self.open[number] = pattern
        if PRIORITIES[pattern] == "high" and (new or pattern != known):
            self.waiting[number] = pattern
        return Raised(0, alarm(number, pattern)) if kind == "raised" else Changed(0, alarm(number, pattern), known)

    def answer(self) -> None:
        """Somebody came."""
        self.waiting.clear()


def play(steps: list[Step]) -> tuple[Escalation, Bedside, Ward]:
    """Go through the steps; check after each one."""
    core, bedside, ward, now = Escalation(), Bedside(), Ward(), 0.0
    for kind, number, pattern, wait in steps:
        now += wait
        bedside.do(core.tick(now))
        if kind == "answer":
            ward.answer()
            bedside.do(core.acknowledge(now))
            assert bedside.sound is None
        elif kind == "lose":
            bedside.sound, bedside.lines = None, ()
            bedside.do(core.tick(now + RETELL))
            now += RETELL
        elif (event := ward.event(kind, number, pattern)) is not None:
            bedside.do(core.hear(event, now))
        check(core, bedside, ward)
    return core, bedside, ward


def check(core: Escalation, bedside: Bedside, ward: Ward) -> None:
    """What must hold at any time."""
    assert core.sounding == (bedside.sound is not None) == bool(bedside.lines) == (core.next_at() is not None)
    if ward.waiting:
        assert bedside.sound is not None
        assert set(ward.waiting) <= set(bedside.sound.numbers)
    assert bedside.screen or not bedside.sound


@given(STEPS)
def test_never_silent_with_an_unanswered_high_alarm(steps: list[Step]) -> None:
    """An alarm of high priority that nobody answered sounds, even if an order got lost RETELL s ago."""
    play(steps)


@given(STEPS)
def test_the_most_urgent_of_what_waits_is_told_first(steps: list[Step]) -> None:
    """The priority of the sound is the highest among the open alarms that still wait."""
    _, bedside, ward = play(steps)
    still_high = [n for n in ward.waiting if n in ward.open and PRIORITIES[ward.open[n]] == "high"]
    if still_high:
        assert bedside.sound is not None
        assert bedside.sound.priority == "high"


@given(STEPS)
def test_an_answer_to_everything_and_no_new_alarm_stays_silent(steps: list[Step]) -> None:
    """After the answer more beeps of the same alarms, and their ends, wake nobody."""
    core, bedside, ward = play(steps)
    bedside.do(core.acknowledge(1e6))
    for number, pattern in ward.open.items():
        bedside.do(core.hear(Changed(0, alarm(number, pattern)), 1e6 + 1))
        bedside.do(core.hear(Ended(0, alarm(number, pattern)), 1e6 + 2))
        assert bedside.sound is None
    assert core.tick(2e6) == []


@given(STEPS)
def test_a_woken_alarm_has_a_note_before_its_answer(steps: list[Step]) -> None:
    """The history never has an answer to an alarm that woke nobody."""
    _, bedside, _ = play(steps)
    woken: set[int] = set()
    for number, kind, _at in bedside.notes:
        if kind == "woken":
            woken.add(number)
        if kind == "acknowledged":
            assert number in woken
