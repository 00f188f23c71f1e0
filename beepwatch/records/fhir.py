"""The history as a bundle of HL7 FHIR R4 (4.0.1): one Observation an event, by a Device that is the listener. Pure.

No patient is named and none is referred to: whoever takes the bundle in adds the subject. Our own code of an event
comes first; where ISO/IEEE 11073-10101 has an event for it (196876 MDC_EVT_LEAD_DISCONN,
196802 MDC_EVT_BATT_LO, quoted) that is second. `method` says of each whether it is inferred
from sound, entered by a person, or told by the listener about itself. Identifiers are the same at each export.
"""

import math
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from html import escape
from typing import TypeAlias

from beepwatch.records.entries import Found, LoggedCare, Note, Pause, Technical
from beepwatch.records.export import METHOD, With, rfc3339, routine
from beepwatch.records.listened import Listened
from beepwatch.records.rows import LoggedAlarm

Json: TypeAlias = str | int | float | bool | Sequence["Json"] | Mapping[str, "Json"] | None
Resource: TypeAlias = dict[str, Json]

OURS = uuid.UUID("8a6f0c1e-6d0b-5d7e-9c39-62656570776a")
"""Name of our code system and root of all identifiers: a number of our own, as nobody has given us a web address."""
SYSTEM = f"urn:uuid:{OURS}"
IEEE_SYSTEM = "urn:iso:std:iso:11073:10101"
"""The URI of HL7's terminology for ISO/IEEE 11073-10101."""
IEEE = {
    "lead-disconnect": ("196876", "MDC_EVT_LEAD_DISCONN"),
    "battery-critical": ("196802", "MDC_EVT_BATT_LO"),
}
ENTERED, ITSELF = "entered by a person", "told by the listener about itself"
UCUM = "http://unitsofmeasure.org"
LONGEST = 100_000
"""Letters of one text: FHIR allows a string 1 MB; a reader at the clinic wants less (judgement)."""
DRILL: Resource = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST", "display": "test health data",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """What a bundle tells of."""

    alarms: Sequence[LoggedAlarm]
    heard: Listened
    technicals: Sequence[Technical] = ()
    pauses: Sequence[Pause] = ()
    care: Sequence[LoggedCare] = ()
    found: Mapping[int, Found] = field(default_factory=dict)
    notes: Sequence[Note] = ()


def bundle(told: Told, identity: str, now: datetime, extra: With, *, version: str, caution: str) -> Resource:
    """The whole bundle, as plain values for JSON. identity: what tells this history from another; now: its time."""
    made = _Maker(identity, extra)
    resources = [
        made.listener(version, caution),
        made.listening(told.heard),
        *(made.alarm(one, told.found.get(one.id), told.notes) for one in told.alarms),
        *(made.technical(one) for one in told.technicals),
        *(made.pause(one) for one in told.pauses),
        *(made.care(one) for one in told.care),
    ]
    entries: list[Resource] = [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources]
    return {
        "resourceType": "Bundle", "id": made.id("bundle", rfc3339(now)), "type": "collection",
        "timestamp": rfc3339(now), "entry": entries,
    }  # fmt: skip


class _Maker:
    """Makes resources of one history."""

    def __init__(self, identity: str, extra: With) -> None:
        self._root = uuid.uuid5(OURS, identity)
        self._extra = extra

    def id(self, kind: str, name: object) -> str:
        """The identifier of one thing of this history."""
        return str(uuid.uuid5(self._root, f"{kind} {name}"))

    def listener(self, version: str, caution: str) -> Resource:
        """beepwatch itself: the device that observes."""
        return {
            "resourceType": "Device", "id": self.id("device", ""), "status": "active",
            "text": _narrative([f"beepwatch {version}: a program that listens. {caution}"]),
            "deviceName": [{"name": "beepwatch", "type": "user-friendly-name"}],
            "type": {"text": "a program that listens to a room; no medical device"},
            "version": [{"value": version}],
            "note": [{"text": _clean(" ".join(caution.split()))}],
        }  # fmt: skip

    def listening(self, heard: Listened) -> Resource:
        """How long was listened to: "no alarm" means nothing without it."""
        return self._observation(
            "listening", f"{rfc3339(heard.since)} {rfc3339(heard.until)}", "listening", "hours listened",
            began=heard.since, ended=heard.until,
            value=heard.seconds / 3600, unit=("hours", "h"),
            components=[
                _amount("planned pauses", heard.paused / 3600, "hours", "h"),
                _amount("not listened to, unplanned", heard.missed / 3600, "hours", "h"),
                _amount("sound lost in short pieces", heard.lost, "seconds", "s"),
            ],
        )  # fmt: skip

    def alarm(self, alarm: LoggedAlarm, found: Found | None, notes: Sequence[Note]) -> Resource:
        """One alarm, as it was heard."""
        state = alarm.state
        mine = [note for note in notes if (note.about, note.about_id) == ("alarm", alarm.id)]
        name = state.pattern.replace("-", " ")
        return self._observation(
            "alarm", alarm.id, state.pattern, f"{'DRILL: ' if alarm.drill else ''}{name}",
            began=alarm.began, ended=alarm.ended,
            issued=alarm.raised, value=alarm.lasted, unit=("seconds", "s"), drill=alarm.drill,
            open_=alarm.ended is None, notes=self._words(mine),
            components=[
                _words("priority", state.priority),
                _words("evidence", state.why),
                {"code": _code("beeps"), "valueInteger": state.beeps},
                _amount("length of a beep", state.duration, "seconds", "s"),
                _amount("time from beep to beep", state.period, "seconds", "s"),
                _amount("tone", state.frequency, "hertz", "Hz"),
                _amount("probability that it is what it is named", state.confidence, "1", "1"),
                _amount("woken after", alarm.woken_after, "seconds", "s"),
                _amount("answered after", alarm.acknowledged_after, "seconds", "s"),
                _words("answered by", alarm.answered_by if self._extra.names else None),
                _words("what it was, as a person said", None if found is None else found.what),
                {"code": _code("rehearsal"), "valueBoolean": True} if alarm.drill else None,
            ],
        )  # fmt: skip

    def technical(self, one: Technical) -> Resource:
        """One time when beepwatch could not hear, or could not wake anybody."""
        return self._observation(
            "technical", one.id, f"technical-{one.cause}", f"technical alarm: {one.cause}",
            began=one.began, ended=one.ended,
            issued=one.raised, open_=one.ended is None,
            method=ITSELF,
            components=[_words("priority", one.priority), _words("why", one.why)],
        )  # fmt: skip

    def pause(self, pause: Pause) -> Resource:
        """One planned pause."""
        return self._observation(
            "pause", pause.id, "planned-pause", f"planned pause: {pause.purpose}",
            began=pause.began, ended=pause.until,
            method=ENTERED,
            components=[_words("purpose", pause.purpose)],
        )  # fmt: skip

    def care(self, care: LoggedCare) -> Resource:
        """One entry of a care routine, as a person made it."""
        event, name = care.event, routine(care.event.routine, self._extra)
        due: Resource | None = (
            None if event.due is None else {"code": _code("due"), "valueDateTime": rfc3339(event.due)}
        )
        return self._observation(
            "care", care.id, f"care-{event.kind}", f"care routine {name}: {event.kind}",
            began=event.at, ended=event.at,
            method=ENTERED,
            components=[
                _words("routine", name),
                due,
                _amount("hours of use", event.hours, "hours", "h"),
                _words("reason", event.reason if self._extra.notes else None),
            ],
        )  # fmt: skip

    def _observation(
        self,
        kind: str,
        number: object,
        code: str,
        display: str,
        *,
        began: datetime,
        ended: datetime | None,
        components: Iterable[Resource | None],
        issued: datetime | None = None,
        value: float | None = None,
        unit: tuple[str, str] = ("", ""),
        drill: bool = False,
        open_: bool = False,
        notes: Sequence[Resource] = (),
        method: str = METHOD,
    ) -> Resource:
        """An Observation; what is not known is left out, as FHIR wants it."""
        period = {"start": rfc3339(began), **({} if ended is None else {"end": rfc3339(max(began, ended))})}
        parts = [part for part in components if part is not None]
        made: Resource = {
            "resourceType": "Observation", "id": self.id(kind, number),
            **({"meta": {"tag": [DRILL]}} if drill else {}),
            "text": _narrative([f"{display}, from {period['start']}", method]),
            "identifier": [{"system": f"urn:uuid:{self._root}", "value": f"{kind} {number}"}],
            "status": "preliminary" if open_ else "final",
            "code": {"coding": _codings(code, display), "text": _clean(display)},
            "effectivePeriod": period,
            **({} if issued is None else {"issued": rfc3339(issued)}),
            **_quantity(value, *unit),
            **({"note": list(notes)} if notes else {}),
            "method": {"text": method},
            "device": {"reference": f"urn:uuid:{self.id('device', '')}"},
            **({"component": parts} if parts else {}),
        }  # fmt: skip
        return made

    def _words(self, notes: Sequence[Note]) -> list[Resource]:
        """People's notes, if they are to go out; who wrote them, if names are."""
        if not self._extra.notes:
            return []
        return [
            {
                **({"authorString": _clean(note.who)} if note.who and self._extra.names else {}),
                "time": rfc3339(note.at),
                "text": _clean(note.text),
            }
            for note in notes
            if note.text and _clean(note.text)
        ]


