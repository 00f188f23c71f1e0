"""The ladder by simulated nights: who is called by what and when, for whichever reason the next step begins."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.events import Changed, Ended, Raised
from beepwatch.waking.actions import Action, Hush, Note, Reach, Remind, Show, Sound
from beepwatch.waking.entry import CHANGED, DRILLED
from beepwatch.waking.escalation import Escalation
from beepwatch.waking.ladder import AGAIN, ON_DUTY, SECOND, Duty, Ladder, Step
from beepwatch.waking.messages import Messages
from beepwatch.waking.table import UNMENDED
from tests.waking.bedside import Bedside, alarm

LADDER = Ladder((
    Step(0.0, ON_DUTY, ("shaker",)),
    Step(60.0, ON_DUTY, ("speaker",)),
    Step(120.0, SECOND, ("speaker", "lamp")),
    Step(300.0, "Gran", ("call",)),
))  # fmt: skip
ANNA_BEN = Duty("Anna", "Ben")


def night(ladder: Ladder = LADDER) -> Escalation:
    return Escalation(Messages("Anna", "Sam"), ladder, lambda now: ANNA_BEN)


def reached(actions: list[Action]) -> list[tuple[str, str]]:
    """(way, whom) of each call."""
    return [(action.way, action.alert.to) for action in actions if isinstance(action, Reach)]


def ticked(core: Escalation, until: float, start: float = 0.0) -> list[tuple[float, str, str]]:
    """(s, way, whom) of each call from `start` to `until`, asked each quarter second as the loop does."""
    made = []
    for quarter in range(int(4 * start), int(4 * until) + 1):
        made += [(quarter / 4, way, whom) for way, whom in reached(core.tick(quarter / 4))]
    return made


def test_each_step_begins_at_its_time_and_calls_whom_it_names() -> None:
    """The shaker at once; the speaker after a minute, for Anna, then for both; Gran after five; then all again."""
    core, bedside = night(), Bedside()
    first = core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    assert reached(first) == [("shaker", "Anna")]
    assert not core.sounding
    assert core.waking
    bedside.do(core.tick(60.0))
    assert bedside.lines[0] == "Anna. Anna."
    bedside.do(core.tick(120.0))
    assert bedside.lines[:2] == ("Anna. Anna.", "Ben. Ben.")
    assert ticked(core, 359.75, 120.25) == [(300.0, "call", "Gran")]
    assert core.tick(300.0 + AGAIN - 0.1) == []
    assert ticked(core, 300.0 + AGAIN, 300.0 + AGAIN) == [
        (360.0, "shaker", "Anna"), (360.0, "lamp", "Ben"), (360.0, "call", "Gran"),
    ]  # fmt: skip


def test_what_a_way_is_told_is_whole() -> None:
    """Number, pattern, title and lines, the name of whom it is for first of all."""
    (alert,) = [one.alert for one in night().hear(Raised(0, alarm(7, "fire")), 0.0) if isinstance(one, Reach)]
    assert (alert.numbers, alert.pattern, alert.priority, alert.to, alert.drill) == (
        (7,),
        "fire",
        "high",
        "Anna",
        False,
    )
    assert alert.title == "Smoke alarm: get out"
    assert alert.lines == Messages("Anna", "Sam").lines("fire")


@pytest.mark.parametrize(("way", "number", "hurries"), [("shaker", 1, True), ("lamp", 1, False), ("shaker", 2, False)])
def test_a_step_that_fails_makes_the_next_one_begin_at_once(way: str, number: int, hurries: bool) -> None:
    """Of the newest step and of that alarm; a failure of something else hurries nothing."""
    core = night()
    core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    core.fail(way, number)
    actions = core.tick(1.0)
    assert any(isinstance(action, Sound) for action in actions) == hurries


def test_the_step_after_a_hurried_one_keeps_its_time() -> None:
    """The second caregiver is still called at two minutes, unless the hurried step fails too."""
    core = night()
    core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    core.fail("shaker", None)
    core.tick(1.0)
    assert ticked(core, 120.0, 1.25) == [(120.0, "lamp", "Ben")]
    core.fail("lamp", None)
    assert reached(core.tick(121.0)) == [("call", "Gran")]


def test_an_answer_hushes_every_way_that_was_called() -> None:
    """So does the end of a passing alarm; ways that were not called are told nothing."""
    core = night()
    core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    core.tick(120.0)
    actions = core.acknowledge(130.0, by="Anna", via="page")
    assert [one.way for one in actions if isinstance(one, Hush)] == ["shaker", "lamp"]
    assert Note(1, "acknowledged", 130.0, "Anna", "page") in actions
    assert core.tick(1000.0) == []
    core.hear(Raised(0, alarm(2, "medical-medium")), 2000.0)
    assert Hush("shaker", (2,)) in core.hear(Ended(0, alarm(2, "medical-medium")), 2010.0)


def test_an_answer_to_one_alarm_leaves_the_other_waking() -> None:
    """A number that is no longer awake answers nothing: a late tap must not silence what is new."""
    core = night()
    core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    core.hear(Raised(0, alarm(2, "battery-critical")), 5.0)
    core.acknowledge(10.0, number=1)
    assert core.waking
    assert core.acknowledge(11.0, number=1) == []
    core.acknowledge(12.0, number=2)
    assert not core.waking


def test_beeping_90_s_after_an_answer_calls_the_second_caregiver() -> None:
    """The ladder begins anew with Ben in Anna's place, says that it beeps still, and the history knows."""
    core, bedside = night(Ladder((Step(0.0, ON_DUTY, ("speaker", "shaker")),))), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    bedside.do(core.acknowledge(20.0))
    one = alarm(1, "lead-disconnect")
    for second in range(25, 110, 5):
        bedside.do(core.hear(Changed(0, replace(one, last=float(second), beeps=second)), float(second)))
    assert bedside.sound is None
    actions = core.hear(Changed(0, replace(one, last=110.0, beeps=200)), 20.0 + UNMENDED)
    bedside.do(actions)
    assert bedside.lines[:2] == ("Ben. Ben.", Messages().still)
    assert reached(actions) == [("shaker", "Ben")]
    assert Note(1, "again", 110.0) in actions


