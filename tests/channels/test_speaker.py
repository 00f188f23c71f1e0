"""The speaker on the bench: what it plays, and that no fault of the sound system stops it or its caller."""

import time
from collections.abc import Iterator
from queue import Empty, SimpleQueue
from threading import active_count

import numpy as np
import pytest

from beepwatch.channels import feed, speaker
from beepwatch.channels.rounds import ALONE, Round
from beepwatch.channels.speaker import Failed, Speaker, SpeakerReport, Started
from beepwatch.channels.tone import END, REST, Samples, wake_tone
from beepwatch.errors import CannotWake
from beepwatch.waking.actions import Note, Quiet, Remind, Say, Show, Sound
from tests.channels.bench import RATE, BenchStream, BenchSystem

HIGH = Round((1,), "high")
OTHER = Round((2, 1), "high", ("Go.",))
TONE = wake_tone(RATE)
SOON = 5.0
"""s that a test waits for another thread at most."""
Reports = SimpleQueue[SpeakerReport]


@pytest.fixture(autouse=True)
def _hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """The waits that a healthy system never feels are shorter; a pause of the test is no stall."""
    for module, name, seconds in (
        (speaker, "CHECK", 0.005),
        (speaker, "LET_GO", 0.02),
        (speaker, "RETRY", 0.02),
        (feed, "STALL", 60.0),
        (feed, "REFRESH", 0.0),
    ):
        monkeypatch.setattr(module, name, seconds)


@pytest.fixture
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """For the tests in which a call hangs."""
    monkeypatch.setattr(speaker, "PATIENCE", 0.1)


@pytest.fixture
def system() -> BenchSystem:
    """A healthy sound system."""
    return BenchSystem()


@pytest.fixture
def reports() -> Reports:
    """Where the speaker reports to."""
    return SimpleQueue()


@pytest.fixture
def player(system: BenchSystem, reports: Reports) -> Iterator[Speaker]:
    """A speaker, closed in the end."""
    made = Speaker(reports.put, system=system)
    yield made
    system.go_on.set()
    made.close(SOON)


def report(reports: Reports) -> SpeakerReport:
    """The next report."""
    return reports.get(timeout=SOON)


def started(reports: Reports) -> Started:
    """The next report, which tells of sound."""
    told = report(reports)
    assert isinstance(told, Started), told
    return told


def failed(reports: Reports) -> str:
    """The next report, which tells of a fault: one line."""
    told = report(reports)
    assert isinstance(told, Failed), told
    assert "\n" not in told.text
    return told.text


def stream_of(system: BenchSystem) -> BenchStream:
    """The next stream that is opened."""
    return system.opened.get(timeout=SOON)


def first_sound(stream: BenchStream) -> Samples:
    """Pump 10 ms at a time until the stream has a track: the first block that is no silence."""
    until = time.monotonic() + SOON
    while time.monotonic() < until:
        if (block := stream.pump(0.01)).any():
            return block
    raise AssertionError("no sound")


def test_the_tone_is_played_from_its_start_then_again(player: Speaker, system: BenchSystem) -> None:
    """Without speech a pause takes its place; then the same pulses begin again."""
    player.play(HIGH)
    stream = stream_of(system)
    start = first_sound(stream)
    pause = round((REST + ALONE + END) * RATE)
    sound = np.concatenate([start, stream.pump((len(TONE) + pause - len(start)) / RATE), stream.pump(1.0)])
    assert np.array_equal(sound[: len(TONE)], TONE)
    assert not sound[len(TONE) : len(TONE) + pause].any()
    assert np.array_equal(sound[len(TONE) + pause :], TONE[:RATE])


