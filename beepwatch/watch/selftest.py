"""The loudspeaker's daily test by day: a soft short tone, heard by our own microphone where both share a room."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from queue import Empty, SimpleQueue
from threading import Thread

import numpy as np
import numpy.typing as npt

from beepwatch.channels.feed import Feed
from beepwatch.channels.output import OutputSystem, PortAudioOutput
from beepwatch.channels.rounds import Track
from beepwatch.channels.tone import Samples
from beepwatch.errors import CannotWake

TONE = 1000.0
"""Hz: every loudspeaker and microphone has it; no pattern's tone is likelier there than elsewhere (judgement)."""
LENGTH = 1.5
"""s: long enough to be measured, and one beep is no alarm."""
SOFT = 0.1
"""Amplitude, of full: 20 dB under a wake sound (judgement)."""
RISE = 6.0
"""dB at the tone over what was there before, in a room: 1 s of noise varies by under 3 dB in 4 Hz (judgement)."""
PIECE = 0.25
"""s of sound that are measured together."""
WINDOW = 4.0
"""s that are listened to from the tone on: what the sound system holds back is in it."""
SETTLED = 900.0
"""s after the start before which none is made: somebody who just began may have tried it (judgement)."""
AGAIN = 600.0
"""s until a test that failed is made again."""


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a test; `text`: why it failed, "" where it did not."""

    ok: bool
    text: str = ""


def tone(rate: int) -> Samples:
    """The soft tone, float32, shape (n,), with an edge of 0.1 s at both ends, and 0.5 s of silence after it."""
    at = np.arange(round(LENGTH * rate)) / rate
    edge = np.clip(np.minimum(at, LENGTH - at) / 0.1, 0, 1)
    sound = SOFT * np.sin(2 * np.pi * TONE * at) * edge
    return np.concatenate([sound, np.zeros(rate // 2)]).astype(np.float32)


def rise(before: list[float], after: list[float]) -> float:
    """dB by which the tone's loudest second stands over the time before it; -inf where too little was heard."""
    run = round(1.0 / PIECE)
    if len(before) < run or len(after) < run:
        return -math.inf
    loudest = max(float(np.mean(after[at : at + run])) for at in range(len(after) - run + 1))
    return 10 * math.log10(max(loudest, 1e-20) / max(float(np.median(before)), 1e-20))


class SelfTest:
    """Made for each day at `hour` ("13:00"; "" for never). same_room: judge by the microphone, else by the stream.

    Not in the first quarter of an hour of listening. Times are clock readings, s. Everything that may hang happens in a
    thread of its own.
    """

    def __init__(
        self, hour: str, *, same_room: bool, rate: int, device: str | int | None = None,
        play: Callable[[], None] | None = None,
    ) -> None:  # fmt: skip
        self._hour = time.fromisoformat(hour) if hour else None
        self._same_room, self._rate = same_room, rate
        self._play = play or (lambda: sounded(PortAudioOutput(), device))
        self._day: date | None = None
        self._first: float | None = None
        self._again: float | None = None
        self._began: float | None = None
        self._played: SimpleQueue[str] = SimpleQueue()
        self._stream: str | None = None
        self._spare: npt.NDArray[np.float32] = np.zeros(0, np.float32)
        self._before: list[float] = []
        self._after: list[float] = []

    def hear(self, samples: npt.NDArray[np.float32]) -> None:
        """The next block of sound, shape (n, channels): measured at the tone, kept for a few seconds."""
        if not self._same_room or self._hour is None:
            return
        size = round(PIECE * self._rate)
        self._spare = np.concatenate([self._spare, samples[:, 0]])
        while len(self._spare) >= size:
            piece, self._spare = self._spare[:size], self._spare[size:]
            into = self._before if self._began is None else self._after
            into.append(_power(piece, self._rate))
            del self._before[: -round(WINDOW / PIECE)]

    def look(self, now: float, wall: datetime) -> Result | None:
        """Begin a test if it is time (wall: local), or give the result of one that is over."""
        if self._began is None:
            if self._due(now, wall):
                self._begin(now, wall)
            return None
        if self._stream is None:
            try:
                self._stream = self._played.get_nowait()
            except Empty:
                return None if now - self._began < AGAIN / 10 else self._end(now, "the sound system does not answer")
        if self._stream or not self._same_room:
            return self._end(now, self._stream)
        if now - self._began < WINDOW:
            return None
        heard = rise(self._before, self._after)
        return self._end(now, "" if heard >= RISE else "my own microphone did not hear its soft tone")

    def _due(self, now: float, wall: datetime) -> bool:
        self._first = now if self._first is None else self._first
        if self._hour is None or now - self._first < SETTLED:
            return False
        if self._again is not None:
            return now >= self._again
        late = datetime.combine(wall.date(), self._hour, wall.tzinfo)
        return self._day != wall.date() and 0 <= (wall - late).total_seconds() < AGAIN

    def _begin(self, now: float, wall: datetime) -> None:
        self._day, self._began, self._stream = wall.date(), now, None
        self._after.clear()
        self._played = SimpleQueue()
        played = self._played

        def work() -> None:
            try:
                self._play()
            except CannotWake as error:
                played.put(str(error))
            else:
                played.put("")

        Thread(target=work, name="test of the speaker", daemon=True).start()

    def _end(self, now: float, fault: str) -> Result:
        self._began, self._stream = None, None
        self._again = now + AGAIN if fault else None
        return Result(not fault, fault)


def sounded(system: OutputSystem, device: str | int | None) -> None:
    """Play the tone once. Raises CannotWake where it does not go out; may hang."""
    from time import sleep  # noqa: PLC0415 - the name is taken by a time of day

    feed = Feed(system, device)
    feed.open()
    try:
        track = Track(tone(feed.rate), feed.rate, 0.0)
        feed.put(track)
        sleep(LENGTH)
        feed.check()
        if not track.begun:
            raise CannotWake("the speaker takes no sound: the sound system hangs or is suspended; restart it")
    finally:
        feed.give_up()


def _power(piece: npt.NDArray[np.float32], rate: int) -> float:
    """Power at the tone in one piece, by one term of a Fourier transform with a Hann window."""
    at = np.arange(len(piece)) / rate
    term = np.exp(-2j * np.pi * TONE * at) * np.hanning(len(piece))
    return float(np.abs(np.dot(piece, term) / len(piece)) ** 2)