def test_a_rename_tells_every_way_again() -> None:
    """Who was called for a cable must know that it is a battery."""
    core = night()
    core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)
    actions = core.hear(Changed(5, alarm(1, "battery-critical"), "lead-disconnect"), 5.0)
    (alert,) = [one.alert for one in actions if isinstance(one, Reach)]
    assert (alert.pattern, alert.to) == ("battery-critical", "Anna")
    assert Messages().renamed in alert.lines


def test_each_further_hourly_beep_reminds_once_until_the_battery_is_changed() -> None:
    """One reminder a beep after an answer; none after "changed"; a beep an hour later is an alarm again."""
    core, one = night(Ladder()), alarm(1, "backup-battery")
    core.hear(Raised(0, one), 0.0)
    core.acknowledge(30.0)
    reminders = []
    for hour in (1, 2, 3):
        now = 3600.0 * hour
        beeping = replace(one, beeps=3 + hour, last=now)
        reminders += [a for a in core.hear(Changed(0, beeping), now) if isinstance(a, Remind)]
        assert core.hear(Changed(0, beeping), now + 1) == []  # a better figure of the same beep
    assert [reminder.lines for reminder in reminders] == [Messages("Anna").reminder("Anna")] * 3
    assert Note(1, "battery-changed", 11_000.0, "Ben", "page") in core.changed(11_000.0, "Ben", "page")
    late = replace(one, beeps=7, last=11_100.0)
    assert not [a for a in core.hear(Changed(0, late), 11_100.0) if isinstance(a, Remind | Sound)]
    later = replace(one, beeps=8, last=14_700.0)
    assert CHANGED < 3_700.0
    assert any(isinstance(action, Sound) for action in core.hear(Changed(0, later), 14_700.0))


def test_a_reminder_takes_the_ways_of_the_first_step() -> None:
    """A caregiver who does not hear is reminded by the shaker: on, and off again."""
    core, one = night(), alarm(1, "backup-battery")
    core.hear(Raised(0, one), 0.0)
    core.acknowledge(30.0)
    actions = core.hear(Changed(0, replace(one, beeps=4, last=3600.0)), 3600.0)
    assert [(type(action).__name__, action.way) for action in actions if isinstance(action, Reach | Hush)] == [
        ("Reach", "shaker"), ("Hush", "shaker"),
    ]  # fmt: skip
    assert not any(isinstance(action, Remind) for action in actions)


def test_afterwards_one_question_is_asked_and_answered_once() -> None:
    """Shown once nothing wakes; the answer takes it away and goes to the history; a drill is not asked about."""
    core, bedside = night(Ladder()), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    assert not core.asks
    bedside.do(core.acknowledge(20.0))
    assert core.asks
    assert "What was it?" in bedside.screen
    actions = core.found(60.0, None, "cable", "Anna", "keyboard")
    bedside.do(actions)
    assert Note(1, "found", 60.0, "Anna", "keyboard", "cable") in actions
    assert "What was it?" not in bedside.screen
    assert core.found(61.0, None, "cable") == []


