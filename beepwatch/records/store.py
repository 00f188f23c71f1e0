"""Writing the history: each call is one transaction that is on the disk when the call returns.

How `watch` goes on when a write fails is told in `journal`: there every call returns, and what could not be
written waits in memory and is tried again.
"""

import tempfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from platformdirs import user_data_path

from beepwatch.errors import RecordsError
from beepwatch.events import Alarm, Beep
from beepwatch.records import sole
from beepwatch.records.family import FamilyWriter
from beepwatch.records.night import NightWriter
from beepwatch.records.rows import SNAPSHOT, Change, Kind, NoteKind, number, one_of, plain, snapshot, stored, text
from beepwatch.records.writer import WAIT, pair

__all__ = ["WAIT", "Store", "data_folder", "default_folder"]


def data_folder(chosen: Path | None = None) -> Path:
    """The folder of the history: `chosen` or the platform's own, made if need be, and proved to be writable.

    Raises RecordsError with one line that says why not.
    """
    folder = default_folder() if chosen is None else chosen
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        reason = error.strerror or error
        raise RecordsError(
            f"cannot write in the data folder {folder} ({reason}): choose another with --data DIR"
        ) from error
    return folder


def default_folder() -> Path:
    """Where the platform keeps a program's data for this user; nothing is made."""
    return user_data_path("beepwatch", appauthor=False)


class Store(NightWriter, FamilyWriter):
    """The writer of one history file, for one thread. Every method raises RecordsError if it could not write.

    Times are aware datetimes in the household's own zone; a time without a zone raises ValueError. Listening spans and
    alarms are here; `NightWriter` has what else a night brings, `FamilyWriter` what people enter.
    """

    _sole: BinaryIO | None = None

    def close(self) -> None:
        """Let go of the file. Open spans stay open: end them first."""
        super().close()
        if self._sole is not None:
            self._sole.close()
            self._sole = None

    def begin_listening(self, source: str, kind: Kind, began: datetime) -> int:
        """Open a listening span; return its id. source: the microphone's name or the recording's path.

        A span that a crash left open needs no care: it ends at its last extension and has no end of its own. Only one
        process at a time may listen for a household (see `sole`); recordings and other writers are not kept out.
        """
        if kind == "household" and self._sole is None:
            self._sole = sole.take(self.path.parent)
        with self.together():
            self._seal_old_spans()
            span = self._add("span", {"kind": one_of(kind, Kind), "source": plain(source), **pair("began", began)})
            self._connection.execute("INSERT INTO heartbeat VALUES (?, ?, ?, 0)", (span, *stored(began)))
        return span

    def extend_listening(
        self, span: int, until: datetime, lost_seconds: float = 0.0, beeps: Sequence[Beep] = ()
    ) -> None:
        """Say that the room was heard until `until`: for each few seconds, never while nothing is heard.

        lost_seconds: all that was lost so far in this span in pieces too short to be gaps (a total, so that
        saying it twice is harmless). beeps: those that ended since the last call, kept as evidence.
        """
        with self.together():
            self._beat(span, until, number(lost_seconds))
            self.add_beeps(span, beeps)

    def add_beeps(self, span: int, beeps: Sequence[Beep]) -> None:
        """Keep beeps as evidence without saying how far the span reaches."""
        with self.together():
            for beep in beeps:
                held = ("onset", "duration", "frequency", "level", "snr")
                self._add("beep", {"span": span, **{name: number(getattr(beep, name)) for name in held}})

    def gap(self, span: int, began: datetime, ended: datetime, reason: str) -> None:
        """Say that nothing was heard from `began` to `ended`; before the span is extended past it."""
        self._add("gap", {"span": span, **pair("began", began), **pair("ended", ended), "reason": plain(reason)})

    def end_listening(self, span: int, ended: datetime) -> None:
        """Close a span that a person ended (or whose recording is over); saying it again does no harm."""
        with self.together():
            known = self._connection.execute("SELECT 1 FROM span_end WHERE span = ?", (span,)).fetchone()
            self._beat(span, ended, None)
            if known is None:
                self._add("span_end", {"span": span, **pair("ended", ended)})
                self._seal(span)

    def raise_alarm(self, span: int, alarm: Alarm, began: datetime, raised: datetime, drill: bool = False) -> int:
        """Write a new alarm; return its id. began: onset of its first beep; raised: when it was told.

        drill: it is a rehearsal's, and marked so wherever it is shown.
        """
        with self.together():
            written = self._add(
                "alarm",
                {"span": span, "number": int(alarm.number), **pair("began", began), "drill": 1 if drill else None},
            )
            self._state(written, "raised", raised, alarm)
        return written

    def change_alarm(self, alarm_id: int, alarm: Alarm, at: datetime, kind: Change = "changed") -> None:
        """Write an alarm as it stands: new beeps or better figures ("changed"), a new name ("renamed")."""
        self._state(alarm_id, one_of(kind, Change), at, alarm)

    def end_alarm(self, alarm_id: int, alarm: Alarm, ended: datetime) -> None:
        """Write that an alarm is over; ended: the end of its last beep."""
        self._state(alarm_id, "ended", ended, alarm)

    def note(
        self,
        alarm_id: int,
        kind: NoteKind,
        at: datetime,
        after: float | None = None,
        *,
        who: str | None = None,
        way: str | None = None,
    ) -> None:
        """Write that somebody was woken, that somebody answered, or that the beeping stopped.

        after: seconds since the alarm was raised by a clock that is never set; None takes the wall clock's.
        who: the person, as far as known; way: by what ("key", "page", "bedside", "hub", ...).
        """
        self._add(
            "state",
            {
                "alarm": alarm_id, "kind": one_of(kind, NoteKind), **pair("at", at), "after": number(after),
                "who": text(who), "way": text(way),
            },
        )  # fmt: skip

    def _state(self, alarm_id: int, kind: str, at: datetime, alarm: Alarm) -> None:
        held = dict(zip(SNAPSHOT.split(", "), snapshot(alarm), strict=True))
        self._add("state", {"alarm": alarm_id, "kind": kind, **pair("at", at), **held})

    def _beat(self, span: int, until: datetime, lost: float | None) -> None:
        done = self._connection.execute(
            "UPDATE heartbeat SET until = ?, until_offset = ?, lost = coalesce(?, lost) WHERE span = ?",
            (*stored(until), lost, span),
        )
        if done.rowcount != 1:
            raise RecordsError(f"there is no listening span {span} to extend")

    def _seal_old_spans(self) -> None:
        """What the spans that a crash left open came to."""
        for (span,) in self._connection.execute(
            "SELECT id FROM span WHERE NOT EXISTS (SELECT 1 FROM reach WHERE reach.span = span.id)"
        ).fetchall():
            self._seal(span)

    def _seal(self, span: int) -> None:
        """Write down how far a span came, and the margins of its last minutes."""
        until, offset, lost = self._connection.execute(
            "SELECT until, until_offset, lost FROM heartbeat WHERE span = ?", (span,)
        ).fetchone()
        self._add("reach", {"span": span, "until": until, "until_offset": offset, "lost": lost})
        self._fold_margins(span)
