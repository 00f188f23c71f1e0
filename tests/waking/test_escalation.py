"""What is done about an alarm, one behaviour a test, and a whole night in no time."""

from beepwatch.events import AlarmEvent, Changed, Ended, Raised
from beepwatch.waking.actions import Note, Quiet, Remind, Say, Show, Sound
from beepwatch.waking.escalation import RETELL, Escalation
from beepwatch.waking.messages import Messages
from tests.waking.bedside import Bedside, alarm

STOPPED = "The beeping has stopped. That can mean mended, or no power. Go and look."


def test_an_alarm_sounds_speaks_shows_and_is_noted() -> None:
    """The first word of an alarm that wakes gives the sound first, for it must not wait for anything."""
    sound, say, show, note = Escalation().hear(Raised(30, alarm(7, "lead-disconnect")), now=30.0)
    assert sound == Sound((7,), "high")
    assert say == Say(Messages().lines("lead-disconnect"), "lead-disconnect", 1)
    assert isinstance(show, Show)
    assert "cable" in show.text
    assert note == Note(7, "woken", 30.0)


def test_a_new_beep_of_the_same_alarm_changes_nothing() -> None:
    """The speaker repeats by itself: more beeps give no new orders."""
    core = Escalation()
    core.hear(Raised(30, alarm(1, "lead-disconnect")), 30.0)
    assert core.hear(Changed(35, alarm(1, "lead-disconnect")), 35.0) == []


def test_an_unknown_beeping_is_shown_and_wakes_nobody() -> None:
    """Low priority: the screen has it, the speaker stays silent."""
    core = Escalation()
    (show,) = core.hear(Raised(30, alarm(1, "unknown")), 30.0)
    assert isinstance(show, Show)
    assert not core.sounding
    assert core.next_at() is None


def test_an_unknown_beeping_on_the_taught_tone_wakes() -> None:
    """There the profile says medium: it is the device, whatever it means."""
    core = Escalation()
    assert core.hear(Raised(30, alarm(1, "unknown", "medium")), 30.0)[0] == Sound((1,), "medium")


def test_the_beeping_stops_and_the_waking_goes_on_with_that_message() -> None:
    """A lead alarm that falls silent unanswered is not over: no power makes no sound either."""
    core = Escalation()
    core.hear(Raised(30, alarm(1, "lead-disconnect")), 30.0)
    sound, say, show, note = core.hear(Ended(90, alarm(1, "lead-disconnect")), 90.0)
    assert sound == Sound((1,), "high")
    assert isinstance(say, Say)
    assert say.lines[1] == STOPPED
    assert (say.lines[0], *say.lines[2:]) == Messages().lines("lead-disconnect")
    assert isinstance(show, Show)
    assert STOPPED in show.text
    assert note == Note(1, "stopped", 90.0)
    assert core.tick(90.0 + 3600) == [sound, say]


def test_a_backup_battery_alarm_that_nobody_answered_goes_on() -> None:
    """It calls once an hour: when it does not, an empty battery may be why."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.hear(Ended(9000, alarm(1, "backup-battery")), 9000.0))
    assert bedside.sound == Sound((1,), "medium")
    assert bedside.lines[1] == STOPPED


def test_another_device_that_takes_back_its_medium_call_ends_the_waking() -> None:
    """Going on would be a wake for nothing."""
    core = Escalation()
    core.hear(Raised(0, alarm(1, "medical-medium")), 0.0)
    actions = core.hear(Ended(60, alarm(1, "medical-medium")), 60.0)
    assert actions[0] == Quiet()
    assert Note(1, "stopped", 60.0) in actions


def test_an_answer_silences_until_the_condition_ends() -> None:
    """Acknowledged (IEC 60601-1-8, quoted): the same alarm is quiet, then ends without another word."""
    core = Escalation()
    core.hear(Raised(0, alarm(1, "battery-critical")), 0.0)
    quiet, show, note = core.acknowledge(12.0)
    assert quiet == Quiet()
    assert isinstance(show, Show)
    assert note == Note(1, "acknowledged", 12.0)
    assert core.hear(Changed(60, alarm(1, "battery-critical")), 60.0) == []
    *_, stopped = core.hear(Ended(300, alarm(1, "battery-critical")), 300.0)
    assert stopped == Note(1, "stopped", 300.0)
    assert not core.sounding


def test_an_answer_with_nothing_to_answer_does_nothing() -> None:
    """A key pressed by chance is no event."""
    core = Escalation()
    assert core.acknowledge(1.0) == []
    core.hear(Raised(2, alarm(1, "unknown")), 2.0)
    assert core.acknowledge(3.0) == []


def test_a_new_alarm_wakes_again_after_an_answer() -> None:
    """Only the alarm that was answered is silenced."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.acknowledge(5.0))
    bedside.do(core.hear(Raised(20, alarm(2, "lead-disconnect")), 20.0))
    assert bedside.sound == Sound((2,), "high")
    assert bedside.lines == Messages().lines("lead-disconnect")
    assert "Quiet until" in bedside.screen


