"""Writing what a night brings besides alarms: who was tried, technical alarms, pauses, margins, settings in force."""

import json
import statistics
from datetime import datetime

from beepwatch.events import Priority
from beepwatch.records.entries import About, Attempt, PauseEnd, Purpose, TechnicalKind
from beepwatch.records.payloads import keep
from beepwatch.records.rows import number, one_of, plain, restored, text
from beepwatch.records.writer import Writer, pair

LOW = 6.0
"""dB of hearing margin under which a minute counts as low: the bound of the technical alarm (judgement)."""
HOUR = 60
"""Minutes that one row of `margin` holds at most."""


class NightWriter(Writer):
    """The part of `Store` that `watch` writes besides spans and alarms."""

    def tried(self, about: About, about_id: int, at: datetime, attempt: Attempt) -> None:
        """Write one try to wake somebody for an alarm ("alarm", its id) or a technical alarm ("technical", its id)."""
        self._add(
            "tried",
            {
                "about": one_of(about, About), "about_id": about_id, **pair("at", at), "after": number(attempt.after),
                "step": attempt.step, "way": plain(attempt.way), "who": text(attempt.who), "ok": int(attempt.ok),
                "detail": text(attempt.detail),
            },
        )  # fmt: skip

    def raise_technical(
        self, span: int | None, cause: str, priority: Priority, *, began: datetime, raised: datetime, why: str = ""
    ) -> int:
        """Write a technical alarm condition; return its id.

        span: the listening span, None where none was begun. cause: its short name ("digital-silence", "margin", ...).
        began: since when it holds; raised: when it was told. why: one plain sentence.
        """
        with self.together():
            written = self._add(
                "technical",
                {
                    "span": span, "cause": plain(cause), "priority": one_of(priority, Priority),
                    "why": text(why or None), **pair("began", began),
                },
            )  # fmt: skip
            self.note_technical(written, "raised", raised)
        return written

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
        """Write what became of a technical alarm: woken, acknowledged (who, by what way), again, ended, ...

        after: s since it was raised by a clock that is never set. detail: words, such as how it recovered.
        """
        self._add(
            "technical_state",
            {
                "technical": technical_id, "kind": one_of(kind, TechnicalKind), **pair("at", at),
                "after": number(after), "who": text(who), "way": text(way), "detail": text(detail),
            },
        )  # fmt: skip

    def pause(
        self, span: int | None, purpose: Purpose, began: datetime, planned: datetime, who: str | None = None
    ) -> int:
        """Write that listening is paused on purpose from `began` until `planned`; return the pause's id.

        Such time is counted apart from gaps. Fire and carbon monoxide stay on, so the span may be extended meanwhile.
        """
        return self._add(
            "pause",
            {
                "span": span, "purpose": one_of(purpose, Purpose), "who": text(who),
                **pair("began", began), **pair("planned", planned),
            },
        )  # fmt: skip

    def end_pause(self, pause_id: int, ended: datetime, how: PauseEnd = "due") -> None:
        """Write that a pause is over; saying it again does no harm.

        A pause without an end (a crash in it) counts until its planned end.
        """
        with self.together():
            if self._connection.execute("SELECT 1 FROM pause_end WHERE pause = ?", (pause_id,)).fetchone() is None:
                self._add("pause_end", {"pause": pause_id, **pair("ended", ended), "how": one_of(how, PauseEnd)})

    def margin(self, span: int, at: datetime, margin: float | None) -> None:
        """Write the hearing margin (dB) of one minute; None where it is unknown. Each hour becomes one row.

        at: any moment of that minute; a second figure for the same minute takes the place of the first.
        """
        minute, offset = pair("at", at.replace(second=0, microsecond=0)).values()
        with self.together():
            first = self._connection.execute("SELECT min(at) FROM margin_open WHERE span = ?", (span,)).fetchone()[0]
            if first is not None and str(minute)[:13] != first[:13]:  # another hour of UTC
                self._fold_margins(span)
            self._connection.execute(
                "INSERT OR REPLACE INTO margin_open VALUES (?, ?, ?, ?)", (span, minute, offset, number(margin))
            )

    def in_force(self, span: int | None, at: datetime, settings: str) -> None:
        """Write which settings hold from `at` on, as their whole text; once for each change.

        The text (with its names) is a payload that can be deleted; a text that is there already is not kept twice.
        """
        with self.together():
            newest = self._connection.execute(
                "SELECT payload.hash FROM in_force JOIN payload ON payload.hash = in_force.payload "
                "WHERE payload.text = ? ORDER BY in_force.id DESC LIMIT 1",
                (plain(settings),),
            ).fetchone()
            held = newest[0] if newest is not None else keep(self._connection, "settings", settings)
            self._add("in_force", {"span": span, **pair("at", at), "payload": held})

    def _fold_margins(self, span: int) -> None:
        """Make the minutes that wait one row, from the first to the last, a null where none was written."""
        waiting = self._connection.execute(
            "SELECT at, at_offset, margin FROM margin_open WHERE span = ? ORDER BY at", (span,)
        ).fetchall()
        if not waiting:
            return
        began = restored(waiting[0][0], waiting[0][1])
        figures: list[float | None] = [None] * HOUR
        for at, offset, margin in waiting:
            figures[int((restored(at, offset) - began).total_seconds() // 60) % HOUR] = margin
        last = int((restored(waiting[-1][0], waiting[-1][1]) - began).total_seconds() // 60)
        self._add("margin", {"span": span, **pair("began", began), **_summed(figures[: last + 1])})
        self._connection.execute("DELETE FROM margin_open WHERE span = ?", (span,))


def _summed(figures: list[float | None]) -> dict[str, str | float | int | None]:
    """The columns of a row of margins."""
    known = [figure for figure in figures if figure is not None]
    return {
        "minutes": len(figures),
        "unknown": len(figures) - len(known),
        "low": sum(figure < LOW for figure in known),
        "lowest": min(known, default=None),
        "median": statistics.median(known) if known else None,
        "figures": json.dumps([None if figure is None else round(figure, 1) for figure in figures]),
    }
