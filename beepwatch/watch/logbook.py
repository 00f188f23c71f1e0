"""What the loop writes into the history, in the wall time of the stream."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Protocol

from beepwatch.care.rules import ONCE, changed_battery
from beepwatch.channels.way import Tried
from beepwatch.events import Alarm, AlarmEvent, Beep, Changed, Ended, Priority
from beepwatch.records.clipping import Expired, Saved
from beepwatch.records.entries import About, Attempt, CareEvent, Clip, Finding, PauseEnd, Purpose, TechnicalKind
from beepwatch.records.rows import Change, Kind, NoteKind
from beepwatch.waking.actions import Note
from beepwatch.waking.commands import Noted
from beepwatch.waking.entry import DRILLED
from beepwatch.waking.escalation import BATTERIES
from beepwatch.watch.timeline import Clock, Timeline

EXTEND = 10.0
"""s between two words of how far was heard: what a crash may take from the hours listened (judgement)."""
GAP = 1.0
"""s of lost sound that are a gap of their own; shorter losses are added up (judgement)."""

TECHNICAL: dict[NoteKind, TechnicalKind] = {"woken": "woken", "acknowledged": "acknowledged", "again": "again"}
"""Notes that are kept of a technical alarm too."""


class Writes(Protocol):
    """What is needed of `Journal`; see there."""

    fault: str | None

    def begin_listening(self, source: str, kind: Kind, began: datetime) -> int: ...  # noqa: D102
    def extend_listening(  # noqa: D102
        self, span: int, until: datetime, lost_seconds: float = ..., beeps: Sequence[Beep] = ...
    ) -> None: ...
    def gap(self, span: int, began: datetime, ended: datetime, reason: str) -> None: ...  # noqa: D102
    def end_listening(self, span: int, ended: datetime) -> None: ...  # noqa: D102
    def raise_alarm(  # noqa: D102
        self, span: int, alarm: Alarm, began: datetime, raised: datetime, drill: bool = ...
    ) -> int: ...
    def change_alarm(self, alarm_id: int, alarm: Alarm, at: datetime, kind: Change = ...) -> None: ...  # noqa: D102
    def end_alarm(self, alarm_id: int, alarm: Alarm, ended: datetime) -> None: ...  # noqa: D102
    def note(  # noqa: D102
        self,
        alarm_id: int,
        kind: NoteKind,
        at: datetime,
        after: float | None = ...,
        *,
        who: str | None = ...,
        way: str | None = ...,
    ) -> None: ...
    def tried(self, about: About, about_id: int, at: datetime, attempt: Attempt) -> None: ...  # noqa: D102
    def found(self, alarm_id: int, what: Finding, at: datetime, who: str | None = ...) -> None: ...  # noqa: D102
    def pause(  # noqa: D102
        self, span: int | None, purpose: Purpose, began: datetime, planned: datetime, who: str | None = ...
    ) -> int: ...
    def end_pause(self, pause_id: int, ended: datetime, how: PauseEnd = ...) -> None: ...  # noqa: D102
    def raise_technical(  # noqa: D102
        self, span: int | None, cause: str, priority: Priority, *, began: datetime, raised: datetime, why: str = ...
    ) -> int: ...
    def note_technical(  # noqa: D102
        self,
        technical_id: int,
        kind: TechnicalKind,
        at: datetime,
        after: float | None = ...,
        *,
        who: str | None = ...,
        way: str | None = ...,
    ) -> None: ...
    def margin(self, span: int, at: datetime, margin: float | None) -> None: ...  # noqa: D102
    def in_force(self, span: int | None, at: datetime, settings: str) -> None: ...  # noqa: D102
    def care(self, event: CareEvent) -> int: ...  # noqa: D102
    def write_note(  # noqa: D102
        self, about: About, about_id: int, at: datetime, note: str, who: str | None = ...
    ) -> None: ...
    def row(self, about: str, mine: int) -> int | None: ...  # noqa: D102
    def adopt(self, about: str, row: int) -> int: ...  # noqa: D102
    def clip(self, alarm_id: int, clip: Clip) -> None: ...  # noqa: D102
    def clip_deleted(self, clip_row: int, at: datetime, why: str) -> None: ...  # noqa: D102
    def close(self) -> bool: ...  # noqa: D102


class Logbook:
    """Writes one listening span: its alarms, who was woken and answered, its beeps, and what was not heard.

    Times are stream seconds unless said otherwise. Raises RecordsError at the start only.
    """

    def __init__(self, journal: Writes, timeline: Timeline, clock: Clock, source: str, kind: Kind) -> None:
        self._journal = journal
        self._timeline = timeline
        self._clock = clock
        self._span = journal.begin_listening(source, kind, timeline.wall(0.0))
        self._ids: dict[int, int] = {}
        self._technical: dict[int, int] = {}
        self._raised: dict[int, float] = {}  # clock reading, of alarms of both kinds
        self._to_wake: set[int] = set()
        self._batteries: set[int] = set()
        self._changed: datetime | None = None
        self._pause: int | None = None
        self._paused_at = 0.0
        self._beeps: list[Beep] = []
        self._written = clock.ticks() - EXTEND  # the first block is written at once
        self.answered: dict[int, float] = {}
        """s from raised to the answer, by alarm number."""
        self.lost = 0.0
        """s lost in pieces too short to be gaps."""
        self.unheard = 0.0
        """s in gaps."""
        self.paused = 0.0
        """s of planned pauses that are over."""

    @property
    def fault(self) -> str | None:
        """Why nothing can be written now; it is kept in memory and tried again."""
        return self._journal.fault

    def alarm(self, event: AlarmEvent) -> None:
        """An alarm event, at once."""
        alarm = event.alarm
        if alarm.pattern in BATTERIES and alarm.number > DRILLED:
            self._batteries.add(alarm.number)
        known = self._ids.get(alarm.number)
        if known is None:
            self._begin(alarm)
        elif isinstance(event, Ended):
            end = alarm.last if alarm.ended is None else alarm.ended
            self._journal.end_alarm(known, alarm, self._timeline.wall(end))
        else:
            renamed = isinstance(event, Changed) and event.was is not None
            self._journal.change_alarm(known, alarm, self._timeline.wall(event.at), "renamed" if renamed else "changed")

    def technical(self, cause: str, alarm: Alarm) -> None:
        """A technical alarm is raised."""
        wall = self._timeline.wall
        self._technical[alarm.number] = self._journal.raise_technical(
            self._span, cause, alarm.priority, began=wall(alarm.onset), raised=wall(alarm.raised), why=alarm.why
        )
        self._raised[alarm.number] = self._timeline.ticks(alarm.raised)

    def technical_over(self, number: int, at: float) -> None:
        """A technical alarm is over at clock reading `at`."""
        self._note_technical(number, "ended", at)
        self._technical.pop(number, None)

    def note(self, note: Note) -> None:
        """What the waker says of an alarm; `woken` is only written once the speaker has begun."""
        if note.kind == "woken":
            self._to_wake.add(note.number)
        elif note.kind == "found":
            self._found(note)
        else:
            self._note(note.number, note.kind, note.at, note.by, note.via)
        if note.kind == "battery-changed" or (note.kind == "found" and note.what == "battery"):
            self._battery(note)

    def care(self, event: CareEvent) -> None:
        """An entry of a care routine."""
        self._journal.care(event)

    def row(self, number: int) -> int | None:
        """The row in the file of alarm `number`; None where there is none (yet)."""
        known = self._ids.get(number)
        return None if known is None else self._journal.row("alarm", known)

    def noted(self, noted: Noted, at: float) -> None:
        """What a person wrote of an alarm, of this run or an earlier one, at clock reading `at`."""
        alarm, wall, who = self._journal.adopt("alarm", noted.alarm), self._timeline.wall_of_ticks(at), noted.by or None
        if noted.what is not None:
            self._journal.found(alarm, noted.what, wall, who)
        if noted.changed is not None:
            self._changed_battery(datetime.fromtimestamp(noted.changed, UTC).astimezone(), who, alarm)
        if noted.words:
            self._journal.write_note("alarm", alarm, wall, noted.words, who)

    def sounded(self, numbers: Sequence[int], at: float) -> list[int]:
        """The speaker began to tell of these alarms at clock reading `at`; return those it told of first."""
        first = [number for number in numbers if number in self._to_wake]
        self._to_wake.difference_update(first)
        for number in first:
            self._note(number, "woken", at)
        return first

    def tried(self, tried: Tried) -> None:
        """What came of one try to reach somebody."""
        about: About = "technical" if tried.number in self._technical else "alarm"
        known = self._technical.get(tried.number) or self._ids.get(tried.number)
        if known is not None:
            after = max(0.0, tried.at - self._raised[tried.number])
            attempt = Attempt(tried.way, tried.ok, tried.who or None, tried.detail or None, after=after)
            self._journal.tried(about, known, self._timeline.wall_of_ticks(tried.at), attempt)

    def pause(self, purpose: Purpose, at: float, planned: datetime, who: str) -> None:
        """A planned pause begins at clock reading `at`; one that goes on already ends there."""
        self.end_pause(at, "person")
        self._paused_at = at
        self._pause = self._journal.pause(self._span, purpose, self._timeline.wall_of_ticks(at), planned, who or None)

    def end_pause(self, at: float, how: PauseEnd) -> None:
        """The pause, if there is one, ends at clock reading `at`."""
        if self._pause is not None:
            self._journal.end_pause(self._pause, self._timeline.wall_of_ticks(at), how)
            self._pause = None
            self.paused += at - self._paused_at

    def margin(self, at: float, margin: float | None) -> None:
        """The hearing margin of the minute at stream time `at`, dB; None: unknown."""
        self._journal.margin(self._span, self._timeline.wall(at), margin)

    def in_force(self, settings: str) -> None:
        """These settings hold from now on."""
        self._journal.in_force(self._span, self._timeline.wall_of_ticks(self._clock.ticks()), settings)

    def clip(self, saved: Saved) -> None:
        """A clip of an alarm is on the disk."""
        known = self._ids.get(saved.number)
        if known is not None:
            self._journal.clip(known, saved.clip)

    def clip_deleted(self, expired: Expired) -> None:
        """A clip's time is up."""
        self._journal.clip_deleted(expired.row, self._timeline.wall_of_ticks(self._clock.ticks()), expired.why)

    def beep(self, beep: Beep) -> None:
        """Keep a beep as evidence, with the next word of how far was heard."""
        self._beeps.append(beep)

    def lose(self, start: float, seconds: float) -> None:
        """Sound was lost from `start` on."""
        if seconds >= GAP:
            self.gap(start, start + seconds, "sound was lost on its way from the microphone")
        else:
            self.lost += seconds

    def gap(self, began: float, ended: float, reason: str) -> None:
        """The room was not heard."""
        self.unheard += ended - began
        self._journal.gap(self._span, self._timeline.wall(began), self._timeline.wall(ended), reason)

    def heard(self, until: float, at_once: bool = False) -> None:
        """The room was heard up to here; written each few seconds."""
        now = self._clock.ticks()
        if not at_once and now - self._written < EXTEND:
            return
        self._written = now
        beeps, self._beeps = self._beeps, []
        self._journal.extend_listening(self._span, self._timeline.wall(until), self.lost, beeps)

    def end(self, at: float) -> bool:
        """The person ended it, or the recording is over; return whether all was written."""
        self._journal.end_listening(self._span, self._timeline.wall(at))
        return self._journal.close()

    def _begin(self, alarm: Alarm) -> None:
        wall = self._timeline.wall
        drill = alarm.number <= DRILLED
        self._ids[alarm.number] = self._journal.raise_alarm(
            self._span, alarm, wall(alarm.onset), wall(alarm.raised), drill
        )
        self._raised[alarm.number] = self._timeline.ticks(alarm.raised)

    def _note_technical(self, number: int, kind: TechnicalKind, at: float, by: str = "", via: str = "") -> None:
        known = self._technical.get(number)
        if known is not None:
            after = max(0.0, at - self._raised[number])
            wall = self._timeline.wall_of_ticks(at)
            self._journal.note_technical(known, kind, wall, after, who=by or None, way=via or None)

    def _battery(self, note: Note) -> None:
        """A battery alarm was answered by a changed battery; said twice within the hour it is one change."""
        known = self._ids.get(note.number)
        if note.number in self._batteries and known is not None:
            self._changed_battery(self._timeline.wall_of_ticks(note.at), note.by or None, known)

    def _changed_battery(self, at: datetime, who: str | None, alarm: int) -> None:
        if self._changed is None or abs(at - self._changed) >= ONCE:
            self._changed = at
            self._journal.care(changed_battery(at, who, alarm))

    def _found(self, note: Note) -> None:
        known = self._ids.get(note.number)
        if known is not None:
            what: Finding = note.what or "other"
            self._journal.found(known, what, self._timeline.wall_of_ticks(note.at), note.by or None)

    def _note(self, number: int, kind: NoteKind, at: float, by: str = "", via: str = "") -> None:
        if number in self._technical and kind in TECHNICAL:
            self._note_technical(number, TECHNICAL[kind], at, by, via)
        known = self._ids.get(number)
        if known is not None:
            after = max(0.0, at - self._raised[number])
            if kind == "acknowledged":
                self.answered.setdefault(number, after)
            wall = self._timeline.wall_of_ticks(at)
            self._journal.note(known, kind, wall, after, who=by or None, way=via or None)
