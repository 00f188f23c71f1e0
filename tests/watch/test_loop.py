"""The loop in the test's hand: what it hears, tells, writes and wakes, and that only the person ends it."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from beepwatch.channels.speaker import Failed, Started
from beepwatch.channels.tone import OWN_SOUND
from beepwatch.events import Beep, Changed, Ended, Event, Raised
from beepwatch.hearing.technical import SOUNDED
from beepwatch.records.rows import LoggedAlarm, Span
from beepwatch.sources.block import Block
from beepwatch.waking.actions import Action
from beepwatch.watch.ears import Ears
from tests.watch.hand import BEGAN, RATE, Bedroom, ScriptedRecogniser, alarm

LEAD: list[tuple[float, Event]] = [
    (9.3, Raised(9.3, alarm())),
    (12.5, Changed(12.5, replace(alarm(), beeps=4, last=12.2))),
]


def span_of(bedroom: Bedroom) -> Span:
    with bedroom.history as history:
        (span,) = history.spans()
    return span


def alarms_of(bedroom: Bedroom) -> list[LoggedAlarm]:
    with bedroom.history as history:
        return history.alarms()


def test_an_alarm_is_sounded_shown_and_written(tmp_path: Path) -> None:
    """Raised: the speaker at once, a block on the screen, and the history with the real times of the beeps."""
    bedroom = Bedroom(tmp_path, [("sound", 20)], LEAD)
    bedroom.speaker.on_play = lambda round_: Started(bedroom.hand.now + 0.2, round_.numbers)
    summary = bedroom.run()
    (at, numbers, lines), *_ = bedroom.speaker.played
    assert at == pytest.approx(1009.3, abs=0.11)
    assert numbers == (1,)
    assert lines == bedroom.messages.lines("lead-disconnect")
    assert len(bedroom.heard("ALARM: lead-disconnect (high priority). 3 beeps of 1.2 s.")) == 1
    assert bedroom.heard("Check both ends of the cable")
    (logged,) = alarms_of(bedroom)
    assert logged.began == BEGAN + timedelta(seconds=2.0)
    assert logged.ended is None
    assert logged.state.beeps == 4
    assert logged.woken_after == pytest.approx(0.2, abs=0.11)
    assert summary.alarms == (f"{logged.began.astimezone():%H:%M:%S}  lead-disconnect",)


def test_nobody_is_written_down_as_woken_before_a_sound_left(tmp_path: Path) -> None:
    """A speaker that never begins: told, and `woken_after` stays empty."""
    bedroom = Bedroom(tmp_path, [("sound", 20)], LEAD)
    bedroom.speaker.on_play = lambda round_: Failed(bedroom.hand.now, "the cable is out")
    bedroom.run()
    assert len(bedroom.heard("I cannot wake anybody by sound: the cable is out")) == 1
    (logged,) = alarms_of(bedroom)
    assert logged.woken_after is None


def test_a_key_ends_the_wake_sound_and_is_written(tmp_path: Path) -> None:
    """ "I am going": quiet at once, and the history says after how long."""
    bedroom = Bedroom(tmp_path, [("sound", 15), ("key", 0), ("sound", 5)], LEAD)
    bedroom.calls["key"] = bedroom.watch.press
    bedroom.run()
    assert not bedroom.speaker.sounding
    assert bedroom.heard("Answered")
    (logged,) = alarms_of(bedroom)
    assert logged.acknowledged_after == pytest.approx(15 - 9.3, abs=0.2)


def test_listening_knows_when_our_own_sound_is_in_the_room(tmp_path: Path) -> None:
    """From the wake sound's order to the answer, once each; a recogniser that takes over in between is told, too."""
    bedroom = Bedroom(tmp_path, [("sound", 15), ("key", 0), ("sound", 5)], LEAD)
    bedroom.calls["key"] = bedroom.watch.press
    bedroom.run()
    assert bedroom.recognisers[0].own == [OWN_SOUND, None]
    made = [ScriptedRecogniser([], [0.5]), second := ScriptedRecogniser([])]
    ears = Ears(RATE, 1, lambda: made.pop(0))
    ears.own_sound(OWN_SOUND)
    ears.take(Block(np.full((RATE, 1), 0.01, np.float32), 0, 0, 1.0))
    assert second.own == [OWN_SOUND]


def test_a_lead_alarm_that_stops_still_wakes_with_other_words(tmp_path: Path) -> None:
    """Ended without an answer: written with its end, and the message says that silence may mean no power."""
    over = replace(alarm(), ended=12.2, last=12.2)
    bedroom = Bedroom(tmp_path, [("sound", 30)], [*LEAD, (25.0, Ended(25.0, over))])
    bedroom.run()
    assert bedroom.speaker.sounding
    assert bedroom.speaker.played[-1][2] == bedroom.messages.lines_stopped("lead-disconnect")
    assert bedroom.heard("ENDED: lead-disconnect")
    (logged,) = alarms_of(bedroom)
    assert logged.ended == BEGAN + timedelta(seconds=12.2)
    assert logged.stopped_after == pytest.approx(25.0 - 9.3, abs=0.2)


