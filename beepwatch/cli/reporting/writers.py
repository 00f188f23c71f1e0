"""The shape that the three writers share, and the two for programs: JSON Lines and TSV."""

from dataclasses import dataclass
from typing import Protocol, TextIO

import msgspec

from beepwatch.cli.reporting.order import Known
from beepwatch.cli.reporting.records import record, time
from beepwatch.events import Beep, SteadyTone


@dataclass(frozen=True, slots=True)
class Heard:
    """One file is done: how many seconds it holds, and how many of them were gaps that nobody could hear."""

    seconds: float
    gaps: float = 0.0


class Writer(Protocol):
    """Takes one file after the other and writes to the stream it was made with."""

    def begin(self, file: str) -> None:
        """A file was opened; what follows is from it."""

    def tell(self, known: Known) -> None:
        """Something in it became known, in order."""

    def end(self, heard: Heard) -> None:
        """The file is done."""

    def close(self) -> None:
        """All files are done."""


class Several:
    """Hands everything on to each of several writers, in their order."""

    def __init__(self, *writers: Writer) -> None:
        self._writers = writers

    def begin(self, file: str) -> None:
        """A file was opened."""
        for writer in self._writers:
            writer.begin(file)

    def tell(self, known: Known) -> None:
        """Something became known."""
        for writer in self._writers:
            writer.tell(known)

    def end(self, heard: Heard) -> None:
        """The file is done."""
        for writer in self._writers:
            writer.end(heard)

    def close(self) -> None:
        """All files are done."""
        for writer in self._writers:
            writer.close()


class JsonLines:
    """One JSON object a line (the contract is in `records`)."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._file = ""

    def begin(self, file: str) -> None:
        """Name the file in what follows."""
        self._file = readable(file)

    def tell(self, known: Known) -> None:
        """Write one line."""
        self._out.write(msgspec.json.encode(record(self._file, known)).decode() + "\n")

    def end(self, heard: Heard) -> None:
        """Let a reader at the other end of a pipe have this file's lines."""
        self._out.flush()

    def close(self) -> None:
        """Nothing more to write."""


class Tsv:
    """Tab-separated rows under one header: onset, offset, event_label, filename.

    Toolkits of event detection read columns by these names (sed_eval and dcase_util do for `.tsv`). A row a
    beep, labelled `beep`, and a row an alarm, labelled with its pattern; where an alarm still went on at the
    end of the file its offset is the end of its last beep. Steady tones are no events.
    """

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._file = ""
        out.write("onset\toffset\tevent_label\tfilename\n")

    def begin(self, file: str) -> None:
        """Name the file in what follows; a tab or line end in its name is written as a space."""
        self._file = " ".join(readable(file).splitlines()).replace("\t", " ")

    def tell(self, known: Known) -> None:
        """Write one row."""
        match known:
            case Beep():
                self._row(known.onset, known.end, "beep")
            case SteadyTone():
                return
            case _:
                self._row(known.onset, known.last if known.ended is None else known.ended, known.pattern)

    def _row(self, onset: float, offset: float, label: str) -> None:
        self._out.write(f"{time(onset):.3f}\t{time(offset):.3f}\t{label}\t{self._file}\n")

    def end(self, heard: Heard) -> None:
        """Let a reader at the other end of a pipe have this file's rows."""
        self._out.flush()

    def close(self) -> None:
        """Nothing more to write."""


def readable(file: str) -> str:
    """A file's name as text that every reader takes: bytes that are no UTF-8 become `?`."""
    return file.encode("utf-8", "replace").decode("utf-8")
