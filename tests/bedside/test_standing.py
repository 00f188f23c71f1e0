"""What must sound at the bedside follows from what the listener tells, and from its silence."""

import msgspec

from beepwatch.bedside.standing import AGAIN, HANGS, LINK, LOST, Alarm, Frame, Standing, Until
from beepwatch.page.wire import Alarm as Sent
from beepwatch.page.wire import Now

LEAD = Alarm("r:1", "lead-disconnect", "high", "Cable alarm", ("Anna. Anna.", "Go to Sam now."), "waking")
REST = Frame("listening")


def at_rest(frame: Frame = REST) -> Standing:
    standing = Standing(0.0)
    standing.frame(frame, 0.0)
    return standing


def test_it_reads_what_the_listener_sends() -> None:
    """The frame here is a part of the one that the page's wire makes, field by field."""
    assert {field.name for field in msgspec.structs.fields(Frame)} <= {f.name for f in msgspec.structs.fields(Now)}
    assert {field.name for field in msgspec.structs.fields(Alarm)} <= {f.name for f in msgspec.structs.fields(Sent)}


def test_at_rest_nothing_sounds() -> None:
    """A listener that tells each second that all is well wakes nobody."""
    standing = Standing(0.0)
    for second in range(100):
        standing.frame(REST, float(second))
        assert standing.wanted(second + 0.9) is None


def test_an_alarm_sounds_with_its_own_words() -> None:
    """Tone and message are of the listener's alarm, in its priority."""
    wanted = at_rest(Frame("listening", alarms=(LEAD,))).wanted(0.5)
    assert wanted is not None
    assert (wanted.priority, wanted.lines, wanted.alarms) == ("high", LEAD.lines, ("r:1",))


def test_an_answered_alarm_is_quiet() -> None:
    """Whoever answered, wherever: nothing sounds here any more."""
    answered = msgspec.structs.replace(LEAD, stage="answered", going="Ben")
    standing = at_rest(Frame("listening", alarms=(answered,)))
    assert standing.wanted(0.5) is None
    assert "Ben is going" in standing.line(0.5)


def test_a_key_answers_and_is_quiet_once_it_arrived() -> None:
    """It goes on sounding until the listener took the answer; a new alarm sounds again."""
    standing = at_rest(Frame("listening", alarms=(LEAD,)))
    assert standing.key(0.5) == ("r:1",)
    assert standing.wanted(0.6) is not None
    standing.answered(("r:1",))
    assert standing.wanted(0.7) is None
    standing.frame(Frame("listening", alarms=(LEAD, msgspec.structs.replace(LEAD, id="r:2"))), 1.0)
    wanted = standing.wanted(1.1)
    assert wanted is not None
    assert wanted.alarms == ("r:2",)


def test_silence_of_the_link_is_an_alarm() -> None:
    """Nothing for 6 s: nobody may listen. It sounds, and says so in plain words."""
    standing = at_rest()
    assert standing.wanted(LOST) is None
    wanted = standing.wanted(LOST + 0.1)
    assert wanted is not None
    assert (wanted.pattern, wanted.priority) == (LINK, "high")
    assert standing.line(LOST + 0.1).startswith("NOT LISTENING")


def test_it_sounds_for_a_listener_that_never_answered() -> None:
    """Started in the evening while the other computer is off: that is told, not waited for."""
    wanted = Standing(0.0).wanted(LOST + 0.1)
    assert wanted is not None
    assert wanted.pattern == LINK


def test_a_lost_link_is_silenced_for_a_while_only() -> None:
    """A key ends the sound; ten minutes later it sounds again, for still nobody listens."""
    standing = at_rest()
    assert standing.key(10.0) == ()
    assert standing.wanted(10.0 + AGAIN - 1) is None
    assert standing.wanted(10.0 + AGAIN + 1) is not None


def test_a_link_that_comes_back_and_goes_sounds_anew() -> None:
    """A key pressed for one break does not silence the next."""
    standing = at_rest()
    standing.key(10.0)
    standing.frame(REST, 20.0)
    assert standing.wanted(20.5) is None
    assert standing.wanted(20.0 + LOST + 0.1) is not None


def test_a_listener_that_hangs_or_ended_is_told() -> None:
    """The page's thread may live while the loop hangs: then nobody listens either."""
    for hearing in ("stuck", "ended"):
        wanted = at_rest(Frame(hearing, why="it hangs")).wanted(0.5)
        assert wanted is not None
        assert wanted.pattern == HANGS


def test_a_planned_pause_is_shown_and_quiet() -> None:
    """In large letters, with the time; nobody is woken for it."""
    standing = at_rest(Frame("paused", until=Until("20:40")))
    assert standing.wanted(0.5) is None
    assert standing.line(0.5) == "NOT LISTENING until 20:40: a planned pause."
