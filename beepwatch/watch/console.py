"""What `watch` prints: plain lines, and a clear block for each alarm. A screen that fails ends nothing."""

import logging
from typing import TextIO

WIDTH = 78
LOG = logging.getLogger("beepwatch")


class Console:
    """Lines for a person, each with its time; all of them go to the log too.

    out: where to print; None where there is no such place. `broken`: why printing failed, as when the terminal
    has gone; listening goes on without it.
    """

    def __init__(self, out: TextIO | None) -> None:
        self._out = out
        self.broken: str | None = None

    def plain(self, text: str) -> None:
        """Print lines as they are."""
        if self._out is None:
            return
        try:
            print(text, file=self._out, flush=True)
        except (OSError, ValueError) as error:  # ValueError: the stream was closed
            if self.broken is None:
                self.broken = str(error)
                LOG.warning("cannot print any more: %s", error)

    def say(self, at: str, text: str) -> None:
        """One line with its time."""
        LOG.info("%s  %s", at, text)
        self.plain(f"{at}  {text}")

    def trouble(self, at: str, text: str) -> None:
        """One line about something that is wrong."""
        LOG.warning("%s  %s", at, text)
        self.plain(f"{at}  ! {text}")

    def block(self, text: str, bell: bool = False) -> None:
        """A block that cannot be overlooked."""
        frame = "=" * WIDTH
        lines = "\n".join(f"  {line}" for line in text.splitlines())
        self.plain(f"\n{frame}\n{lines}\n{frame}\n" + ("\a" if bell else ""))


def length(seconds: float) -> str:
    """A length of time in words: "45 s", "12 min", "7 h 05 min"."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def beeps(count: int) -> str:
    """A number of beeps in words."""
    return "1 beep" if count == 1 else f"{count} beeps"
