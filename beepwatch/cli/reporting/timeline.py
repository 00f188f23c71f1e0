"""A file's alarms and beeps as rows of characters, from its start to its end."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from beepwatch.cli.reporting.words import clock, named
from beepwatch.events import Alarm

WIDTH = 60
"""Characters a row; with its label it fits a terminal of 80."""
LABEL = 17
"""Characters of the label, `Battery critical` and a space."""


class Timeline:
    """Marks the seconds in which something beeped; one byte a second."""

    def __init__(self) -> None:
        self._marked = bytearray()

    def mark(self, onset: float, end: float) -> None:
        """Something beeped from `onset` to `end`, s."""
        first, last = max(int(onset), 0), max(int(end), 0)
        self._marked.extend(bytes(max(last + 1 - len(self._marked), 0)))
        self._marked[first : last + 1] = b"\1" * (last + 1 - first)

    def drawn(self, alarms: Iterable[Alarm], seconds: float) -> list[str]:
        """A row of times, a row for each pattern of alarm, a row of beeps; `#` where there is something."""
        end = clock(seconds)
        rows = [" " * (2 + LABEL) + "0:00" + end.rjust(WIDTH - 4)]
        by_pattern = sorted(alarms, key=lambda alarm: alarm.pattern)
        for pattern, same in groupby(by_pattern, key=lambda alarm: alarm.pattern):
            spans = [(alarm.onset, alarm.last if alarm.ended is None else alarm.ended) for alarm in same]
            rows.append(_row(named(pattern), spans, seconds))
        rows.append(_row("All beeps", self._spans(), seconds))
        return rows

    def _spans(self) -> list[tuple[float, float]]:
        """The marked seconds, joined where they follow each other."""
        spans = []
        at = 0
        for marked, run in groupby(self._marked):
            length = len(list(run))
            if marked:
                spans.append((float(at), at + length - 0.5))
            at += length
        return spans


def _row(label: str, spans: Sequence[tuple[float, float]], seconds: float) -> str:
    """One row: a label and `#` or `.` for each part of the file."""
    cells = ["."] * WIDTH
    scale = WIDTH / max(seconds, 1e-9)
    for onset, end in spans:
        first = min(max(int(onset * scale), 0), WIDTH - 1)
        last = min(max(int(end * scale), first), WIDTH - 1)
        cells[first : last + 1] = "#" * (last + 1 - first)
    return f"  {label[: LABEL - 1]:{LABEL}}{''.join(cells)}"