def test_the_first_sound_is_reported_with_its_alarms(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """When: as the sample was taken, and the latency that the system tells after it."""
    player.play(Round((3, 1), "high"))
    stream = stream_of(system)
    before = time.monotonic()
    first_sound(stream)
    after = time.monotonic()
    told = started(reports)
    assert told.numbers == (3, 1)
    assert before + stream.latency <= told.at <= after + stream.latency


def test_the_same_round_again_is_no_change(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """An order that is told again does not begin anew."""
    player.play(HIGH)
    stream = stream_of(system)
    start = first_sound(stream)
    started(reports)
    player.play(Round((1,), "high"))
    sound = np.concatenate([start, stream.pump(1.0)])
    assert np.array_equal(sound, TONE[: len(sound)])
    assert reports.empty()
    assert system.opened.empty()


def test_another_round_takes_its_place_at_once(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """A new alarm does not wait for the end of the message; it uses the stream that is open."""
    player.play(HIGH)
    stream = stream_of(system)
    first_sound(stream)
    started(reports)
    player.play(OTHER)
    blocks = [stream.pump(0.01)]
    while reports.empty():
        blocks.append(stream.pump(0.01))
    assert started(reports).numbers == (2, 1)
    sound = np.concatenate([*blocks, stream.pump(1.0)])
    starts = [np.array_equal(sound[i : i + RATE], TONE[:RATE]) for i in range(0, len(sound) - RATE + 1, RATE // 100)]
    assert any(starts)
    assert system.opened.empty()


def test_stop_is_silence_and_closes_the_stream(player: Speaker, system: BenchSystem) -> None:
    """The device is free again, and what is pumped until then is silence."""
    player.play(HIGH)
    stream = stream_of(system)
    first_sound(stream)
    player.stop()
    assert stream.abandoned.wait(SOON)
    assert not stream.pump(0.5).any()


def test_it_can_be_started_and_stopped_all_night(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """Twenty alarms, twenty streams, twenty reports, and no thread left over."""
    before = active_count()
    for number in range(20):
        player.play(Round((number,), "high"))
        stream = stream_of(system)
        first_sound(stream)
        assert started(reports).numbers == (number,)
        player.stop()
        assert stream.abandoned.wait(SOON)
    assert active_count() < before + 6  # those that give up the last streams may still be at it


def test_medium_rises_and_high_is_full_at_once(player: Speaker, system: BenchSystem) -> None:
    """High: full level in the first pulse. Medium: a tenth at first, full after 15 s."""
    player.play(Round((1,), "medium"))
    stream = stream_of(system)
    start = first_sound(stream)
    sound = np.concatenate([start, stream.pump(30.0)])
    assert np.abs(sound[: RATE // 4]).max() == pytest.approx(0.1 * 0.95, rel=0.1)
    assert np.abs(sound[15 * RATE :]).max() == pytest.approx(0.95, abs=1e-3)
    player.play(HIGH)
    until = time.monotonic() + SOON
    while np.abs(stream.pump(0.3)).max() < 0.94:  # a whole pulse: 0.28 s
        assert time.monotonic() < until


def test_actions_are_carried_out_in_order(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """Sound and Say make a round, Quiet ends it, the others are none of its business."""
    player.perform([Sound((5,), "high"), Say(("Go.",)), Note(5, "woken", 1.0), Show("Text")])
    stream = stream_of(system)
    first_sound(stream)
    assert started(reports).numbers == (5,)
    player.perform([Note(5, "acknowledged", 2.0)])
    assert stream.pump(1.0).any()
    player.perform([Quiet(), Show("Quiet.")])
    assert stream.abandoned.wait(SOON)


def test_no_output_is_told_before_the_night_and_found_when_it_is_there(system: BenchSystem, reports: Reports) -> None:
    """At the start, with nothing to play: one line; one more with the alarm, which goes on trying."""
    system.there = False
    player = Speaker(reports.put, system=system)
    assert "plug one in" in failed(reports)
    player.play(HIGH)
    assert "plug one in" in failed(reports)
    with pytest.raises(Empty):
        reports.get(timeout=0.2)  # ten tries later: not told again
    system.there = True
    first_sound(stream_of(system))
    assert started(reports).numbers == (1,)
    assert player.close(SOON)


def test_an_output_that_does_not_open_is_tried_again(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """Told once while the cause is the same, again when it is another, then played."""
    system.broken = CannotWake("cannot open the speaker (busy)")
    player.play(HIGH)
    assert "busy" in failed(reports)
    system.broken = CannotWake("cannot open the speaker (gone)")
    assert "gone" in failed(reports)
    system.broken = None
    first_sound(stream_of(system))
    started(reports)


def test_a_fault_in_the_programs_own_code_does_not_end_the_waking(
    player: Speaker, system: BenchSystem, reports: Reports
) -> None:
    """Whatever is raised is told and tried again."""
    system.broken = RuntimeError("a bug")
    player.play(HIGH)
    assert "a bug" in failed(reports)
    system.broken = None
    first_sound(stream_of(system))
    started(reports)


@pytest.mark.usefixtures("_impatient")
def test_a_hanging_server_keeps_nobody_waiting(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """`play` and `stop` return at once, the fault is told, and when the server goes on there is sound."""
    system.go_on.clear()
    began = time.monotonic()
    for _ in range(100):
        player.play(HIGH)
        player.stop()
    player.play(HIGH)
    assert time.monotonic() - began < 0.5
    assert "does not answer" in failed(reports)
    system.go_on.set()
    first_sound(stream_of(system))
    assert started(reports).numbers == (1,)


@pytest.mark.usefixtures("_impatient")
def test_one_hanging_call_is_waited_for_not_repeated(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """While an opening hangs no second one is made (each would hold a thread)."""
    system.go_on.clear()
    player.play(HIGH)
    failed(reports)
    assert system.opening.get(timeout=SOON)
    with pytest.raises(Empty):
        system.opening.get(timeout=0.3)


@pytest.mark.usefixtures("_impatient")
def test_hanging_calls_are_counted(
    player: Speaker, system: BenchSystem, reports: Reports, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Given up after a time, each is replaced by a new one, up to a limit; later there is sound all the same."""
    monkeypatch.setattr(speaker, "GIVE_UP", 0.05)
    system.go_on.clear()
    player.play(HIGH)
    for _ in range(speaker.HANGING):
        assert system.opening.get(timeout=SOON)
    with pytest.raises(Empty):
        system.opening.get(timeout=0.5)
    assert "does not answer" in failed(reports)
    system.go_on.set()
    streams = [stream_of(system) for _ in range(speaker.HANGING)]
    open_still = [stream for stream in streams if not stream.abandoned.wait(1.0)]
    assert len(open_still) <= 1  # the newest may just be waited for
    first_sound(open_still[0] if open_still else stream_of(system))
    assert started(reports).numbers == (1,)


@pytest.mark.usefixtures("_impatient")
def test_an_opening_that_comes_too_late_stays_silent(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """Stopped while the server hung: when it opens at last, it is closed without a sound."""
    system.go_on.clear()
    player.play(HIGH)
    failed(reports)
    player.stop()
    system.opening.get(timeout=SOON)
    system.go_on.set()
    late = stream_of(system)
    assert late.abandoned.wait(SOON)
    assert not late.pump(1.0).any()
    assert reports.empty()


def test_a_stream_that_takes_no_sound_is_replaced(
    player: Speaker, system: BenchSystem, reports: Reports, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Suspended or frozen: no calls come. It is told, and the round begins anew on another stream."""
    player.play(HIGH)
    first_sound(stream_of(system))
    started(reports)
    monkeypatch.setattr(feed, "STALL", 0.1)
    assert "takes no sound" in failed(reports)
    monkeypatch.setattr(feed, "STALL", 60.0)
    second = stream_of(system)
    start = first_sound(second)
    assert np.array_equal(start, TONE[: len(start)])
    started(reports)


def test_a_stream_that_ended_is_replaced(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """The server died: the stream says that it is not active any more."""
    player.play(HIGH)
    first = stream_of(system)
    first_sound(first)
    started(reports)
    first.active = False
    assert "stream ended" in failed(reports)
    assert first.abandoned.wait(SOON)
    first_sound(stream_of(system))
    started(reports)


def test_a_stream_that_cannot_be_closed_does_not_stop_the_next(
    player: Speaker, system: BenchSystem, reports: Reports
) -> None:
    """Silent at once, left alone, and the next alarm has a stream of its own."""
    system.abandon_hangs = True
    player.play(HIGH)
    first = stream_of(system)
    first_sound(first)
    started(reports)
    player.stop()
    assert first.abandoned.wait(SOON)
    assert not first.pump(0.5).any()
    player.play(OTHER)
    first_sound(stream_of(system))
    assert started(reports).numbers == (2, 1)
    first.release.set()


def test_close_ends_it(player: Speaker, system: BenchSystem) -> None:
    """In the middle of a round: the stream is closed, the thread ends, a later order does nothing."""
    player.play(HIGH)
    stream = stream_of(system)
    first_sound(stream)
    assert player.close(SOON)
    assert stream.abandoned.is_set()
    player.play(OTHER)
    assert system.opened.empty()


@pytest.mark.usefixtures("_impatient")
def test_close_does_not_wait_for_a_hanging_server(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """It says so instead: then only the end of the process ends it."""
    system.go_on.clear()
    player.play(HIGH)
    failed(reports)
    began = time.monotonic()
    player.close(0.05)
    assert time.monotonic() - began < 1.0


def test_the_sound_is_there_before_the_stream_opens(player: Speaker, system: BenchSystem, reports: Reports) -> None:
    """What opening asks for is the tone already, not a buffer of silence; it counts as heard once more is taken."""
    system.primes = 0.1
    player.play(HIGH)
    stream = stream_of(system)
    assert np.array_equal(stream.primed, TONE[: RATE // 10])
    with pytest.raises(Empty):
        reports.get(timeout=0.2)  # a suspended output takes its first buffer and no more: nobody heard it
    assert np.array_equal(stream.pump(0.1), TONE[RATE // 10 : RATE // 5])
    assert started(reports).numbers == HIGH.numbers


def test_a_reminder_is_sounded_once_and_the_stream_closed(
    player: Speaker, system: BenchSystem, reports: Reports
) -> None:
    """Asked for by `Remind`: two pulses, then silence and the end; an alarm that comes meanwhile takes its place."""
    player.perform([Remind(4, ())])
    stream = stream_of(system)
    first_sound(stream)
    assert started(reports).numbers == (4,)
    stream.pump(6.0)
    assert stream.abandoned.wait(SOON)
    player.perform([Remind(4, ())])
    again = stream_of(system)
    first_sound(again)
    assert started(reports).numbers == (4,)
    player.perform([Sound((5,), "high"), Say(())])
    until = time.monotonic() + SOON
    while reports.empty() and time.monotonic() < until:
        again.pump(0.01)
    assert started(reports).numbers == (5,)
