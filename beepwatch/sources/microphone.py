"""The live source: a bounded queue between two threads, and a stream that can be replaced.

The callback copies, counts and leaves. Whatever is lost on the way becomes `Block.lost`:
    the queue was full                  counted by the callback
    the sound system lost it            found by `Pace`: fewer frames than time
    the stream was dead and replaced    told by the clock when the new one delivers
"""

from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, Full, Queue

from beepwatch.errors import CannotHear
from beepwatch.sources.block import Block, Samples
from beepwatch.sources.clock import ticking
from beepwatch.sources.hush import hushed
from beepwatch.sources.pace import Pace
from beepwatch.sources.patience import Attempt
from beepwatch.sources.portaudio import Device, PortAudio, Receive, SoundSystem, Stream

QUEUE = 600
"""Blocks of 0.05 s that may wait: 30 s in which the loop may be busy (a slow disk) before sound is lost."""
PATIENCE = 10.0
"""s to wait for the sound system to open a device at start (measured: under 0.1 s on a healthy server)."""
LET_GO = 2.0
"""s to wait for a stream to be given up: it is at once or, while the server hangs, never (measured)."""
HANGING = 8
"""Calls that never returned, above which no more are made: each holds a thread (judgement)."""


@dataclass(frozen=True, slots=True)
class _Raw:
    """What the callback leaves in the queue."""

    stream: int
    samples: Samples
    at: float
    dropped: int
    flagged: bool


class Microphone:
    """Sound from a device, block by block; raises NoMicrophone (or CannotHear) if it cannot be opened.

    device: name (or a part of it that fits only one), number, or None for the system's default.
    `flags`: how often the sound system itself said that it lost something.
    """

    live = True
    ended = False

    def __init__(
        self,
        device: str | int | None = None,
        system: SoundSystem | None = None,
        clock: Callable[[], float] = ticking,
        queue: int = QUEUE,
    ) -> None:
        self._wanted = device
        self._system: SoundSystem = system or PortAudio()
        self._clock = clock
        self._queue: Queue[_Raw] = Queue(queue)
        self._closed = False
        self._dropped = 0
        self.flags = 0
        self.trouble: str | None = None
        """Why the last try to open failed, in one line; None once it has worked."""
        self._number = 0
        with hushed():  # PortAudio and ALSA print many lines where there is no sound card or server
            self._device = Attempt(lambda: self._system.find(device)).result(PATIENCE)
            self._stream: Stream | None = Attempt(self._opened).result(PATIENCE)
        self._first = self._device.name
        if isinstance(device, int):
            self._wanted = self._first  # after it was pulled out, the number may be another's
        self._worker: Attempt[None] | None = None
        self._hanging: list[Attempt[None]] = []
        self._heard = 0
        self._origin = 0.0
        self._end = 0
        self._pace = Pace(self.rate)

    @property
    def name(self) -> str:
        """As the sound system calls it."""
        return self._device.name

    @property
    def elsewhere(self) -> bool:
        """Whether it hears by another device than at first: the system's default has become another one."""
        return self._device.name != self._first

    @property
    def rate(self) -> int:
        """Hz."""
        return self._device.rate

    @property
    def channels(self) -> int:
        """How many are heard."""
        return self._device.channels

    @property
    def offers(self) -> int:
        """How many the device has."""
        return self._device.offers

    @property
    def dead(self) -> bool:
        """Whether the sound system itself says that the stream has ended."""
        stream = self._stream
        return stream is None or not stream.active

    @property
    def hangs(self) -> bool:
        """Whether a call into the sound system is long overdue."""
        late = self._worker is not None and self._worker.running and self._worker.age > LET_GO
        return late or any(attempt.running for attempt in self._hanging)

    def hanging(self) -> bool:
        """As `hangs`, for one that asks later."""
        return self.hangs

    def take(self, timeout: float) -> Block | None:
        """The next block, or None if none came in `timeout` seconds."""
        try:
            raw = self._queue.get(timeout=timeout)
        except Empty:
            return None
        if raw.stream < self._heard:  # a last word of a stream that was given up
            return None
        self.flags += raw.flagged
        lost = self._lost_before(raw)
        start = self._end + lost
        self._end = start + len(raw.samples)
        return Block(raw.samples, start, lost, raw.at)

    def reopen(self) -> bool:
        """Give up the stream and open a new one, in the background; `take` goes on with it.

        Returns at once; False if the try before has not come to an end (the sound system hangs).
        """
        self._hanging = [attempt for attempt in self._hanging if attempt.running]
        if self._closed or len(self._hanging) >= HANGING:
            return False
        if self._worker is not None and self._worker.running:
            self.trouble = "the sound system does not answer: it hangs"
            return False
        self._worker = Attempt(self._replace)
        return True

    def close(self) -> bool:
        """Stop listening; False if the sound system hangs: then only the end of the process ends it."""
        self._closed = True
        if self._worker is not None and self._worker.running:
            return False
        return self._let_go()

    def _lost_before(self, raw: _Raw) -> int:
        if raw.stream == self._heard:
            return raw.dropped + self._pace.delivered(raw.dropped + len(raw.samples), raw.at)
        first = self._heard == 0
        self._heard = raw.stream
        self._pace.reset()
        self._pace.delivered(len(raw.samples), raw.at)
        if first:
            self._origin = raw.at - len(raw.samples) / self.rate
            return 0
        return max(0, round((raw.at - self._origin) * self.rate) - len(raw.samples) - self._end)

    def _replace(self) -> None:
        self._let_go()
        if self.elsewhere:
            self._system.refresh(self._wanted, self._first)
        try:
            stream = self._found_and_opened()
        except CannotHear as error:
            self.trouble = str(error)
            if not self._system.refresh(self._wanted, None):
                return
            stream = self._found_and_opened()
        if self._closed:
            stream.abandon()
            return
        self._stream, self.trouble = stream, None

    def _found_and_opened(self) -> Stream:
        self._device = self._same(self._system.find(self._wanted))
        return self._opened()

    def _same(self, found: Device) -> Device:
        """The device as found now, but at the rate and with the channels that the loop was made for."""
        return Device(found.index, found.name, self.rate, self.channels, found.offers)

    def _opened(self) -> Stream:
        self._number += 1
        return self._system.open(self._device, self._receiver(self._number))

    def _let_go(self) -> bool:
        stream, self._stream = self._stream, None
        if stream is None:
            return True
        attempt = Attempt(stream.abandon)
        try:
            attempt.result(LET_GO)
        except CannotHear:
            self._hanging.append(attempt)
            return False
        return True

    def _receiver(self, number: int) -> Receive:
        """The callback of one stream: copies, counts and leaves."""

        def receive(samples: Samples, flagged: bool) -> None:
            raw = _Raw(number, samples.copy(), self._clock(), self._dropped, flagged)
            try:
                self._queue.put_nowait(raw)
            except Full:
                self._dropped += len(samples)
            else:
                self._dropped = 0

        return receive