def _codings(code: str, display: str) -> list[Json]:
    ours: Resource = {"system": SYSTEM, "code": _token(code), "display": _clean(display)}
    if code not in IEEE:
        return [ours]
    number, name = IEEE[code]
    return [ours, {"system": IEEE_SYSTEM, "code": number, "display": name}]


def _code(name: str) -> Resource:
    return {"coding": [{"system": SYSTEM, "code": _token(name)}], "text": name}


def _words(name: str, text: str | None) -> Resource | None:
    cleaned = _clean(text or "")
    return {"code": _code(name), "valueString": cleaned} if cleaned else None


def _amount(name: str, value: float | None, unit: str, code: str) -> Resource | None:
    quantity = _quantity(value, unit, code)
    return {"code": _code(name), **quantity} if quantity else None


def _quantity(value: float | None, unit: str, code: str) -> Resource:
    if value is None or not math.isfinite(value):
        return {}
    return {"valueQuantity": {"value": round(value, 3), "unit": unit, "system": UCUM, "code": code}}


def _narrative(lines: Sequence[str]) -> Resource:
    """What a person reads of a resource, as XHTML."""
    paragraphs = "".join(f"<p>{escape(_clean(line))}</p>" for line in lines)
    return {"status": "generated", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{paragraphs}</div>'}


def _token(text: str) -> str:
    """A code of FHIR: no white space at its ends, single spaces inside."""
    return "-".join(_clean(text).replace(",", "").split()) or "unknown"


def _clean(text: str) -> str:
    """Text as FHIR allows it: no control characters but tab and line ends, no blanks at its ends, not over long."""
    held = "".join(letter for letter in text if letter in "\t\n\r" or _allowed(letter)).strip()
    return held if len(held) <= LONGEST else held[:LONGEST] + " ..."


def _allowed(letter: str) -> bool:
    """A character of XML 1.0 (2.2), which the narrative is written in."""
    return " " <= letter <= "\ud7ff" or "\ue000" <= letter <= "\ufffd" or letter > "\uffff"
