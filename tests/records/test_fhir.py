"""The bundle for a clinic, held against the official definitions of FHIR R4 by a validator that is not ours."""

import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from beepwatch.events import Alarm
from beepwatch.records.entries import CareEvent, Found, LoggedCare, Note, Pause, Technical
from beepwatch.records.export import METHOD, With
from beepwatch.records.fhir import ENTERED, ITSELF, Told, bundle
from beepwatch.records.listened import listened
from beepwatch.records.rows import LoggedAlarm, Span
from tests.npm import node, package
from tests.records.hostile import HOSTILE, IDS

VALIDATE = """
const {Fhir} = require('fhir'); const fs = require('fs');
const made = JSON.parse(fs.readFileSync(process.argv[1], 'utf8')); const fhir = new Fhir();
const told = [];
for (const one of [made, ...made.entry.map(entry => entry.resource)])
  for (const message of fhir.validate(one, {errorOnUnexpected: true}).messages) told.push(message);
const back = JSON.parse(fhir.xmlToJson(fhir.objToXml(made)));
console.log(JSON.stringify({told, back}));
"""


BARE = With()
OWN = "not found in value set"
"""Said of our own codes: R4 names LOINC as an example for `Observation.code`, and lets others in."""


@pytest.fixture(scope="session")
def validator() -> Path:
    """The npm package `fhir`: the official definitions of R4 as a validator."""
    return package("fhir", "4.12.0")


@pytest.fixture
def told(lead: Alarm, over: Alarm, evening: datetime) -> Told:
    """A night with something of each kind."""
    end = evening + timedelta(hours=8)
    alarm = LoggedAlarm(
        id=7, span=1, kind="household", source="Anna's microphone", began=evening,
        raised=evening + timedelta(seconds=11),
        ended=evening + timedelta(seconds=196), state=over, woken_after=0.4, acknowledged_after=30.0,
        stopped_after=None, answered_by="Anna", answered_way="page",
    )  # fmt: skip
    night = Span(1, "household", "Anna's microphone", evening, end, 0.5, closed=True)
    return Told(
        alarms=[
            alarm,
            replace(alarm, id=8, ended=None, state=replace(lead, confidence=float("nan"), period=None)),
            replace(alarm, id=9, drill=True, state=replace(over, pattern="battery-critical")),
        ],
        heard=listened([night], evening, end, end + timedelta(days=1)),
        technicals=[Technical(1, 1, "margin", "medium", "", evening, evening, None, None, None, None)],
        pauses=[Pause(1, 1, "bath", "Anna", evening, end, None, None)],
        care=[LoggedCare(1, CareEvent("exit-site", "done", evening, end, None, "damp", "Anna"))],
        found={7: Found(1, 7, "cable", evening, "Anna")},
        notes=[Note(1, "alarm", 7, evening, "Anna", "Sam had turned over")],
    )  # fmt: skip


def made(told: Told, evening: datetime, extra: With = BARE) -> dict[str, Any]:
    """A bundle as it is written and read again."""
    text = json.dumps(bundle(told, "00" * 32, evening, extra, version="1.0", caution="Not a\nmedical device."))
    held: dict[str, Any] = json.loads(text)
    return held


