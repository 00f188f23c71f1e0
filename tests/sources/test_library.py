"""PortAudio's one state: streams closed from elsewhere, and never a new beginning while a call is under way."""

from threading import Event, Thread
from types import SimpleNamespace
from typing import Any, cast

import pytest

from beepwatch.sources import library
from beepwatch.sources.library import Busy, Library


class Stream:
    """As sounddevice's."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.latency = 0.1
        self.go_on = Event()
        self.go_on.set()

    @property
    def active(self) -> bool:
        assert "close" not in self.calls  # a closed stream is no longer there to be asked
        return True

    def abort(self, ignore_errors: bool) -> None:
        self.calls.append("abort")
        self.go_on.wait(20)

    def close(self, ignore_errors: bool) -> None:
        self.calls.append("close")


def sounddevice(log: list[str]) -> Any:
    return SimpleNamespace(_terminate=lambda: log.append("end"), _initialize=lambda: log.append("begin"))


def test_a_new_beginning_closes_every_stream_first() -> None:
    """Then it ends and begins; the closed stream is not active, and closing it again does nothing."""
    log: list[str] = []
    mine, stream = Library(), Stream()
    held = mine.hold(cast("Any", stream))
    assert held.active
    assert mine.refresh(sounddevice(log))
    assert log == ["end", "begin"]
    assert not held.active
    held.abandon()
    assert stream.calls == ["abort", "close"]


def test_while_a_call_is_under_way_nothing_begins_anew() -> None:
    """It may hang, and PortAudio must not be ended under it."""
    mine = Library()
    with mine.call():
        assert not mine.refresh(sounddevice([]))
    assert mine.refresh(sounddevice([]))


def test_a_beginning_that_hangs_keeps_calls_out_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each call waits for a time and raises; when it is over they go through."""
    monkeypatch.setattr(library, "WAIT", 0.05)
    mine, go_on, begun = Library(), Event(), Event()

    def hang() -> None:
        begun.set()
        go_on.wait(20)

    module: Any = SimpleNamespace(_terminate=hang, _initialize=lambda: None)
    worker = Thread(target=lambda: mine.refresh(module))
    worker.start()
    assert begun.wait(5)
    with pytest.raises(Busy), mine.call():
        pass
    go_on.set()
    worker.join(5)
    with mine.call():
        pass


def test_a_stream_that_hangs_while_it_is_closed_is_not_active() -> None:
    """Asking never waits."""
    stream = Stream()
    stream.go_on.clear()
    held = Library().hold(cast("Any", stream))
    closing = Thread(target=held.abandon)
    closing.start()
    while "abort" not in stream.calls:
        pass
    assert not held.active
    stream.go_on.set()
    closing.join(5)
