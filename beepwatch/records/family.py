"""Writing what people enter: findings, notes, care, corrections; and evidence clips, with all that may be deleted."""

from datetime import datetime

from beepwatch.errors import RecordsError
from beepwatch.records.entries import About, CareEvent, CareKind, Clip, Correctable, Finding
from beepwatch.records.payloads import keep
from beepwatch.records.rows import number, one_of, plain, text
from beepwatch.records.writer import Writer, pair


class FamilyWriter(Writer):
    """The part of `Store` for what people enter."""

    def found(self, alarm_id: int, what: Finding, at: datetime, who: str | None = None) -> int:
        """Write what an alarm turned out to be; return the row's id. It corrects an earlier finding, and names it."""
        with self.together():
            before = self._connection.execute(
                "SELECT max(id) FROM found WHERE alarm = ? AND id NOT IN "
                "(SELECT about_id FROM correction WHERE about = 'found')",
                (alarm_id,),
            ).fetchone()[0]
            written = self._add(
                "found", {"alarm": alarm_id, "what": one_of(what, Finding), **pair("at", at), "who": text(who)}
            )
            if before is not None:
                self.correct("found", before, at, by=written, who=who)
        return written

    def write_note(self, about: About, about_id: int, at: datetime, note: str, who: str | None = None) -> int:
        """Write a note of a person's own words; return its id. The words can be deleted (`delete_note`)."""
        with self.together():
            return self._add(
                "note",
                {
                    "about": one_of(about, About), "about_id": about_id, **pair("at", at), "who": text(who),
                    "payload": keep(self._connection, "note", note),
                },
            )  # fmt: skip

    def care(self, event: CareEvent) -> int:
        """Write one entry of a care routine; return its id. A note on it: `write_note("care", id, ...)`."""
        return self._add(
            "care",
            {
                "routine": plain(event.routine), "kind": one_of(event.kind, CareKind), **pair("at", event.at),
                **pair("due", event.due), "hours": number(event.hours), "reason": text(event.reason),
                "who": text(event.who), "alarm": event.alarm,
            },
        )  # fmt: skip

    def correct(
        self,
        about: Correctable,
        about_id: int,
        at: datetime,
        *,
        by: int | None = None,
        who: str | None = None,
        why: str | None = None,
    ) -> int:
        """Write that row `about_id` of `about` does not hold; by: the row of the same table in its place, if any."""
        with self.together():
            self._there(one_of(about, Correctable), about_id)
            return self._add(
                "correction",
                {
                    "about": about, "about_id": about_id, **pair("at", at), "by": by, "who": text(who),
                    "why": text(why),
                },
            )  # fmt: skip

    def clip(self, alarm_id: int, clip: Clip) -> int:
        """Write that a clip of an alarm was saved; its file is there already. Return its id."""
        return self._add(
            "clip",
            {
                "alarm": alarm_id, "file": plain(clip.file), "payload": clip.sha256, "bytes": clip.size,
                **pair("began", clip.began), "seconds": number(clip.seconds), "tone": number(clip.tone),
            },
        )  # fmt: skip

    def delete_note(self, note_id: int, at: datetime, why: str = "on request") -> None:
        """Delete the words of a note for good; that there was one, and that it was deleted, stays."""
        with self.together():
            self._there("note", note_id)
            self._connection.execute(
                "DELETE FROM payload WHERE hash = (SELECT payload FROM note WHERE id = ?)", (note_id,)
            )
            self._add("deletion", {"about": "note", "about_id": note_id, **pair("at", at), "why": plain(why)})
        self._forget()

    def delete_settings(self, at: datetime, why: str = "on request") -> None:
        """Delete the texts of all settings that held, names in them, for good; when they changed stays."""
        with self.together():
            rows = self._connection.execute("SELECT id FROM in_force JOIN payload ON hash = payload ORDER BY id")
            numbers = [number for (number,) in rows.fetchall()]
            self._connection.execute("DELETE FROM payload WHERE kind = 'settings'")
            for number in numbers:
                self._add("deletion", {"about": "in_force", "about_id": number, **pair("at", at), "why": plain(why)})
        self._forget()

    def clip_deleted(self, clip_id: int, at: datetime, why: str = "on request") -> None:
        """Write that a clip's file was deleted (by its age, for want of room, on request)."""
        with self.together():
            self._there("clip", clip_id)
            self._add("deletion", {"about": "clip", "about_id": clip_id, **pair("at", at), "why": plain(why)})

    def _there(self, table: str, row: int) -> None:
        found = self._connection.execute(f"SELECT 1 FROM {table} WHERE rowid = ?", (row,)).fetchone()  # noqa: S608
        if found is None:
            raise RecordsError(f"there is no {table} {row}")

    def _forget(self) -> None:
        """Take deleted words out of the write-ahead log, too (the file itself overwrites them: `secure_delete`)."""
        self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
