"""The words: short, in order, easy to read at night, and claiming nothing."""

import re
from pathlib import Path

import pytest
import textstat

import beepwatch
from beepwatch.bedside.standing import HANGS, LINK
from beepwatch.hearing.technical import MESSAGES as TECHNICAL
from beepwatch.waking.messages import Messages
from tests.waking.bedside import PRIORITIES

PACKAGE = Path(beepwatch.__file__).parent
FAMILIES = {
    "no names": Messages(),
    "a family": Messages(caregiver="Anna", person="Sam", emergency="112"),
    "long names": Messages(caregiver="Alexandra", person="Maximilian", emergency="the emergency line"),
}
DEVICE = ("lead-disconnect", "battery-critical", "backup-battery")
PATTERNS = [*PRIORITIES, *sorted(TECHNICAL), LINK, HANGS]


def grade(text: str) -> float:
    """Flesch-Kincaid reading grade, by an independent package."""
    return float(textstat.flesch_kincaid_grade(text))


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_every_message_reads_at_grade_6_or_lower(pattern: str, family: str) -> None:
    """Spoken, spoken after the beeping stopped, and on the screen; the call is the listener's own name, no sentence."""
    say = FAMILIES[family]
    assert grade(" ".join(say.lines(pattern)[1:])) <= 6
    assert grade(" ".join(say.lines_stopped(pattern)[1:])) <= 6
    assert grade(say.screen(say.title(pattern) + ".", *say.lines(pattern)[1:])) <= 6


SHOWN = [Messages().acknowledged, Messages().caution, Messages().changed, Messages().quiet, Messages().question()]


@pytest.mark.parametrize("line", [*Messages().all_lines(), *SHOWN])
def test_every_single_line_reads_at_grade_6_or_lower(line: str) -> None:
    """No easy sentence hides a hard one."""
    assert grade(line) <= 6


def test_every_pattern_has_a_message_and_no_message_is_beside() -> None:
    """The catalogue knows the patterns of the profiles, and beepwatch's own conditions."""
    assert set(Messages().patterns) == set(PATTERNS)


@pytest.mark.parametrize("pattern", DEVICE)
def test_the_order_is_go_look_not_well_meaning_check(pattern: str) -> None:
    """The caregiver's name, twice; who goes, now; the person first; plan and number; what it means; what to check."""
    call, go, look, unwell, well, check = Messages(caregiver="Anna", person="Sam").lines(pattern)
    assert call == "Anna. Anna."
    assert "Go to Sam now" in go
    assert "Look at Sam first" in look
    assert "not well" in unwell
    assert "backup breathing plan" in unwell
    assert "emergency number" in unwell
    assert well.startswith("If Sam is well")
    assert "as your clinic showed you" in check


def test_a_lead_alarm_sends_to_both_ends_of_the_cable() -> None:
    """The check of the lead alarm."""
    assert "both ends of the cable" in Messages().lines("lead-disconnect")[-1]


@pytest.mark.parametrize("pattern", ["battery-critical", "backup-battery"])
def test_backup_breathing_help_is_ready_before_a_battery_is_changed(pattern: str) -> None:
    """First the help, then the change, and the change as the clinic showed."""
    check = Messages().lines(pattern)[-1]
    assert "ready first" in check
    assert check.index("backup breathing help") < check.index("change")


def test_a_smoke_alarm_sends_everyone_out() -> None:
    """There it is not the person at the device who is first."""
    assert "This sounds like a smoke alarm. Get everyone out. Call the emergency number." in Messages().lines("fire")


def test_the_end_of_the_beeping_is_told_in_its_exact_words() -> None:
    """No all-clear: mended, or no power."""
    call, first, *rest = Messages().lines_stopped("battery-critical")
    assert first == "The beeping has stopped. That can mean mended, or no power. Go and look."
    assert (call, *rest) == Messages().lines("battery-critical")


def test_every_line_that_may_be_spoken_is_rendered_ahead() -> None:
    """A voice that has all lines has every message."""
    say = FAMILIES["a family"]
    ahead = set(say.all_lines())
    for pattern in PATTERNS:
        assert set(say.lines(pattern)) | set(say.lines_stopped(pattern)) <= ahead
    assert say.renamed in ahead


def test_the_screen_carries_the_caution() -> None:
    """Whatever is shown ends with it."""
    assert Messages().screen("One.", "Two.").splitlines() == ["One.", "Two.", Messages().caution]
    assert "not a medical device" in Messages().caution
    assert "Silence does not mean all is well" in Messages().caution


def test_names_are_told_as_they_are() -> None:
    """Braces and signs in a name are letters like others; an empty name counts as none."""
    assert "{x} & <b>" in Messages(person="{x} & <b>").lines("fire")[-1]
    assert Messages(caregiver="", person="", emergency="").lines("fire") == Messages().lines("fire")


@pytest.mark.parametrize("pattern", PATTERNS)
def test_no_settings_no_doses_no_diagnosis(pattern: str) -> None:
    """Nothing with a number to set, and no name of a state that only a clinic may tell."""
    text = " ".join((Messages().title(pattern), *Messages().lines(pattern))).lower()
    assert not re.search(r"\d|\bset\b|\bsetting|\bvolt|\bpace\b|\bblue\b|\bapn|\boxygen|\bturn (up|down)", text)


def test_words_that_promise_are_nowhere_in_the_package() -> None:
    """Said of the program they would be untrue, and so they stand in no text, code or comment of it."""
    promise = re.compile(r"\b(surely|trust\w*|safe(ly|ty)?|guaranteed?)\b", re.IGNORECASE)
    files = [path for path in PACKAGE.rglob("*") if path.suffix in {".py", ".toml"}]
    assert len(files) > 10
    found = [
        f"{path.name}: {line.strip()}"
        for path in files
        for line in path.read_text().splitlines()
        if promise.search(line.replace("require-trusted-types-for", ""))  # a directive's own name (W3C)
    ]
    assert found == []