def test_the_end_closes_the_span_and_nothing_more_sounds(tmp_path: Path) -> None:
    """Stopped by the person: what the recogniser still holds is asked for, the span is closed, the speaker too."""
    bedroom = Bedroom(tmp_path, [("sound", 20)])
    summary = bedroom.run()
    span = span_of(bedroom)
    assert (span.kind, span.source, span.closed) == ("household", "a microphone", True)
    assert (span.until - span.began).total_seconds() == pytest.approx(20, abs=0.01)
    assert bedroom.recognisers[0].flushed
    assert bedroom.speaker.closed
    assert (summary.unheard, summary.written) == (0, True)


def test_beeps_are_kept_as_evidence(tmp_path: Path) -> None:
    """Every beep goes into the history with the next word of how far was heard."""
    beep = Beep(onset=3.0, duration=1.2, frequency=2730.0, level=-40.0, snr=12.0, known=4.5)
    bedroom = Bedroom(tmp_path, [("sound", 20)], [(4.5, beep), *LEAD])
    bedroom.run()
    (logged,) = alarms_of(bedroom)
    with bedroom.history as history:
        assert [(kept.onset, kept.duration) for kept in history.beeps(logged)] == [(3.0, 1.2)]


def test_no_sound_is_told_sounded_and_kept_as_a_gap(tmp_path: Path) -> None:
    """No block for 20 s: told after 5 s, somebody woken after 7 s, quiet again once it hears."""
    bedroom = Bedroom(tmp_path, [("sound", 10), ("nothing", 20), ("sound", 10)])
    summary = bedroom.run()
    assert len(bedroom.heard("I HAVE NOT HEARD THE ROOM")) == 1
    (at, _, lines) = bedroom.speaker.played[0]
    assert at - 1010.0 == pytest.approx(SOUNDED, abs=0.5)
    assert lines == bedroom.messages.lines("cannot-hear")
    assert bedroom.speaker.quiet == [pytest.approx(1030.1, abs=0.3)]
    assert bedroom.heard("I HEAR AGAIN. I had not heard the room for 20 s")
    (gap,) = span_of(bedroom).gaps
    assert (gap.began - BEGAN).total_seconds() == pytest.approx(10, abs=0.2)
    assert (gap.ended - BEGAN).total_seconds() == pytest.approx(30, abs=0.2)
    assert gap.reason == "no sound came from the microphone"
    assert summary.seconds == pytest.approx(20, abs=0.3)


def test_the_history_does_not_claim_what_was_not_heard(tmp_path: Path) -> None:
    """While nothing arrives the span is not extended, so that even a crash then leaves no false hour."""
    seen: list[float] = []
    bedroom = Bedroom(tmp_path, [("sound", 30), ("nothing", 60), ("look", 0), ("sound", 1)])
    bedroom.calls["look"] = lambda: seen.append((span_of(bedroom).until - BEGAN).total_seconds())
    bedroom.run()
    assert seen[0] <= 30.01


def test_digital_silence_is_deafness(tmp_path: Path) -> None:
    """Exact zeros for over 5 s are told and skipped, not heard as a quiet room; the gap has its reason."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("zeros", 15), ("sound", 5)])
    bedroom.run()
    assert len(bedroom.heard("digital silence")) == 1
    assert bedroom.speaker.played[0][0] - 1005.0 == pytest.approx(SOUNDED, abs=0.3)
    skipped = sum(bedroom.recognisers[0].skipped) / RATE
    assert skipped == pytest.approx(10, abs=0.5)
    (gap,) = span_of(bedroom).gaps
    assert "digital silence" in gap.reason
    assert (gap.ended - gap.began).total_seconds() == pytest.approx(15, abs=0.3)


def test_a_short_silence_is_heard_as_it_is(tmp_path: Path) -> None:
    """A microphone that closes its gate for 4 s is not deaf, and nothing is skipped."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("zeros", 4), ("sound", 5)] * 3)
    bedroom.run()
    assert bedroom.recognisers[0].skipped == []
    assert span_of(bedroom).gaps == ()


