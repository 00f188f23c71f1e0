"""Server-sent events: one encoding of each state for all pages, a heartbeat each second, and who has it open."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from datetime import datetime

from beepwatch.board.board import Board
from beepwatch.board.state import Happened
from beepwatch.page.pairing import Device
from beepwatch.page.wire import events_frame, now_frame

LOG = logging.getLogger("beepwatch")
BEAT = 1.0
"""s between two frames at most: the page alarms after five without any."""
STREAMS = 4
"""Open streams of one device; a newer one ends the oldest: a phone that reconnects leaves dead ones behind."""
PAIRED_EACH = 2.0
"""s between two looks whether the device is still paired."""
RETRY = 1000
"""ms until a browser's own reconnection (the page has its own timer besides)."""


class Hub:
    """Lives in the page's event loop; `news` may be called from any thread."""

    def __init__(self, board: Board, wall: Callable[[], datetime]) -> None:
        self._board, self._wall = board, wall
        self._changed = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self._asked = False
        self._events: tuple[Happened, ...] | None = None
        self._mine: dict[int, list[asyncio.Event]] = {}
        self.frame = b""
        self.events = b""
        self.events_number = 0
        self._leave = board.subscribe(self.news)
        self.refresh()

    def news(self) -> None:
        """Something was put up: encode it soon (once, however often this is called meanwhile)."""
        if not self._asked:
            self._asked = True
            self._loop.call_soon_threadsafe(self.refresh)

    def refresh(self) -> None:
        """Encode what is up now, and let every stream have it."""
        self._asked = False
        posted = self._board.posted
        self.frame = _sent("now", now_frame(posted, self._board.age, self._wall()))
        if posted.state.events is not self._events:
            self._events = posted.state.events
            self.events = _sent("events", events_frame(self._events))
            self.events_number += 1
        self._changed.set()
        self._changed = asyncio.Event()

    async def beat(self) -> None:
        """A frame each second, whether anything is new or not; runs until cancelled."""
        while True:
            await asyncio.sleep(BEAT)
            try:
                self.refresh()
            except Exception:  # without frames every page alarms; it is logged and tried again
                LOG.exception("a frame for the page failed")

    @property
    def open_streams(self) -> dict[int, int]:
        """Streams by device number."""
        return {number: len(streams) for number, streams in self._mine.items() if streams}

    def close_all(self) -> None:
        """End every stream, and read the board no more."""
        self._leave()
        for streams in self._mine.values():
            for one in streams:
                one.set()
        self._changed.set()

    async def stream(self, device: Device, hello: bytes, still_paired: Callable[[], bool]) -> AsyncIterator[bytes]:
        """Frames for one page until it goes away or is shut out."""
        over = self._begin(device.number)
        try:
            yield f"retry: {RETRY}\n\n".encode() + _sent("hello", hello)
            seen_events, asked_at = 0, self._loop.time()
            while not over.is_set():
                changed = self._changed
                if self._loop.time() - asked_at > PAIRED_EACH:
                    asked_at = self._loop.time()
                    if not still_paired():
                        yield _sent("unpaired", b"{}")
                        return
                if seen_events != self.events_number:
                    seen_events = self.events_number
                    yield self.events
                yield self.frame
                if self._changed is changed:
                    await changed.wait()
        finally:
            self._end(device.number, over)

    def _begin(self, number: int) -> asyncio.Event:
        over = asyncio.Event()
        streams = self._mine.setdefault(number, [])
        streams.append(over)
        if len(streams) > STREAMS:
            streams.pop(0).set()
        return over

    def _end(self, number: int, over: asyncio.Event) -> None:
        streams = self._mine.get(number, [])
        if over in streams:
            streams.remove(over)
        if not streams:
            self._mine.pop(number, None)


def _sent(kind: str, data: bytes) -> bytes:
    """One server-sent event (HTML Living Standard, 9.2); JSON holds no line breaks."""
    return b"event: " + kind.encode() + b"\ndata: " + data + b"\n\n"
