"""The live source: nothing lost in silence, a dead stream replaced, a hanging sound system survived.

The sound system here is played by hand; the real one is met in tests/live.
"""

from dataclasses import dataclass, field
from threading import Event

import numpy as np
import pytest

from beepwatch.errors import CannotHear, NoMicrophone
from beepwatch.sources.block import Block
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.patience import Attempt
from beepwatch.sources.portaudio import Device, Receive

RATE, FRAMES = 16_000, 1_600  # blocks of 0.1 s
NOW = 0.0  # s: what is in the queue already needs no waiting


@dataclass
class HandStream:
    """A stream whose callback the test calls."""

    receive: Receive
    active: bool = True
    hangs: Event | None = None

    def abandon(self) -> None:
        self.active = False
        if self.hangs is not None:
            self.hangs.wait()


@dataclass
class HandSystem:
    """A sound system with one device, which opens streams or refuses."""

    streams: list[HandStream] = field(default_factory=list)
    refusal: str | None = None
    name: str = "a microphone"
    replugged: str | None = None
    """Name of the device that a new list would have."""
    refreshed: list[tuple[str | int | None, str | None]] = field(default_factory=list)

    def find(self, device: str | int | None) -> Device:
        return Device(0, self.name, RATE, 1, 1)

    def refresh(self, device: str | int | None, name: str | None) -> bool:
        self.refreshed.append((device, name))
        if self.replugged is None or (name is not None and name != self.replugged):
            return False
        self.name, self.refusal, self.replugged = self.replugged, None, None
        return True

    def open(self, device: Device, receive: Receive) -> HandStream:
        if self.refusal is not None:
            raise NoMicrophone(self.refusal)
        self.streams.append(HandStream(receive))
        return self.streams[-1]


class Bench:
    """A microphone, its sound system and its clock, all in the test's hand. Samples are numbered."""

    def __init__(self, queue: int = 300, device: str | int | None = None) -> None:
        self.system = HandSystem()
        self.now = 100.0
        self.spoken = 0
        self.microphone = Microphone(device, self.system, lambda: self.now, queue)

    def deliver(self, blocks: int = 1, flagged: bool = False) -> None:
        """Time goes by and the newest stream delivers."""
        for _ in range(blocks):
            self.now += FRAMES / RATE
            numbers = np.arange(self.spoken, self.spoken + FRAMES, dtype=np.float32)[:, None]
            self.spoken += FRAMES
            self.system.streams[-1].receive(numbers, flagged)

    def lose(self, blocks: int) -> None:
        """Time goes by, the room sounds, and nothing arrives."""
        self.now += blocks * FRAMES / RATE
        self.spoken += blocks * FRAMES

    def taken(self) -> list[Block]:
        found: list[Block] = []
        while (block := self.microphone.take(NOW)) is not None:
            found.append(block)
        return found

    def reopen(self) -> None:
        """Ask for a new stream and wait until the try has ended."""
        assert self.microphone.reopen()
        worker = self.microphone._worker
        assert worker is not None
        worker.result(5)


def check_places(blocks: list[Block]) -> None:
    """Every sample stands where its number says, and each hole is told as lost."""
    end = 0
    for block in blocks:
        assert block.start == end + block.lost
        assert block.samples[0, 0] == block.start
        end = block.end


def test_blocks_arrive_whole_with_the_time_of_their_arrival() -> None:
    """Numbered samples come through in order; nothing is called lost."""
    bench = Bench()
    bench.deliver(5)
    blocks = bench.taken()
    check_places(blocks)
    assert [block.lost for block in blocks] == [0] * 5
    assert [block.arrived for block in blocks] == pytest.approx([100.1, 100.2, 100.3, 100.4, 100.5])


def test_the_callback_copies() -> None:
    """The sound system's own array may be written over after the callback."""
    bench = Bench()
    array = np.ones((FRAMES, 1), dtype=np.float32)
    bench.system.streams[0].receive(array, False)
    array[:] = 7
    assert bench.taken()[0].samples.max() == 1


def test_a_full_queue_counts_what_it_cannot_hold() -> None:
    """What did not fit is told as lost before the next block that does."""
    bench = Bench(queue=3)
    bench.deliver(8)
    blocks = bench.taken()
    bench.deliver(2)
    blocks += bench.taken()
    check_places(blocks)
    assert [block.lost for block in blocks] == [0, 0, 0, 5 * FRAMES, 0]


def test_loss_that_nobody_tells_is_found_by_the_clock() -> None:
    """Three seconds that the sound system swallowed are told within 4 s; before and after, nothing."""
    bench = Bench()
    bench.deliver(100)
    assert sum(block.lost for block in bench.taken()) == 0
    bench.lose(30)
    bench.deliver(40)
    assert sum(block.lost for block in bench.taken()) == pytest.approx(30 * FRAMES, abs=FRAMES)
    bench.deliver(600)
    assert sum(block.lost for block in bench.taken()) == 0


def test_a_stall_that_is_made_up_for_is_no_loss() -> None:
    """Blocks that come late, in a burst, are all there."""
    bench = Bench()
    bench.deliver(50)
    bench.now += 5.0
    for _ in range(50):
        bench.deliver()
        bench.now -= FRAMES / RATE  # a burst: fifty blocks at one time
    bench.deliver(100)
    blocks = bench.taken()
    check_places(blocks)
    assert sum(block.lost for block in blocks) == 0


