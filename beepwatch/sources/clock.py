"""The clock that live sources and the loop measure with."""

import sys
import time


def ticking() -> float:
    """Seconds of a clock that is never set and, on Linux, also runs while the computer sleeps.

    So a night in which the lid was closed shows as sound that never came, and not as a short night.
    """
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()