def test_a_pause_silences_the_device_and_its_end_wakes_for_what_still_beeps() -> None:
    """What began and ended within wakes nobody; what beeps on is told as such; the screen says NOT LISTENING."""
    core, bedside = night(Ladder()), Bedside()
    bedside.do(core.pause(0.0, 1800.0, "20:40"))
    assert bedside.screen.splitlines()[0] == "NOT LISTENING until 20:40"
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 100.0))
    bedside.do(core.hear(Ended(0, alarm(1, "lead-disconnect")), 200.0))
    bedside.do(core.hear(Raised(0, alarm(2, "lead-disconnect")), 1000.0))
    bedside.do(core.hear(Raised(0, alarm(3, "cannot-hear", "high")), 1100.0))
    assert bedside.sound is None
    bedside.do(core.tick(1799.0))
    assert bedside.sound is None
    bedside.do(core.tick(1800.0))
    assert bedside.sound == Sound((2, 3), "high")
    assert bedside.lines[:2] == ("Anna. Anna.", Messages().pause_over)
    assert (2, "woken", 1800.0) in bedside.notes


@pytest.mark.parametrize("pattern", ["fire", "carbon-monoxide"])
def test_smoke_and_gas_wake_in_a_pause(pattern: str) -> None:
    """Raised in it, from before it, or named so only later; a device's alarm stays silent beside."""
    for how in ("raised", "before", "renamed"):
        core, bedside = night(Ladder()), Bedside()
        if how == "before":
            bedside.do(core.hear(Raised(0, alarm(1, pattern)), 0.0))
        bedside.do(core.pause(1.0, 1e4, "20:40"))
        bedside.do(core.hear(Raised(0, alarm(2, "battery-critical")), 2.0))
        if how == "raised":
            bedside.do(core.hear(Raised(0, alarm(1, pattern)), 3.0))
        if how == "renamed":
            bedside.do(core.hear(Raised(0, alarm(1, "medical-high")), 3.0))
            bedside.do(core.hear(Changed(0, alarm(1, pattern), "medical-high"), 4.0))
        assert bedside.sound == Sound((1,), "high"), how


def test_a_pause_counts_what_waited_as_answered_by_whoever_planned_it() -> None:
    """A person stands at the bedside: a stopped alarm is over, one that beeps on is silenced until the end."""
    core, bedside = night(Ladder()), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    bedside.do(core.hear(Raised(0, alarm(2, "battery-critical")), 0.0))
    bedside.do(core.hear(Ended(0, alarm(2, "battery-critical")), 5.0))
    bedside.do(core.pause(10.0, 100.0, "20:40"))
    assert bedside.sound is None
    bedside.do(core.tick(100.0))
    assert bedside.sound == Sound((1,), "high")


def test_an_alarm_that_was_answered_before_a_pause_wakes_after_it_only_where_it_beeps_on() -> None:
    """The 90 s are not counted in the pause; the first beep after it calls again."""
    core, bedside, one = night(Ladder()), Bedside(), alarm(1, "lead-disconnect")
    bedside.do(core.hear(Raised(0, one), 0.0))
    bedside.do(core.acknowledge(10.0))
    bedside.do(core.pause(20.0, 1000.0, "20:40"))
    bedside.do(core.hear(Changed(0, replace(one, last=500.0)), 500.0))
    bedside.do(core.tick(1000.0))
    assert bedside.sound is None
    bedside.do(core.hear(Changed(0, replace(one, last=1003.0)), 1003.0))
    assert bedside.sound is not None


def drill(number: int = DRILLED - 1) -> list[Action]:
    return night(Ladder()).rehearse(alarm(number, "lead-disconnect"), 0.0)


def test_a_drill_says_so_everywhere() -> None:
    """Right after the name, in the title, in what each way is told; one answer ends it, and asks nothing."""
    core, bedside = night(Ladder((Step(0.0, ON_DUTY, ("speaker", "shaker")),))), Bedside()
    actions = core.rehearse(alarm(DRILLED - 1, "lead-disconnect"), 0.0)
    bedside.do(actions)
    assert bedside.lines[:2] == ("Anna. Anna.", Messages().drill)
    assert bedside.screen.startswith(Messages().drill)
    (alert,) = [one.alert for one in actions if isinstance(one, Reach)]
    assert alert.drill
    assert alert.title.startswith(Messages().drill)
    assert core.standing[0].drill
    bedside.do(core.acknowledge(8.0))
    assert bedside.screen.startswith(Messages().drill_over)
    assert (bedside.sound, core.drilling, core.asks) == (None, False, False)
    assert (DRILLED - 1, "acknowledged", 8.0) in bedside.notes