@pytest.mark.parametrize("error", [-200e-6, 200e-6])
def test_a_clock_that_runs_a_little_wrong_all_night_loses_nothing(error: float) -> None:
    """A sound card 200 ppm off (more than common crystals) is not taken for loss in nine hours."""
    bench = Bench()
    for _ in range(9 * 3600 // 10):
        for _ in range(10):  # blocks of 1 s, to be quick
            bench.now += 1 + error
            bench.system.streams[-1].receive(np.zeros((RATE, 1), dtype=np.float32), False)
        assert sum(block.lost for block in bench.taken()) == 0


def test_flags_of_the_sound_system_are_counted() -> None:
    """An overflow that it reports is kept in `flags`."""
    bench = Bench()
    bench.deliver(2, flagged=True)
    bench.taken()
    assert bench.microphone.flags == 2


def test_a_new_stream_goes_on_where_the_clock_stands() -> None:
    """After a dead stream the time without sound is one gap, and the samples keep their places."""
    bench = Bench()
    bench.deliver(10)
    blocks = bench.taken()
    bench.system.streams[-1].active = False
    assert bench.microphone.dead
    bench.lose(70)
    bench.reopen()
    assert not bench.microphone.dead
    bench.deliver(10)
    blocks += bench.taken()
    check_places(blocks)
    assert [block.lost for block in blocks if block.lost] == [70 * FRAMES]


def test_the_old_stream_has_no_say_any_more() -> None:
    """A last word of the stream that was given up is dropped: its samples are no longer in place."""
    bench = Bench()
    bench.deliver()
    bench.reopen()
    bench.deliver()
    bench.taken()
    bench.system.streams[0].receive(np.zeros((FRAMES, 1), dtype=np.float32), False)
    assert bench.taken() == []


def test_a_refusal_is_told_and_tried_again() -> None:
    """While the device is away `trouble` says so; the next try that works clears it."""
    bench = Bench()
    bench.system.refusal = "cannot open the microphone 'a microphone': gone"
    bench.reopen()
    assert bench.microphone.trouble == bench.system.refusal
    assert bench.microphone.dead
    bench.system.refusal = None
    bench.reopen()
    assert bench.microphone.trouble is None
    assert not bench.microphone.dead


def test_a_stream_that_cannot_be_given_up_does_not_hold_the_new_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """`abandon` that never returns is left in its thread; the new stream opens all the same."""
    monkeypatch.setattr("beepwatch.sources.microphone.LET_GO", 0.05)
    bench = Bench()
    released = Event()
    bench.system.streams[0].hangs = released
    bench.reopen()
    assert not bench.microphone.dead
    assert bench.microphone.close()
    released.set()


def test_close_says_if_the_sound_system_hangs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Then only the end of the process ends the stream, and no new one is begun."""
    monkeypatch.setattr("beepwatch.sources.microphone.LET_GO", 0.05)
    bench = Bench()
    released = Event()
    bench.system.streams[0].hangs = released
    assert not bench.microphone.close()
    assert not bench.microphone.reopen()
    released.set()


def test_what_cannot_be_opened_at_start_is_an_error() -> None:
    """NoMicrophone comes out of the constructor as it is."""
    system = HandSystem(refusal="cannot open the microphone 'a microphone': busy")
    with pytest.raises(NoMicrophone, match="busy"):
        Microphone(None, system)


def test_a_call_that_never_returns_is_given_up() -> None:
    """`Attempt` raises CannotHear after the time, and the thread does not hold the program."""
    released = Event()
    attempt = Attempt(released.wait)
    with pytest.raises(CannotHear, match="has not answered"):
        attempt.result(0.05)
    assert attempt.running
    released.set()
    assert attempt.result(5) is True


def reopened(bench: Bench) -> None:
    """A try to open it anew, through to its end."""
    assert bench.microphone.reopen()
    worker = bench.microphone._worker
    assert worker is not None
    worker.result(10)


def test_a_microphone_that_was_put_in_again_is_found_by_a_new_list() -> None:
    """Opening fails by the old list: the devices are listed anew, and it is opened in the same try."""
    bench = Bench()
    bench.system.refusal = "Invalid device"
    bench.system.replugged = "a microphone"
    reopened(bench)
    assert bench.microphone.trouble is None
    assert bench.system.refreshed == [(None, None)]
    assert not bench.microphone.dead


def test_one_that_is_still_away_leaves_the_list_alone() -> None:
    """A fresh process does not find it either: what plays is not disturbed."""
    bench = Bench()
    bench.system.refusal = "Invalid device"
    reopened(bench)
    assert bench.microphone.trouble == "Invalid device"
    assert bench.microphone.dead


def test_another_default_is_told_and_left_when_the_first_is_back() -> None:
    """Pulled out, the built-in one is the default: elsewhere; put in again, the first one."""
    bench = Bench()
    bench.system.refusal, bench.system.replugged = "Invalid device", "built-in"
    reopened(bench)
    assert bench.microphone.elsewhere
    reopened(bench)
    assert bench.microphone.elsewhere
    bench.system.replugged = "a microphone"
    reopened(bench)
    assert not bench.microphone.elsewhere


def test_a_number_is_asked_for_by_name_later() -> None:
    """The list may have another order by then."""
    bench = Bench(device=3)
    bench.system.refusal = "Invalid device"
    reopened(bench)
    assert bench.system.refreshed == [("a microphone", None)]
