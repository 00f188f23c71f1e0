"""How `watch` keeps its history while the disk is full, locked, damaged or away.

Each call writes at once if it can. If it cannot, the entry waits in memory, `fault` says why in one line, and
all that waits is written in one transaction as soon as writing works again. What replaces itself (how far a
span reaches, how an alarm stands) waits once, so that a full disk all night costs little memory.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from beepwatch.events import Alarm, Beep, Priority
from beepwatch.records.entries import (
    About,
    Attempt,
    CareEvent,
    CareKind,
    Clip,
    Finding,
    PauseEnd,
    Purpose,
    TechnicalKind,
)
from beepwatch.records.rows import Change, Kind, NoteKind, one_of, stored
from beepwatch.records.waiting import LIMIT, RETRY, Waiting

__all__ = ["LIMIT", "RETRY", "Journal"]


class Journal(Waiting):
    """A `Store` whose calls, once listening has begun, neither fail nor wait long. For one thread.

    Ids of alarms, technical alarms, pauses, care and clips are the journal's own: each has one before it is written
    (`row` tells the file's; `adopt` takes up one of an earlier run). A time without a zone or an unknown kind raises
    ValueError at once, as in `Store`.
    """

    def begin_listening(self, source: str, kind: Kind, began: datetime) -> int:
        """As `Store.begin_listening`; raises RecordsError: at the start a person is there to read it."""
        return self._store.begin_listening(source, kind, began)

    def extend_listening(
        self, span: int, until: datetime, lost_seconds: float = 0.0, beeps: Sequence[Beep] = ()
    ) -> None:
        """As `Store.extend_listening`."""
        stored(until)
        if kept := tuple(beeps):
            self._put(lambda store: store.add_beeps(span, kept), evidence=True)
        self._put(lambda store: store.extend_listening(span, until, lost_seconds), ("extended", span))

    def gap(self, span: int, began: datetime, ended: datetime, reason: str) -> None:
        """As `Store.gap`."""
        stored(began), stored(ended)
        self._put(lambda store: store.gap(span, began, ended, reason))

    def end_listening(self, span: int, ended: datetime) -> None:
        """As `Store.end_listening`."""
        stored(ended)
        self._put(lambda store: store.end_listening(span, ended))

    def margin(self, span: int, at: datetime, margin: float | None) -> None:
        """As `Store.margin`."""
        stored(at)
        self._put(lambda store: store.margin(span, at, margin), evidence=True)

    def in_force(self, span: int | None, at: datetime, settings: str) -> None:
        """As `Store.in_force`."""
        stored(at)
        self._put(lambda store: store.in_force(span, at, settings))

    # ---------------------------------------------------------------- alarms

    def raise_alarm(self, span: int, alarm: Alarm, began: datetime, raised: datetime, drill: bool = False) -> int:
        """As `Store.raise_alarm`, but the id returned is the journal's own."""
        stored(began), stored(raised)
        return self._new("alarm", lambda store: store.raise_alarm(span, alarm, began, raised, drill))

    def change_alarm(self, alarm_id: int, alarm: Alarm, at: datetime, kind: Change = "changed") -> None:
        """As `Store.change_alarm`."""
        stored(at), one_of(kind, Change)
        mark = ("changed", alarm_id) if kind == "changed" else None
        self._about("alarm", alarm_id, lambda store, row: store.change_alarm(row, alarm, at, kind), mark)

    def end_alarm(self, alarm_id: int, alarm: Alarm, ended: datetime) -> None:
        """As `Store.end_alarm`."""
        stored(ended)
        self._about("alarm", alarm_id, lambda store, row: store.end_alarm(row, alarm, ended))

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
        """As `Store.note`."""
        stored(at), one_of(kind, NoteKind)
        self._about("alarm", alarm_id, lambda store, row: store.note(row, kind, at, after, who=who, way=way))

    def tried(self, about: About, about_id: int, at: datetime, attempt: Attempt) -> None:
        """As `Store.tried`."""
        stored(at), one_of(about, About)
        self._about(about, about_id, lambda store, row: store.tried(about, row, at, attempt))

    def found(self, alarm_id: int, what: Finding, at: datetime, who: str | None = None) -> None:
        """As `Store.found`."""
        stored(at), one_of(what, Finding)
        self._about("alarm", alarm_id, lambda store, row: store.found(row, what, at, who))

    def write_note(self, about: About, about_id: int, at: datetime, note: str, who: str | None = None) -> None:
        """As `Store.write_note`."""
        stored(at), one_of(about, About)
        self._about(about, about_id, lambda store, row: store.write_note(about, row, at, note, who))

    def clip(self, alarm_id: int, clip: Clip) -> None:
        """As `Store.clip`."""
        stored(clip.began)
        self._about("alarm", alarm_id, lambda store, row: store.clip(row, clip))

    def clip_deleted(self, clip_row: int, at: datetime, why: str) -> None:
        """As `Store.clip_deleted`; the clip's id is the file's."""
        stored(at)
        self._put(lambda store: store.clip_deleted(clip_row, at, why))

    # ---------------------------------------------------------------- technical alarms, pauses, care

    def raise_technical(
        self, span: int | None, cause: str, priority: Priority, *, began: datetime, raised: datetime, why: str = ""
    ) -> int:
        """As `Store.raise_technical`, but the id returned is the journal's own."""
        stored(began), stored(raised), one_of(priority, Priority)
        return self._new(
            "technical",
            lambda store: store.raise_technical(span, cause, priority, began=began, raised=raised, why=why),
        )

    def note_technical(
        self,
        technical_id: int,
        kind: TechnicalKind,
        at: datetime,
        after: float | None = None,
        *,
        who: str | None = None,
        way: str | None = None,
        detail: str | None = None,
    ) -> None:
        """As `Store.note_technical`."""
        stored(at), one_of(kind, TechnicalKind)
        self._about(
            "technical",
            technical_id,
            lambda store, row: store.note_technical(row, kind, at, after, who=who, way=way, detail=detail),
        )

    def pause(
        self, span: int | None, purpose: Purpose, began: datetime, planned: datetime, who: str | None = None
    ) -> int:
        """As `Store.pause`, but the id returned is the journal's own."""
        stored(began), stored(planned), one_of(purpose, Purpose)
        return self._new("pause", lambda store: store.pause(span, purpose, began, planned, who))

    def end_pause(self, pause_id: int, ended: datetime, how: PauseEnd = "due") -> None:
        """As `Store.end_pause`."""
        stored(ended), one_of(how, PauseEnd)
        self._about("pause", pause_id, lambda store, row: store.end_pause(row, ended, how))

    def care(self, event: CareEvent) -> int:
        """As `Store.care`, but the id returned, and the alarm that it names, are the journal's own."""
        stored(event.at), one_of(event.kind, CareKind)
        return self._new("care", lambda store: store.care(self._of_the_file(event)))

    def _of_the_file(self, event: CareEvent) -> CareEvent:
        alarm = None if event.alarm is None else self.row("alarm", event.alarm)
        return replace(event, alarm=alarm)
