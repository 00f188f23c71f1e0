"""`review --picture`: keeps, a raised alarm, what its picture shows, and has it drawn when the file is done.

Of the sound nothing is kept: the file is read again for the seconds of each picture. It is a writer like the
others and stands behind one of them.
"""

import tempfile
from collections import deque
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

from beepwatch.cli.reporting.order import Known
from beepwatch.cli.reporting.writers import Heard
from beepwatch.errors import InputError
from beepwatch.events import Alarm, Beep

AROUND = 8.0
"""s shown before the alarm and after it (judgement)."""
MOST = 120.0
"""s that one picture shows at most: beyond it single beeps can no longer be told apart (judgement)."""
BEFORE = 80.0
"""s of a long alarm shown before it was raised (judgement)."""
NEEDED = ("librosa", "matplotlib")


@dataclass(frozen=True, slots=True)
class Span:
    """The seconds of the stream that a picture shows."""

    begin: float
    end: float
    whole: bool
    """Whether all of the alarm is in it."""


def span(alarm: Alarm) -> Span:
    """The alarm with some seconds before and after; of a long one `MOST` seconds around its raise."""
    last = alarm.last if alarm.ended is None else alarm.ended
    begin, end = max(alarm.onset - AROUND, 0.0), max(last, alarm.raised) + AROUND
    if end - begin <= MOST:
        return Span(begin, end, whole=True)
    begin = max(begin, alarm.raised - BEFORE)
    return Span(begin, begin + MOST, whole=begin + MOST >= last)


@dataclass(slots=True)
class Page:
    """One picture to be drawn."""

    file: str
    alarm: Alarm
    span: Span
    target: Path
    beeps: list[Beep] = field(default_factory=list)
    """All that were heard in its span."""

    def take(self, beep: Beep) -> None:
        """Keep the beep if it shows."""
        if beep.onset < self.span.end and beep.end > self.span.begin:
            self.beeps.append(beep)


class Pictures:
    """Saves one PNG a raised alarm into a folder: `night-1-lead-disconnect.png`; one of that name is replaced.

    Raises InputError where the extra is missing, or where the folder cannot be made or written to.
    """

    def __init__(self, folder: Path) -> None:
        if not all(map(find_spec, NEEDED)):
            raise InputError("--picture needs librosa and matplotlib: in beepwatch's folder, pip install '.[pictures]'")
        self.folder = folder
        self.saved = 0
        _prepare(folder)
        self._stems: list[str] = []
        self.begin("")

    def begin(self, file: str) -> None:
        """Forget the file before."""
        self._file = file
        self._stems.append(Path(file).stem)
        self._recent: deque[Beep] = deque()
        self._pages: list[Page] = []

    def tell(self, known: Known) -> None:
        """Keep an alarm, and the beeps in sight of one; of the others the last two minutes."""
        match known:
            case Alarm():
                page = Page(self._file, known, span(known), self.folder / self._name(known))
                self._pages.append(page)
                for beep in self._recent:
                    page.take(beep)
            case Beep():
                self._keep(known)

    def _keep(self, beep: Beep) -> None:
        self._recent.append(beep)
        while self._recent[0].end < beep.known - MOST - AROUND:
            self._recent.popleft()
        for page in self._pages:
            page.take(beep)

    def _name(self, alarm: Alarm) -> str:
        """Stem, number and pattern; a second file of the same stem is told apart by a number of its own."""
        stem, same = self._stems[-1], self._stems.count(self._stems[-1])
        return f"{stem if same == 1 else f'{stem}~{same}'}-{alarm.number}-{alarm.pattern}.png"

    def end(self, heard: Heard) -> None:
        """Draw the file's pictures. Raises InputError where one cannot be saved."""
        if not self._pages:
            return
        from beepwatch.cli.reporting.drawing import draw  # noqa: PLC0415 - brings matplotlib and librosa in

        for page in self._pages:
            try:
                draw(page, heard.seconds)
            except OSError as error:
                raise InputError(f"{page.target}: cannot be written ({error.strerror}); name another folder") from error
            self.saved += 1

    def close(self) -> None:
        """Nothing more to draw."""


def _prepare(folder: Path) -> None:
    """Make the folder if needed and try to write to it; raises InputError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(f"--picture {folder}: cannot write there ({error.strerror}); name another folder") from error