def test_a_real_alarm_in_mid_drill_wins_at_once() -> None:
    """Its sound and its words alone, from the same moment; the drill is over."""
    core, bedside = night(Ladder()), Bedside()
    bedside.do(core.rehearse(alarm(DRILLED - 1, "lead-disconnect"), 0.0))
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 4.0))
    assert bedside.sound == Sound((1,), "high", drill=False)
    assert Messages().drill not in bedside.lines
    assert not core.drilling


@pytest.mark.parametrize("what", ["an alarm wakes", "a pause holds"])
def test_no_drill_beside_an_alarm_or_in_a_pause(what: str) -> None:
    """It would hide one, or wake in the other."""
    core = night(Ladder())
    if what == "an alarm wakes":
        core.hear(Raised(0, alarm(1, "fire")), 0.0)
    else:
        core.pause(0.0, 100.0, "20:40")
    assert core.rehearse(alarm(DRILLED - 1, "lead-disconnect"), 1.0) == []
    assert drill()


STEPS = st.lists(
    st.tuples(st.floats(0, 600), st.sampled_from([ON_DUTY, SECOND, "Gran"]), st.lists(
        st.sampled_from(["speaker", "shaker", "lamp"]), min_size=1, max_size=3, unique=True)),
    min_size=1, max_size=5,
)  # fmt: skip


@given(STEPS, st.lists(st.sampled_from(["shaker", "lamp", "speaker"]), max_size=6))
def test_whatever_the_ladder_and_whatever_fails_everybody_is_called_by_its_end(
    rows: list[tuple[float, str, list[str]]], failures: list[str]
) -> None:
    """No step is ever lost or comes late; each way of each step is asked for."""
    steps = sorted((Step(after, who, tuple(by)) for after, who, by in rows), key=lambda step: step.after)
    core = night(Ladder((replace(steps[0], after=0.0), *steps[1:])))
    made = set(reached(first := core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0)))
    spoken = any(isinstance(action, Sound) for action in first)
    for second in range(0, 700, 10):
        if failures and second % 50 == 0:
            core.fail(failures.pop(), 1)
        actions = core.tick(float(second))
        made |= set(reached(actions))
        spoken = spoken or any(isinstance(action, Sound) for action in actions)
    for step in steps:
        for way in step.by:
            assert spoken if way == "speaker" else (way, ANNA_BEN.name(step.who, swapped=False)) in made


def test_the_screen_is_told_in_any_case() -> None:
    """A ladder without the speaker still shows the alarm at once."""
    assert any(isinstance(action, Show) for action in night().hear(Raised(0, alarm(1, "fire")), 0.0))


PAUSES = st.lists(
    st.tuples(st.sampled_from(["raised", "ended", "pause", "resume", "time"]), st.integers(1, 4),
              st.sampled_from(["lead-disconnect", "battery-critical", "fire", "carbon-monoxide"])),
    max_size=40,
)  # fmt: skip


@given(PAUSES)
def test_no_pause_loses_an_alarm(steps: list[tuple[str, int, str]]) -> None:
    """Smoke and gas sound at every moment; whatever the device still beeps sounds once no pause holds."""
    core, bedside, beeping, paused = night(Ladder()), Bedside(), dict[int, str](), False
    for second, (kind, number, pattern) in enumerate([*steps, ("resume", 1, "")]):
        now = 10.0 * second
        if kind == "raised" and number not in beeping:
            beeping[number] = pattern
            bedside.do(core.hear(Raised(0, alarm(number, pattern)), now))
        elif kind == "ended" and number in beeping:
            bedside.do(core.hear(Ended(0, alarm(number, beeping.pop(number))), now))
        elif kind in ("pause", "resume"):
            paused = kind == "pause"
            bedside.do(core.pause(now, now + 1e5, "20:40") if paused else core.resume(now))
        else:
            bedside.do(core.tick(now))
        told = set() if bedside.sound is None else set(bedside.sound.numbers)
        loud = {one for one, name in beeping.items() if not paused or name in ("fire", "carbon-monoxide")}
        assert loud <= told