def test_an_alarm_that_beeps_again_after_it_was_over_wakes_again() -> None:
    """The same number may come back within some minutes: its condition had ended, so the answer has too."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    bedside.do(core.acknowledge(5.0))
    bedside.do(core.hear(Ended(60, alarm(1, "lead-disconnect")), 60.0))
    bedside.do(core.hear(Changed(80, alarm(1, "lead-disconnect")), 80.0))
    assert bedside.sound == Sound((1,), "high")


def test_a_stopped_alarm_that_beeps_again_is_told_as_beeping() -> None:
    """ "The beeping has stopped" must not be said while it beeps."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    bedside.do(core.hear(Ended(60, alarm(1, "lead-disconnect")), 60.0))
    bedside.do(core.hear(Changed(80, alarm(1, "lead-disconnect")), 80.0))
    assert STOPPED not in bedside.lines


def test_several_alarms_are_all_told_the_most_urgent_first() -> None:
    """One sound for all: of the highest priority; no line is said twice in a round."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.hear(Raised(5, alarm(2, "lead-disconnect")), 5.0))
    bedside.do(core.hear(Raised(9, alarm(3, "fire")), 9.0))
    assert bedside.sound == Sound((3, 2, 1), "high")
    told = [Messages().lines(pattern) for pattern in ("fire", "lead-disconnect", "backup-battery")]
    assert bedside.lines == tuple(dict.fromkeys(line for lines in told for line in lines))
    bedside.do(core.acknowledge(20.0))
    assert {note for note in bedside.notes if note[1] == "acknowledged"} == {
        (number, "acknowledged", 20.0) for number in (1, 2, 3)
    }


def test_a_renamed_alarm_says_so() -> None:
    """Whoever heard the first name is told that it was another."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.hear(Changed(15, alarm(1, "battery-critical"), "backup-battery"), 15.0))
    assert bedside.lines == Messages().lines("battery-critical", marks=[Messages().renamed])
    assert bedside.sound == Sound((1,), "high")
    assert Messages().renamed in bedside.screen
    bedside.do(core.hear(Changed(20, alarm(1, "battery-critical", "medium")), 20.0))
    assert bedside.lines[1] == Messages().renamed


def test_an_answered_alarm_that_is_another_one_wakes_again() -> None:
    """What was looked at was the wrong thing."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.acknowledge(5.0))
    bedside.do(core.hear(Changed(15, alarm(1, "battery-critical"), "backup-battery"), 15.0))
    assert bedside.sound == Sound((1,), "high")
    assert bedside.notes[-1] == (1, "woken", 15.0)


def test_an_alarm_that_is_played_down_before_anybody_came_goes_on() -> None:
    """A better guess does not take back a call that nobody has looked into; nor does its end."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "lead-disconnect")), 0.0))
    bedside.do(core.hear(Changed(15, alarm(1, "unknown"), "lead-disconnect"), 15.0))
    assert bedside.sound == Sound((1,), "low")
    bedside.do(core.hear(Ended(60, alarm(1, "unknown")), 60.0))
    assert bedside.sound == Sound((1,), "low")


