"""A recording that enters by the microphone's door: the same `take`, as fast as it is asked, or in real time."""

import time
from collections.abc import Callable

from beepwatch.sources.block import Block, Samples
from beepwatch.sources.clock import ticking
from beepwatch.sources.recording import BLOCK, Recording

REAL_TIME_BLOCK = 0.1
"""s a block in real time, as a microphone gives them."""


class Replay:
    """Hands out a recording's blocks; `ended` once all are out.

    real_time: each block only when a microphone would have had it, with its time of arrival; else at once, without.
    """

    live = False
    dead = False
    hangs = elsewhere = False
    trouble: str | None = None

    def __init__(
        self,
        recording: Recording,
        real_time: bool = False,
        clock: Callable[[], float] = ticking,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._recording = recording
        self.real_time = real_time
        self._clock = clock
        self._sleep = sleep
        self.observe: Callable[[Samples], None] = lambda samples: None
        """Is given the samples of each block that is handed out."""
        self.name = str(recording.path)
        self.rate = recording.rate
        self.channels = recording.channels
        self.length = (recording.frames or 0) / recording.rate
        """s; 0 where the file does not tell."""
        self._blocks = recording.blocks(round(REAL_TIME_BLOCK * recording.rate) if real_time else BLOCK)
        self._next = next(self._blocks, None)
        self._began: float | None = None

    @property
    def ended(self) -> bool:
        """Whether every block was handed out."""
        return self._next is None

    @property
    def warning(self) -> str | None:
        """What is wrong with the file, as far as it was read."""
        return self._recording.warning

    def take(self, timeout: float) -> Block | None:
        """The next block; in real time None if it is not due within `timeout` seconds."""
        block = self._next
        if block is None:
            return None
        if self.real_time:
            if not self._due(block, timeout):
                return None
            block = Block(block.samples, block.start, arrived=self._clock())
        self.observe(block.samples)
        self._next = next(self._blocks, None)
        return block

    def reopen(self) -> bool:
        """A file needs no reviving."""
        return False

    def close(self) -> bool:
        """Let go of the file."""
        self._recording.close()
        return True

    def _due(self, block: Block, timeout: float) -> bool:
        if self._began is None:
            self._began = self._clock()
        wait = self._began + block.end / self.rate - self._clock()
        if wait > 0:
            self._sleep(min(wait, timeout))
        return wait <= timeout