def test_ended_while_deaf(tmp_path: Path) -> None:
    """The person stops it in the middle of an outage: the gap reaches to the end."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("nothing", 30)])
    summary = bedroom.run()
    span = span_of(bedroom)
    (gap,) = span.gaps
    assert (gap.ended - gap.began).total_seconds() == pytest.approx(30, abs=0.3)
    assert span.closed
    assert summary.seconds == pytest.approx(5, abs=0.2)


def test_never_a_sound_from_the_start(tmp_path: Path) -> None:
    """A microphone that opens and never delivers counts as not listened at all."""
    bedroom = Bedroom(tmp_path, [("nothing", 30)])
    summary = bedroom.run()
    assert bedroom.heard("I HAVE NOT HEARD THE ROOM")
    assert summary.seconds == pytest.approx(0, abs=0.3)
    (gap,) = span_of(bedroom).gaps
    assert (gap.ended - gap.began).total_seconds() == pytest.approx(30, abs=0.3)


def test_a_still_microphone_is_opened_anew_with_pauses(tmp_path: Path) -> None:
    """First after 2 s, then after pauses that double up to 10 s; none once it delivers."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("nothing", 40), ("sound", 20)])
    bedroom.run()
    tries = [at - 1005.0 for at in bedroom.microphone.reopened]
    assert tries == pytest.approx([2.25, 3.25, 5.25, 9.25, 17.25, 27.25, 37.25], abs=0.6)


def test_lost_sound_is_skipped_and_counted(tmp_path: Path) -> None:
    """3 s lost on the way are a gap; 0.3 s are added to what was lost in pieces."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("lost", 3), ("sound", 5), ("lost", 0.3), ("sound", 5)])
    summary = bedroom.run()
    assert [count / RATE for count in bedroom.recognisers[0].skipped] == [3.0, pytest.approx(0.3)]
    span = span_of(bedroom)
    (gap,) = span.gaps
    assert (gap.began - BEGAN, gap.ended - BEGAN) == (timedelta(seconds=5), timedelta(seconds=8))
    assert span.lost == pytest.approx(0.3)
    assert len(bedroom.heard("of sound were lost")) == 2
    assert summary.seconds == pytest.approx(15)


def test_a_recogniser_that_fails_is_replaced(tmp_path: Path) -> None:
    """Told, a new one goes on at the same stream time, alarm numbers go on, and the alarm is still named."""
    events = [*LEAD, (20.0, Raised(20.0, alarm(1, "battery-critical", onset=12.0, last=19.7)))]
    bedroom = Bedroom(tmp_path, [("sound", 30)], events, faults=[15.0])
    bedroom.run()
    assert len(bedroom.heard("the recogniser failed (RuntimeError: a division by zero, say)")) == 1
    first, second = bedroom.recognisers
    assert second.skipped == [first.position]
    assert second.position == 30 * RATE
    patterns = [(logged.state.number, logged.state.pattern) for logged in alarms_of(bedroom)]
    assert patterns == [(1, "lead-disconnect"), (2, "battery-critical")]


def test_a_recogniser_that_always_fails_is_deafness(tmp_path: Path) -> None:
    """Blocks that nobody understands are not listened to: told, sounded and kept as a gap."""
    bedroom = Bedroom(tmp_path, [("sound", 20)])

    class Broken(type(bedroom.recognisers[0])):  # type: ignore[misc]  # a class known only at run time
        """Fails on every block."""

        def push(self, samples: object) -> list[Event]:
            raise RuntimeError("broken")

    bedroom.watch._ears._recogniser = Broken([])
    bedroom.watch._ears._make = lambda: Broken([])
    bedroom.run()
    assert bedroom.heard("I HAVE NOT HEARD THE ROOM")
    assert bedroom.speaker.played[0][2] == bedroom.messages.lines("cannot-hear-slow")
    (gap,) = span_of(bedroom).gaps
    assert gap.reason == "the recogniser failed or was too slow"


def test_a_history_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    """Locked by another program: told once, kept in memory, written when it can be."""
    other = sqlite3.connect(tmp_path / "history.sqlite3", isolation_level=None)
    calls: dict[str, Callable[[], object]] = {"lock": lambda: other.execute("BEGIN EXCLUSIVE"), "free": other.rollback}
    script = [("sound", 5.0), ("lock", 0.0), ("sound", 20.0), ("free", 0.0), ("sound", 10.0)]
    bedroom = Bedroom(tmp_path, script, LEAD, calls=calls)
    summary = bedroom.run()
    other.close()
    assert len(bedroom.heard("another program is using it")) == 1
    assert summary.written
    assert [logged.state.pattern for logged in alarms_of(bedroom)] == ["lead-disconnect"]


@pytest.mark.parametrize("part", ["waker", "logbook", "screen"])
def test_a_fault_in_one_part_keeps_none_of_the_others(
    tmp_path: Path, part: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever raises while an alarm is told, the listening goes on and the other two still do their work."""

    def broken(*_: object) -> list[Action]:
        raise ZeroDivisionError("oh")

    bedroom = Bedroom(tmp_path, [("sound", 20)], LEAD)
    target = {"waker": (bedroom.watch._waker, "hear"), "logbook": (bedroom.watch._logbook, "alarm"),
              "screen": (bedroom.watch._console, "block")}[part]  # fmt: skip
    monkeypatch.setattr(*target, broken)
    summary = bedroom.run()
    assert bedroom.heard("a fault in the program itself (ZeroDivisionError: oh); I go on")
    assert bool(bedroom.speaker.played) is (part != "waker")
    assert bool(alarms_of(bedroom)) is (part != "logbook")
    assert bedroom.heard("ALARM: lead-disconnect")
    assert summary.seconds == pytest.approx(20, abs=0.3)


