"""What `watch` prints: plain lines, and a clear block for each alarm. A screen that fails ends nothing."""

import logging
from collections.abc import Callable
from typing import TextIO

from beepwatch.events import Beep, Noise
from beepwatch.waking.messages import RIGHT_TO_LEFT

WIDTH = 78
"""Columns: a terminal has 80 at least."""
LOG = logging.getLogger("beepwatch")


class Console:
    """Lines for a person, each with its time; all of them go to the log too.

    out: where to print; None where there is no such place. `broken`: why printing failed, as when the terminal
    has gone; listening goes on without it.
    """

    def __init__(self, out: TextIO | None) -> None:
        self._out = out
        self.broken: str | None = None
        self.paused: str | None = None
        """Until when it does not listen, as a person reads it; None: it does."""

    def plain(self, text: str) -> None:
        """Print lines as they are."""
        self._guarded(lambda: self._write(text))

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
        self._guarded(lambda: self._write_block(text, bell))

    def big(self, *lines: str) -> None:
        """A few words in letters of five rows, where they fit."""
        self.block("\n\n".join(large(line) for line in lines))

    def pause(self, until: str | None) -> None:
        """It does not listen until then, as a person reads it; None: it does."""
        self.paused = until

    # What only a live line shows: see `live.LiveConsole`.

    def sound(self, level: float) -> None:
        """The room's newest level, dBFS."""

    def beep(self, at: str, beep: Beep) -> None:
        """A beep was heard; at: when, as a person reads it."""

    def expect(self, beep: tuple[float, float] | None) -> None:
        """From now on the margin is of this beep, (tone in Hz, level in dBFS); None: of none that is known here."""

    def noise(self, noise: Noise) -> None:
        """How loud the room is."""

    def refresh(self, now: float, hearing: bool) -> None:
        """Time went by. now: a clock reading, s; hearing: False while nothing is heard."""

    def close(self) -> None:
        """No live line any more; lines can still be said."""

    def _write(self, text: str) -> None:
        print(text, file=self._out, flush=True)

    def _write_block(self, text: str, bell: bool) -> None:
        frame = "=" * WIDTH
        lines = "\n".join(line.rjust(WIDTH) if right_to_left(line) else f"  {line}" for line in text.splitlines())
        self._write(f"\n{frame}\n{lines}\n{frame}\n" + ("\a" if bell else ""))

    def _guarded(self, write: Callable[[], None]) -> None:
        """Print; a fault is kept in the log, once."""
        if self._out is None:
            return
        try:
            write()
        except (OSError, ValueError) as error:  # ValueError: the stream was closed
            if self.broken is None:
                self.broken = str(error)
                LOG.warning("cannot print any more: %s", error)


def right_to_left(text: str) -> bool:
    """Whether it is told to run from right to left, so that it belongs to the right edge."""
    return text.startswith(RIGHT_TO_LEFT)


def large(text: str) -> str:
    """A line in letters of five rows; as it is where a letter is not ASCII or the row would be too wide."""
    import pyfiglet  # noqa: PLC0415 - only in a pause

    if not text.isascii():
        return text
    drawn = str(pyfiglet.figlet_format(text, font="small", width=1000)).rstrip()
    rows = [row.rstrip() for row in drawn.splitlines() if row.strip()]
    return "\n".join(rows) if max(map(len, rows), default=0) <= WIDTH - 6 else text


def length(seconds: float) -> str:
    """A length of time in words: "45 s", "12 min", "7 h 05 min"."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def beeps(count: int) -> str:
    """A number of beeps in words."""
    return "1 beep" if count == 1 else f"{count} beeps"


def said_beep(beep: Beep) -> str:
    """A beep in few words."""
    return f"{beep.frequency:.0f} Hz, {beep.duration:.1f} s"
