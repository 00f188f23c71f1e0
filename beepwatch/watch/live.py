"""The console of a terminal: one calm live line below what was said, and a framed block in alarm."""

import math
import os
import select
import sys
from collections import deque
from typing import TYPE_CHECKING, TextIO

from beepwatch.bedroom.picture import pens, trace
from beepwatch.events import Beep, Noise
from beepwatch.hearing.margin import margin_db
from beepwatch.watch.console import WIDTH, Console, right_to_left, said_beep

if TYPE_CHECKING:
    from rich.text import Text

EACH = 0.5
"""s between two drawings of the line: calm (judgement)."""
TRACE = 24
"""Levels in the trace: 12 s."""
LEVELS = (-90.0, -20.0)
"""dBFS at the bottom and the top of the trace: a quiet room reads -80 to -60, an alarm -50 to -20 (judgement)."""
WAIT = 0.5
"""s to wait for a terminal that a person has stopped (Ctrl-S): then it is left out, for the listening goes first."""


def drawable(out: TextIO | None) -> bool:
    """Whether a line can be drawn over there: a terminal that is not a dumb one."""
    if out is None or not out.isatty():
        return False
    return sys.platform == "win32" or os.environ.get("TERM", "dumb") not in ("dumb", "unknown")


class LiveConsole(Console):
    """As `Console`, in a terminal. Colours follow NO_COLOR, characters what the terminal can show."""

    def __init__(self, out: TextIO, expected: tuple[float, float] | None = None) -> None:
        """Nothing is drawn yet. expected: as `expect`."""
        super().__init__(out)
        from rich.console import Console as Rich  # noqa: PLC0415 - only in a terminal
        from rich.live import Live  # noqa: PLC0415

        self._rich = Rich(file=out, highlight=False, markup=False, emoji=False, soft_wrap=False)
        self._pen = pens(out.encoding)
        self._expected = expected
        self._levels: deque[float] = deque([-math.inf] * TRACE, maxlen=TRACE)
        self._loudest = -math.inf
        self._beep = ""
        self._margin = ""
        self._next = 0.0
        self._live: Live | None = Live(
            console=self._rich, auto_refresh=False, transient=True, redirect_stdout=False, redirect_stderr=False
        )
        self._begun = False

    def expect(self, beep: tuple[float, float] | None) -> None:
        """See `Console`."""
        self._expected = beep
        if beep is None:
            self._margin = ""

    def sound(self, level: float) -> None:
        """See `Console`."""
        self._loudest = max(self._loudest, level)

    def beep(self, at: str, beep: Beep) -> None:
        """See `Console`."""
        self._beep = f"last beep {at}, {said_beep(beep)}"

    def noise(self, noise: Noise) -> None:
        """See `Console`."""
        if self._expected is not None:
            tone, level = self._expected
            self._margin = f"margin {margin_db(level, noise.near(tone)):.0f} dB"

    def refresh(self, now: float, hearing: bool) -> None:
        """See `Console`."""
        if now < self._next:
            return
        self._next = now + EACH
        self._levels.append(self._loudest)
        self._loudest = -math.inf
        if self._live is not None and self._ready(0.0):
            self._guarded(lambda: self._draw(self.line(hearing)))

    def line(self, hearing: bool) -> "Text":
        """The line as it is now."""
        from rich.text import Text  # noqa: PLC0415

        if not hearing:
            return Text("I DO NOT HEAR THE ROOM", style="bold reverse", no_wrap=True, overflow="ellipsis")
        if self.paused is not None:
            text = f"NOT LISTENING until {self.paused}"
            return Text(text, style="bold reverse", no_wrap=True, overflow="ellipsis")
        newest = self._levels[-1]
        level = f"{newest:4.0f} dB" if math.isfinite(newest) else "  no sound"
        parts = [trace(self._levels, *LEVELS, self._pen) + level, self._beep or "no beep yet", self._margin]
        return Text("  ".join(part for part in parts if part), style="dim", no_wrap=True, overflow="ellipsis")

    def close(self) -> None:
        """See `Console`."""
        live, self._live = self._live, None
        if live is not None and self._begun:
            self._guarded(live.stop)

    def _draw(self, line: "Text") -> None:
        if self._live is None:
            return
        if not self._begun:
            self._begun = True
            self._live.start()
        self._live.update(line, refresh=True)

    def _write(self, text: str) -> None:
        from rich.text import Text  # noqa: PLC0415

        if self._ready(WAIT):
            for line in text.split("\n"):  # wrapped between words, but a link has to be copied whole
                self._rich.print(Text(line), soft_wrap="://" in line)

    def _write_block(self, text: str, bell: bool) -> None:
        from rich import box  # noqa: PLC0415
        from rich.panel import Panel  # noqa: PLC0415
        from rich.text import Text  # noqa: PLC0415

        if not self._ready(WAIT):
            return
        frame = box.HEAVY if self._pen[-1] == "█" else box.ASCII
        style = "bold white on red" if bell else "bold"
        width = min(WIDTH + 2, self._rich.width)
        told = Text(text, justify="right" if right_to_left(text) else "default")
        self._rich.print(Panel(told, box=frame, style=style, width=width, padding=(1, 2)))
        if bell:
            self._rich.bell()

    def _ready(self, seconds: float) -> bool:
        """Whether the terminal takes more now: a stopped one would stop the loop, and so the listening."""
        if sys.platform == "win32" or self._out is None:
            return True
        try:
            return bool(select.select([], [self._out], [], seconds)[1])
        except (OSError, ValueError):
            return True  # writing tells what is wrong with it