def test_a_screen_that_has_gone_ends_nothing(tmp_path: Path) -> None:
    """The terminal was closed: alarms still sound and are written."""
    bedroom = Bedroom(tmp_path, [("sound", 20)], LEAD)
    bedroom.screen.close()
    bedroom.run()
    assert bedroom.speaker.played
    assert alarms_of(bedroom)


def test_a_clock_that_is_set_does_not_bend_the_lengths(tmp_path: Path) -> None:
    """The wall clock jumps an hour: told, later times are by the new clock, and what was heard is as long as ever."""
    bedroom = Bedroom(tmp_path, [("sound", 5), ("set", 0), ("sound", 15)], LEAD)
    bedroom.calls["set"] = lambda: setattr(bedroom.hand, "set_by", 3600.0)
    summary = bedroom.run()
    assert bedroom.heard("The computer's clock was set by +3600.0 s")
    (logged,) = alarms_of(bedroom)
    assert logged.began == BEGAN + timedelta(seconds=3602.0)
    assert summary.seconds == pytest.approx(20)


def test_hours_of_a_quiet_night(tmp_path: Path) -> None:
    """The screen says each hour that it still listens, and nothing is kept in memory of what was heard."""
    beep = Beep(onset=3.0, duration=1.2, frequency=2730.0, level=-40.0, snr=12.0, known=4.5)
    beeps = [(float(at), replace(beep, onset=at - 2.0, known=float(at))) for at in range(10, 7500, 30)]
    bedroom = Bedroom(tmp_path, [("sound", 100)] * 75, beeps)
    bedroom.run()
    assert len(bedroom.heard("I listen.")) == 2
    watch = bedroom.watch
    assert [len(kept) for kept in (watch._telling.alarms, watch._telling._told, watch._logbook._beeps)] == [0, 0, 0]


def test_round_of_another_speaker_is_not_ours(tmp_path: Path) -> None:
    """A start that tells of no known alarm is taken without harm."""
    bedroom = Bedroom(tmp_path, [("sound", 5)])
    bedroom.reports.put(Started(1001.0, (77,)))
    bedroom.run()
    assert not bedroom.heard("a fault in the program")


def test_technical_alarms_are_kept_apart_from_those_of_the_device(tmp_path: Path) -> None:
    """Cause, since when, who answered, and when it was over: in the history, and no alarm of the device beside it."""
    bedroom = Bedroom(tmp_path, [("sound", 10), ("nothing", 20), ("key", 0), ("nothing", 5), ("sound", 10)])
    bedroom.speaker.on_play = lambda round_: Started(bedroom.hand.now + 0.2, round_.numbers)
    bedroom.calls["key"] = bedroom.watch.press
    bedroom.run()
    assert alarms_of(bedroom) == []
    with bedroom.history as history:
        (technical,) = history.technicals()
    assert (technical.cause, technical.priority, technical.why) == (
        "no-sound", "high", "no sound came from the microphone"
    )  # fmt: skip
    assert (technical.began - BEGAN).total_seconds() == pytest.approx(10, abs=0.3)
    assert (technical.raised - BEGAN).total_seconds() == pytest.approx(10 + SOUNDED, abs=0.5)
    assert technical.ended is not None
    assert (technical.ended - BEGAN).total_seconds() == pytest.approx(35, abs=0.5)


@pytest.mark.parametrize(("seconds", "causes"), [(3600.0, ["clock-set"]), (30.0, [])])
def test_a_clock_that_is_set_far_is_a_technical_alarm(tmp_path: Path, seconds: float, causes: list[str]) -> None:
    """By an hour: medium priority, told at once, over after a minute. By half a minute: only said."""
    bedroom = Bedroom(tmp_path, [("sound", 5.0), ("set", 0.0), ("sound", 90.0)])
    bedroom.calls["set"] = lambda: setattr(bedroom.hand, "set_by", seconds)
    bedroom.run()
    with bedroom.history as history:
        assert [one.cause for one in history.technicals()] == causes
    assert bool(bedroom.heard("The clock of the computer has jumped")) is bool(causes)
    assert not bedroom.speaker.sounding
