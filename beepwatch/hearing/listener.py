"""Hearing as a whole: samples in; beeps, tones under way, hums and the noise out.

Pure: it owns no clock and does no input or output. All decisions fall at whole frames and refer to nothing later, so
any split of the samples into pushes gives the same events, and each says at which sample it could be known.
"""

from dataclasses import replace

import numpy as np

from beepwatch.events import Heard, Noise

from .background import Background
from .floor import BLOCK, FIRST
from .following import Following
from .known import Known
from .ours import Ours
from .spectrum import HOP, RATE, Floats, frame_end
from .stream import Stream
from .telling import Telling


class Hearing:
    """The listening state of one stream of samples at RATE Hz."""

    def __init__(
        self,
        channels: int = 1,
        tone: float | None = None,
        bandwidth: float = RATE / 2,
        asked: tuple[float, ...] = (13.0, 23.0),
        length: float | None = None,
        *,
        ours: Ours | None = None,
    ) -> None:
        """Listen to `channels` channels.

        tone: Hz, the device's tone where it is known (to 3 %). bandwidth: Hz up to which the sound holds anything (half
        the rate of its source, at most 8000). asked: seconds at which a tone still under way is reported.
        length: s of the device's breath-long beep, where it was taught with the tone. ours: when our own sound is in
        the room; it may be told so between two pushes.
        """
        self.channels = channels
        self._ours = Ours() if ours is None else ours
        self._made = (bandwidth, asked)
        self._known = None if tone is None else Known(tone, length)
        self._stream = Stream(channels)
        self._background = Background(channels, self._stream)
        self._restart(self._stream)

    def _restart(self, stream: Stream) -> None:
        """Begin counting frames anew, after a gap or at the start."""
        self._stream, self._frame = stream, 0
        self._background.restart(stream)
        self._following = Following(stream, self._background, *self._made)
        self._following.know(self._known)
        self._telling = Telling(stream, self._background, self._following, self._ours)

    def know(self, tone: float | None, length: float | None = None) -> None:
        """From the next frame on listen for this beep; what is under way goes on."""
        self._known = None if tone is None else Known(tone, length)
        self._following.know(self._known)

    @property
    def position(self) -> int:
        """Samples of stream time so far, lost ones included."""
        return self._stream.origin + self._stream.audio.end

    def push(self, samples: Floats) -> list[Heard]:
        """Hear float32 samples of shape (channels, n), full scale +-1, all finite; return what became known."""
        events: list[Heard] = []
        begin = 0
        while begin < samples.shape[1]:
            border = frame_end(self._frame - self._frame % BLOCK + BLOCK - 1)
            stop = begin + max(border - self._stream.audio.end, HOP)
            self._stream.audio.push(samples[:, begin:stop])
            events += self._work()
            begin = stop
        return events

    def skip(self, count: int) -> list[Heard]:
        """Pass over `count` lost samples: what sounded before them is ended, and frames begin anew."""
        events = self.flush()
        self._stream.origin += count
        return events

    def flush(self) -> list[Heard]:
        """End everything that still sounds; hearing may go on afterwards as after a gap."""
        stream = self._stream
        end = stream.audio.end
        if end == 0:
            return []
        fill = 3 * HOP - (end % HOP)
        stream.audio.push(np.zeros((self.channels, max(fill, (FIRST * HOP + HOP) - end)), np.float32))
        events = self._work()
        self._following.end(self._frame)
        events += self._telling.settle(self._frame, final=True)
        events = [_not_after(event, stream.seconds_at(end)) for event in events]
        self._restart(Stream(self.channels, stream.origin + end))
        return events

    def _work(self) -> list[Heard]:
        events: list[Heard] = []
        while True:
            ready = (self._stream.audio.end - (HOP * 2)) // HOP + 1 - self._frame
            if ready < self._background.first:
                return events
            events += self._hear(min(ready, BLOCK - self._frame % BLOCK))

    def _hear(self, count: int) -> list[Heard]:
        """Take in the next `count` frames, all of one block."""
        first, stop = self._frame, self._frame + count
        ratio = self._background.normalise(first, count)
        self._frame = stop
        self._following.hear(ratio, first, stop)
        events = self._telling.settle(stop)
        if stop % BLOCK == 0:
            events.append(self._background.learn(stop, self._following.tracks))
        return events


def _not_after(event: Heard, end: float) -> Heard:
    """The event, known no later than the end of the sound."""
    if isinstance(event, Noise):
        return replace(event, at=min(event.at, end))
    return replace(event, known=min(event.known, end))
