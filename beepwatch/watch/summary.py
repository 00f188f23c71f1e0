"""What one run came to."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Summary:
    """What one run came to."""

    seconds: float
    """Stream time heard, gaps and planned pauses taken off."""
    unheard: float
    """s in gaps and shorter losses."""
    paused: float
    """s of planned pauses: nobody was woken in them."""
    alarms: tuple[str, ...]
    """One line for each alarm: when it began, and what it was."""
    written: bool
    """Whether all of it is in the history."""
    clean: bool
    """False where the sound system hangs: the process must be ended without it."""