def observations(held: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The events in it."""
    yield from (one["resource"] for one in held["entry"] if one["resource"]["resourceType"] == "Observation")


def validated(validator: Path, held: dict[str, Any]) -> tuple[list[str], dict[str, Any]]:
    """What the validator finds wrong, and what it reads back from its own XML of it."""
    answer = json.loads(node(validator, VALIDATE, json.dumps(held)))
    wrong = [one for one in answer["told"] if one["severity"] != "info"]
    wrong = [one for one in wrong if not (one["severity"] == "warning" and OWN in one["message"])]
    return [f"{one['location']}: {one['message']}" for one in wrong], answer["back"]


@pytest.mark.parametrize("extra", [With(), With(names=True, notes=True)])
def test_a_bundle_is_valid_r4_and_comes_back_from_xml(
    validator: Path, told: Told, evening: datetime, extra: With
) -> None:
    """No error, nothing unexpected; what is read back from XML has every event."""
    held = made(told, evening, extra)
    wrong, back = validated(validator, held)
    assert wrong == []
    assert [one["id"] for one in observations(back)] == [one["id"] for one in observations(held)]


def test_the_validator_finds_what_is_wrong(validator: Path, told: Told, evening: datetime) -> None:
    """So that its silence means something."""
    held = made(told, evening)
    held["entry"][2]["resource"]["status"] = "heard"
    del held["entry"][3]["resource"]["code"]
    held["entry"][4]["resource"]["loudness"] = 3
    errors = " ".join(validated(validator, held)[0])
    assert "heard" in errors
    assert "loudness" in errors
    assert "Missing property" in errors


def test_each_event_says_what_it_is_and_who_heard_it(told: Told, evening: datetime) -> None:
    """Our code first, the IEEE's second; by the listener; how it is known; no patient."""
    events = list(observations(made(told, evening)))
    _, first, open_, drill, *_ = events
    (device,) = [one["fullUrl"] for one in made(told, evening)["entry"] if one["resource"]["resourceType"] == "Device"]
    codings = [(coding["system"], coding["code"]) for coding in first["code"]["coding"]]
    assert codings[0][1] == "lead-disconnect"
    assert codings[1] == ("urn:iso:std:iso:11073:10101", "196876")
    assert drill["code"]["coding"][1]["code"] == "196802"
    assert {one["device"]["reference"] for one in events} == {device}
    assert [one["method"]["text"] for one in events[:6]] == [METHOD] * 4 + [ITSELF, ENTERED]
    assert not any("subject" in one for one in events)
    assert (first["status"], open_["status"]) == ("final", "preliminary")
    assert "end" not in open_["effectivePeriod"]
    assert drill["meta"]["tag"][0]["code"] == "HTEST"
    assert drill["code"]["text"].startswith("DRILL")


def test_no_name_and_no_note_goes_out_unasked(told: Told, evening: datetime) -> None:
    """Dates stay; each is let out by a word of its own."""
    bare = json.dumps(made(told, evening))
    assert "Anna" not in bare
    assert "Sam" not in bare
    assert "2026-03-01T21:00:00.000+00:00" in bare
    assert "Sam" in json.dumps(made(told, evening, With(notes=True)))
    assert "Anna" not in json.dumps(made(told, evening, With(notes=True)))
    assert "Anna" in json.dumps(made(told, evening, With(names=True)))


def test_the_same_event_has_the_same_identifier_each_time(told: Told, evening: datetime) -> None:
    """Also when it was renamed meanwhile; another history has others."""
    before = [one["id"] for one in observations(made(told, evening))]
    renamed = replace(told, alarms=[replace(one, state=replace(one.state, pattern="unknown")) for one in told.alarms])
    assert [one["id"] for one in observations(made(renamed, evening + timedelta(days=1)))] == before
    other = bundle(told, "11" * 32, evening, With(), version="1.0", caution="x")
    assert not set(before) & {one["id"] for one in observations(json.loads(json.dumps(other)))}


@pytest.mark.parametrize("note", HOSTILE, ids=IDS)
def test_a_hostile_note_is_harmless_and_valid(validator: Path, told: Told, evening: datetime, note: str) -> None:
    """It stays text: valid R4, and in no narrative an element of its own."""
    hostile = replace(
        told,
        notes=[replace(told.notes[0], text=note, who=note)],
        care=[LoggedCare(1, CareEvent(note, "done", evening, reason=note))],
        technicals=[replace(told.technicals[0], cause=note, why=note)],
    )
    held = made(hostile, evening, With(names=True, notes=True))
    assert validated(validator, held)[0] == []
    for one in observations(held):
        tags = {element.tag.rpartition("}")[2] for element in ET.fromstring(one["text"]["div"]).iter()}  # noqa: S314
        assert tags == {"div", "p"}
