"""Reading what people entered, and the clips: see `family`, which writes it. What was corrected is left out."""

import sqlite3
from datetime import datetime

from beepwatch.records.entries import About, CareEvent, Clip, Found, LoggedCare, LoggedClip, Note
from beepwatch.records.nightly import VALID
from beepwatch.records.reader import Reader, maybe_time, period, time_of

FOUND = f"""SELECT found.* FROM found JOIN alarm ON alarm.id = found.alarm
    WHERE alarm.began >= :since AND alarm.began < :until AND {VALID.format("found")}
    ORDER BY found.id"""  # noqa: S608 - our own names
FOUND_OF = f"""SELECT found.* FROM found WHERE alarm = :alarm AND {VALID.format("found")}
    ORDER BY found.id"""  # noqa: S608 - our own names
NOTES = f"""SELECT note.*, payload.text FROM note LEFT JOIN payload ON payload.hash = note.payload
    WHERE {{}} AND {VALID.format("note")} ORDER BY note.at, note.id"""  # noqa: S608 - our own names
CARE = f"""SELECT care.* FROM care WHERE care.at >= :since AND care.at < :until
    AND (:routine IS NULL OR care.routine = :routine) AND {VALID.format("care")}
    ORDER BY care.at, care.id"""  # noqa: S608 - our own names
CLIPS = """SELECT clip.*, deletion.at AS deleted, deletion.at_offset AS deleted_offset
    FROM clip LEFT JOIN deletion ON deletion.id = (SELECT min(id) FROM deletion
        WHERE about = 'clip' AND about_id = clip.id)
    WHERE {} ORDER BY clip.id"""


class FamilyReader(Reader):
    """The part of `History` for what people entered."""

    def found(self, since: datetime | None = None, until: datetime | None = None) -> dict[int, Found]:
        """By alarm id what alarms that began in the period turned out to be; the newest finding of each."""
        return {row["alarm"]: _found(row) for row in self._ask(FOUND, period(since, until))}

    def found_of(self, alarm_id: int) -> Found | None:
        """What one alarm turned out to be, as was said last."""
        rows = self._ask(FOUND_OF, {"alarm": alarm_id})
        return _found(rows[-1]) if rows else None

    def notes(self, since: datetime | None = None, until: datetime | None = None) -> list[Note]:
        """The notes written in the period, by time."""
        return [
            _note(row)
            for row in self._ask(NOTES.format("note.at >= :since AND note.at < :until"), period(since, until))
        ]

    def notes_of_alarms(self, since: datetime | None = None, until: datetime | None = None) -> list[Note]:
        """The notes on alarms that began in the period, whenever they were written, by time."""
        where = (
            "note.about = 'alarm' AND note.about_id IN "
            "(SELECT id FROM alarm WHERE alarm.began >= :since AND alarm.began < :until)"
        )
        return [_note(row) for row in self._ask(NOTES.format(where), period(since, until))]

    def notes_on(self, about: About, about_id: int) -> list[Note]:
        """The notes on one alarm, technical alarm, pause or care entry, by time."""
        asked = {"about": about, "id": about_id}
        return [_note(row) for row in self._ask(NOTES.format("note.about = :about AND note.about_id = :id"), asked)]

    def care(
        self, since: datetime | None = None, until: datetime | None = None, routine: str | None = None
    ) -> list[LoggedCare]:
        """The entries of care routines (or of one) that happened in the period, by time."""
        return [_care(row) for row in self._ask(CARE, {**period(since, until), "routine": routine})]

    def clips(self, alarm_id: int | None = None) -> list[LoggedClip]:
        """The clips of one alarm, or of all, in the order in which they were saved; deleted ones too."""
        where = "1" if alarm_id is None else "clip.alarm = :alarm"
        return [_clip(row) for row in self._ask(CLIPS.format(where), {"alarm": alarm_id})]

    def clips_of_alarms(self, since: datetime | None = None, until: datetime | None = None) -> list[LoggedClip]:
        """The clips of alarms that began in the period, but for deleted ones."""
        where = (
            "deletion.id IS NULL AND clip.alarm IN "
            "(SELECT id FROM alarm WHERE alarm.began >= :since AND alarm.began < :until)"
        )
        return [_clip(row) for row in self._ask(CLIPS.format(where), period(since, until))]


def _found(row: sqlite3.Row) -> Found:
    return Found(row["id"], row["alarm"], row["what"], time_of(row, "at"), row["who"])


def _note(row: sqlite3.Row) -> Note:
    return Note(row["id"], row["about"], row["about_id"], time_of(row, "at"), row["who"], row["text"])


def _care(row: sqlite3.Row) -> LoggedCare:
    event = CareEvent(
        routine=row["routine"],
        kind=row["kind"],
        at=time_of(row, "at"),
        due=maybe_time(row, "due"),
        hours=row["hours"],
        reason=row["reason"],
        who=row["who"],
        alarm=row["alarm"],
    )
    return LoggedCare(row["id"], event)


def _clip(row: sqlite3.Row) -> LoggedClip:
    clip = Clip(
        file=row["file"],
        sha256=bytes(row["payload"]),
        size=row["bytes"],
        began=time_of(row, "began"),
        seconds=row["seconds"],
        tone=row["tone"],
    )
    return LoggedClip(row["id"], row["alarm"], clip, maybe_time(row, "deleted"))
