"""One piece of sound on its way from a source to the recogniser."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Samples: TypeAlias = npt.NDArray[np.float32]
"""float32, shape (n, channels), full scale +-1."""


@dataclass(frozen=True, slots=True)
class Block:
    """Samples that follow each other without a hole, and what was lost just before them."""

    samples: Samples
    """Shape (n, channels), n >= 0, at the source's own rate."""
    start: int
    """Place of the first sample in the stream, counted from 0; lost samples count too."""
    lost: int = 0
    """Samples lost between the block before and this one: a gap, which zeros would hide."""
    arrived: float | None = None
    """Monotonic time, s, at which a live source handed the block over; None for a recording."""

    @property
    def end(self) -> int:
        """Place in the stream just after the last sample."""
        return self.start + len(self.samples)
