"""What has come of a stream so far, and the time that its numbers stand for."""

from .baseband import Audio
from .rows import Rows
from .spectrum import RATE, frame_end


class Stream:
    """The last sound and spectra; samples and frames count from the last (re)start, times from the first."""

    def __init__(self, channels: int, origin: int = 0) -> None:
        """Begin counting; origin: samples that came before."""
        self.audio = Audio(channels)
        self.rows = Rows(channels)
        self.origin = origin

    def seconds_at(self, sample: int) -> float:
        """Time of a sample."""
        return (self.origin + sample) / RATE

    def seconds(self, frame: int) -> float:
        """Time at which `frame` is complete."""
        return self.seconds_at(frame_end(frame))
