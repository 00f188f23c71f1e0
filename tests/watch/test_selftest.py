"""The speaker's daily test: made by day and once, judged by the microphone in the same room, else by the stream."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Event

import numpy as np
import pytest

from beepwatch.channels.tone import Samples
from beepwatch.errors import CannotWake
from beepwatch.watch.selftest import AGAIN, SETTLED, SOFT, TONE, Result, SelfTest, rise, sounded, tone
from tests.channels.bench import BenchSystem

RATE = 16_000
NIGHT = datetime(2026, 3, 1, 3, 0, tzinfo=UTC)


class Room:
    """A day on a clock of the test's: the microphone hears a hiss, and the tone as loud as `gain`."""

    def __init__(self, *, same_room: bool, gain: float = 0.02, fault: str = "", hour: str = "13:00") -> None:
        self.now, self.began = 0.0, NIGHT
        self.gain, self.fault = gain, fault
        self.plays: list[datetime] = []
        self.played = Event()
        self._rng = np.random.default_rng(1)
        self._sound: Samples = np.zeros(0, np.float32)
        self.test = SelfTest(hour, same_room=same_room, rate=RATE, play=self._play)
        self.results: list[tuple[datetime, Result]] = []

    @property
    def wall(self) -> datetime:
        return self.began + timedelta(seconds=self.now)

    def go_on(self, seconds: float, step: float = 0.1) -> None:
        for _ in range(round(seconds / step)):
            self.now += step
            if step <= 0.1:
                self.test.hear(self._block())
            idle = self.test._began is None
            found = self.test.look(self.now, self.wall)
            if idle and self.test._began is not None:
                assert self.played.wait(5)  # it is played by another thread
                self.played.clear()
            if found is not None:
                self.results.append((self.wall, found))

    def _play(self) -> None:
        self.plays.append(self.wall)
        if self.fault:
            self.played.set()
            raise CannotWake(self.fault)
        self._sound = tone(RATE) * np.float32(self.gain)
        self.played.set()

    def _block(self) -> Samples:
        hiss = self._rng.normal(scale=3e-4, size=RATE // 10)
        part, self._sound = self._sound[: RATE // 10], self._sound[RATE // 10 :]
        hiss[: len(part)] += part
        return hiss.astype(np.float32)[:, np.newaxis]


def at_noon(**options: object) -> Room:
    """A room that has listened since the night, a minute before its test."""
    room = Room(**options)  # type: ignore[arg-type]  # fields by name
    room.go_on(9 * 3600 + 59 * 60, step=60.0)
    assert room.results == []
    return room


def test_heard_in_the_same_room_it_is_well_and_made_once_a_day() -> None:
    """The tone at a fiftieth of its level over a hiss: heard; the next one comes tomorrow."""
    room = at_noon(same_room=True)
    room.go_on(70.0)
    assert [result for _, result in room.results] == [Result(True)]
    room.go_on(20 * 3600, step=60.0)
    assert len(room.plays) == 1
    room.go_on(4.05 * 3600, step=60.0)
    assert len(room.plays) == 2
    assert {at.hour for at in room.plays} == {13}


def test_not_heard_it_is_told_and_tried_again() -> None:
    """A stream that runs, but a speaker that is switched off; switched on again it is over."""
    room = at_noon(same_room=True, gain=0.0)
    room.go_on(70.0)
    ((_, first),) = room.results
    assert not first.ok
    assert "did not hear" in first.text
    room.gain = 0.02
    room.go_on(AGAIN + 10.0)
    assert [result.ok for _, result in room.results] == [False, True]


@pytest.mark.parametrize("fault", ["", "no speaker can be found"])
def test_in_another_room_the_stream_is_judged(fault: str) -> None:
    """Our microphone cannot hear it there."""
    room = at_noon(same_room=False, gain=0.0, fault=fault)
    room.go_on(70.0)
    assert [result for _, result in room.results] == [Result(not fault, fault)]


def test_never_where_no_hour_is_set_and_not_just_after_the_start() -> None:
    """Nor at any other hour."""
    never = Room(same_room=True, hour="")
    never.go_on(48 * 3600, step=60.0)
    assert never.plays == []
    late = Room(same_room=True)
    late.began = datetime(2026, 3, 1, 12, 59, tzinfo=UTC)
    late.go_on(SETTLED, step=60.0)
    assert late.plays == []


def test_the_tone_is_soft_and_short() -> None:
    """1 kHz, 20 dB under full scale, 1.5 s, and it ends in silence."""
    samples = tone(48_000)
    assert np.abs(samples).max() == pytest.approx(SOFT, rel=0.01)
    assert len(samples) == 2 * 48_000
    assert not samples[-20_000:].any()
    spectrum = np.abs(np.fft.rfft(samples))
    assert np.argmax(spectrum) / 2 == pytest.approx(TONE, abs=1)


def test_too_little_sound_is_no_rise() -> None:
    """A microphone that gave nothing meanwhile."""
    assert rise([], [1.0] * 8) == rise([1.0] * 8, []) == -np.inf
    assert rise([1.0] * 8, [1.0, 10.0, 10.0, 10.0, 10.0, 1.0]) == pytest.approx(10.0)


def broken(system: BenchSystem) -> None:
    system.there = False


def mute(_: BenchSystem) -> None:
    """A stream that opens and never asks for samples."""


@pytest.mark.parametrize(("ill", "words"), [(broken, "no speaker can be found"), (mute, "takes no sound")])
def test_a_stream_that_does_not_run_is_a_fault(ill: Callable[[BenchSystem], None], words: str) -> None:
    """No device, or one that takes nothing."""
    system = BenchSystem()
    ill(system)
    with pytest.raises(CannotWake, match=words):
        sounded(system, None)