def test_the_last_battery_call_takes_the_place_of_the_backup_batterys() -> None:
    """The old alarm ends because the new one tells more: "stopped" is not told of it; one answer is for both."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "backup-battery")), 0.0))
    bedside.do(core.hear(Raised(60, alarm(2, "battery-critical")), 60.0))
    bedside.do(core.hear(Ended(60, alarm(1, "backup-battery")), 60.0))
    assert bedside.lines == Messages().lines("battery-critical")
    bedside.do(core.acknowledge(70.0))
    assert [note[:2] for note in bedside.notes[-2:]] == [(2, "acknowledged"), (1, "acknowledged")]


def test_the_order_to_sound_is_given_again() -> None:
    """One that was lost on its way heals; asked too early, nothing is due."""
    core = Escalation()
    sound, say, *_ = core.hear(Raised(0, alarm(1, "fire")), 100.0)
    assert core.next_at() == 100.0 + RETELL
    assert core.tick(100.0 + RETELL / 2) == []
    assert core.tick(100.0 + RETELL) == [sound, say]
    assert core.next_at() == 100.0 + 2 * RETELL


def test_a_pattern_without_a_message_is_told_as_unknown() -> None:
    """A profile of the family's own wakes by its priority, and has words."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "pump", "high")), 0.0))
    assert bedside.lines == Messages().lines("unknown")


def test_deafness_wakes_until_it_hears_again() -> None:
    """A technical alarm condition of our own: its end is known, so it does not go on after it."""
    core, bedside = Escalation(), Bedside()
    bedside.do(core.hear(Raised(0, alarm(1, "cannot-hear", "high")), 0.0))
    assert bedside.lines == Messages().lines("cannot-hear")
    over = core.hear(Ended(30, alarm(1, "cannot-hear", "high")), 30.0)
    assert Remind(1, ("I hear the room again.",)) in over
    bedside.do(over)
    assert bedside.sound is None
    assert bedside.screen == Messages().screen("I hear the room again.")


def test_a_stray_end_is_no_news() -> None:
    """The end of what is over already, or was never told, does nothing."""
    assert Escalation().hear(Ended(5, alarm(9, "fire")), 5.0) == []


def test_a_night() -> None:
    """Evening to morning: a backup battery answered, a lead off and mended by itself, an unknown chirp."""
    core, bedside = Escalation(Messages(caregiver="Anna", person="Sam")), Bedside()
    story: list[tuple[float, AlarmEvent]] = [
        (3600.0, Raised(3600, alarm(1, "backup-battery"))),
        (7200.0, Changed(7200, alarm(1, "backup-battery"))),
        (9000.0, Raised(9000, alarm(2, "unknown"))),
        (9500.0, Ended(9500, alarm(2, "unknown"))),
        (14400.0, Ended(14400, alarm(1, "backup-battery"))),
        (20000.0, Raised(20000, alarm(3, "lead-disconnect"))),
        (20100.0, Ended(20100, alarm(3, "lead-disconnect"))),
    ]
    answers = {3650.0, 20200.0}
    loud = 0
    for second in range(8 * 3600):
        now = float(second)
        due = core.next_at()
        bedside.do(core.tick(now) if due is not None and due <= now else [])
        for at, event in story:
            bedside.do(core.hear(event, now) if at == now else [])
        bedside.do(core.acknowledge(now) if now in answers else [])
        loud += bedside.sound is not None
    assert loud == 50 + 200
    assert bedside.notes == [
        (1, "woken", 3600.0),
        (1, "acknowledged", 3650.0),
        (2, "stopped", 9500.0),
        (1, "stopped", 14400.0),
        (3, "woken", 20000.0),
        (3, "stopped", 20100.0),
        (3, "acknowledged", 20200.0),
    ]
    assert "Sam" in Messages(person="Sam").lines("lead-disconnect")[1]


def test_standing_tells_each_alarm_for_a_screen_of_its_own() -> None:
    """Those that wake come first; an answered one stays, as answered, until it is over."""
    core = Escalation()
    core.hear(Raised(30, alarm(1, "unknown")), 30.0)
    core.hear(Raised(31, alarm(2, "lead-disconnect")), 31.0)
    assert [(one.alarm.number, one.state.name) for one in core.standing] == [(2, "SOUNDING"), (1, "SHOWN")]
    assert core.standing[0].lines == Messages().lines("lead-disconnect")
    core.acknowledge(40.0)
    assert {one.alarm.number: one.state.name for one in core.standing} == {1: "SHOWN", 2: "ACKNOWLEDGED"}
    core.hear(Ended(50, alarm(2, "lead-disconnect")), 50.0)
    assert [one.alarm.number for one in core.standing] == [1]
