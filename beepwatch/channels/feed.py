"""One output stream, open or about to be: the callback's side of it, and what the speaker's thread sees."""

import time
from threading import Lock

from beepwatch.channels.output import OutputStream, OutputSystem
from beepwatch.channels.rounds import Round, Track, render, track_of
from beepwatch.channels.tone import Samples
from beepwatch.channels.voice import Voice
from beepwatch.errors import CannotWake

STALL = 1.5
"""s without a call for samples after which a stream is given up (they come each 0.1 s at most)."""
REFRESH = 1.0
"""s between two looks for lines that were not spoken yet."""


class Feed:
    """A stream that plays a `Track`, or silence while it has none."""

    def __init__(self, system: OutputSystem, device: str | int | None):
        """Nothing is opened yet; `made_at`, `called_at` and `began_at` are monotonic s."""
        self._system = system
        self._device = device
        self._lock = Lock()
        self._given_up = False
        self._stream: OutputStream | None = None
        self._track: Track | None = None
        self.first: Playing | None = None
        """What was put before it was opened."""
        self.made_at = self._called_at = self._began_at = self._opened_at = time.monotonic()
        self.rate = 0

    def open(self, first: Round | None = None, voice: Voice | None = None) -> None:
        """Find the device and open a stream, unless given up meanwhile. Raises CannotWake; may hang.

        first: what is to sound with its first sample: put after opening, it would come behind a buffer of silence.
        """
        output = self._system.find(self._device)
        self.rate = output.rate
        if first is not None:
            self.first = Playing(self, first, voice)
        stream = self._system.open(output, self._fill)
        self._called_at = self._opened_at = time.monotonic()
        with self._lock:
            self._stream = stream
            late = self._given_up
        if late:
            stream.abandon()

    def put(self, track: Track) -> None:
        """Play this from now on."""
        self._track = track

    def give_up(self) -> None:
        """Be silent at once, and close the stream; one that is still opening closes itself. May hang."""
        self._track = None
        with self._lock:
            self._given_up = True
            stream, self._stream = self._stream, None
        if stream is not None:
            stream.abandon()

    def check(self) -> None:
        """Raise CannotWake where the stream no longer plays."""
        if self._stream is None or not self._stream.active:
            raise CannotWake("the speaker's stream ended: is the sound server running, the speaker plugged in?")
        if time.monotonic() - self._called_at > STALL:
            raise CannotWake("the speaker takes no sound: the sound system hangs or is suspended; restart it")

    @property
    def flows(self) -> bool:
        """Whether the sound system took more than what it asks for at the start, before anything sounds."""
        return self._called_at > self._opened_at

    @property
    def heard_at(self) -> float:
        """When the last track began to be heard, as far as the sound system knows (monotonic s)."""
        return self._began_at + (self._stream.latency if self._stream is not None else 0.0)

    def _fill(self, out: Samples) -> None:
        """The callback: copies and leaves."""
        track = self._track
        self._called_at = time.monotonic()
        if track is None:
            out.fill(0.0)
            return
        if not track.begun:
            self._began_at = self._called_at
        track.fill(out)


class Playing:
    """One round on one feed."""

    def __init__(self, feed: Feed, round_: Round, voice: Voice | None):
        """Begin to play it, with the lines that are spoken already."""
        self.round = round_
        self._feed = feed
        self._voice, self._rate = voice, feed.rate
        samples, self._whole = render(round_, voice, feed.rate)
        self._rendered = 0
        self._look_at = time.monotonic() + REFRESH
        self._told = False
        self._track = track_of(round_, samples, feed.rate)
        feed.put(self._track)

    def prepare(self) -> None:
        """Have the next turn ready, long before it begins, with all lines that are spoken by now."""
        now, turn = time.monotonic(), self._track.turn + 1
        if turn != self._rendered or (not self._whole and now >= self._look_at):
            self._rendered, self._look_at = turn, now + REFRESH
            self._track.samples, self._whole = render(self.round, self._voice, self._rate, turn)

    @property
    def over(self) -> bool:
        """Whether a round that is played once is through."""
        return self._track.over

    def newly_begun(self) -> bool:
        """True once: when the sound system takes samples, these the first."""
        first = self._track.begun and self._feed.flows and not self._told
        self._told = self._told or first
        return first
