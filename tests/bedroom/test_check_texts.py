"""All texts of a check: easy to read, and claiming nothing."""

import re
from datetime import UTC, datetime

import pytest
import textstat

from beepwatch.bedroom import plan
from beepwatch.bedroom.findings import Kind, finding, kinds
from beepwatch.bedroom.places import Margin, Match, Measured
from beepwatch.bedroom.results import Beside, Kept, Place
from beepwatch.cli import parser

AT = datetime(2026, 1, 2, tzinfo=UTC)
FIGURES = (2.0, 12.0, 120.0)
FORBIDDEN = re.compile(r"\b(surely|trust\w*|safe\w*|guarantee\w*)\b", re.IGNORECASE)


@pytest.mark.parametrize("kind", kinds())
@pytest.mark.parametrize("figure", FIGURES)
def test_each_finding_reads_at_grade_7_or_lower(kind: Kind, figure: float) -> None:
    """What was found, what to do, and both together (Flesch-Kincaid, by an independent package)."""
    told = finding(kind, figure)
    assert textstat.flesch_kincaid_grade(f"{told.says} {told.do}") <= 7
    assert not FORBIDDEN.search(f"{told.says} {told.do}")


def test_a_wrong_rate_says_which_way() -> None:
    """Too high and too low, never a minus sign."""
    assert "8.8 % too high" in finding("wrong-rate", 8.8).says
    assert "8.1 % too low" in finding("wrong-rate", -8.1).says


def test_what_is_said_of_places_is_easy_too() -> None:
    """Every sentence of a plan and of a match."""
    phone = Measured(5, -40.0, 2.0, -60.0)
    places = [Place("bed", AT, phone, Margin(spare, 6.0)) for spare in (20.0, 12.0, 3.0, -3.0)]
    kepts = [Kept(), Kept(beside=Beside(AT, phone, None)), Kept(beside=Beside(AT, phone, Match(3.0, 1.0)))]
    said = [plan.ADVICE, *map(plan.place_line, places), *(line for kept in kepts for line in plan.match_words(kept))]
    for text in said:
        assert textstat.flesch_kincaid_grade(text) <= 7, text
        assert not FORBIDDEN.search(text)


def test_the_help_claims_nothing_and_asks_nobody_to_unplug(capsys: pytest.CaptureFixture[str]) -> None:
    """It has an example of each step, and says that the cable stays on."""
    with pytest.raises(SystemExit):
        parser().parse_args(["check", "--help"])
    told = capsys.readouterr().out
    assert "Nobody has to take the cable off" in told
    assert "beepwatch check --beep beep.wav" in told
    assert not FORBIDDEN.search(told)
