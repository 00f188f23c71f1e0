"""Questions, pictures and texts of teaching: clear, easy to read, and never asking to unplug anything."""

from io import StringIO

import pytest
import textstat

from beepwatch.bedroom.candidates import Candidate
from beepwatch.bedroom.learning import Learned
from beepwatch.bedroom.picture import BARS, PLAIN, bar, pens, rhythm, trace
from beepwatch.bedroom.talk import NoAnswer, Talk
from beepwatch.bedroom.words import NEVER_UNPLUG, few, in_figures, in_words, kept, listed, picture
from beepwatch.cli.teach import ABOUT
from tests.bedroom.taught import Told, beep
from tests.test_settings import sounder

FOUND = Learned(2730.4, 1e-5, 0.98, (-12.0, None, -35.0), 0.093, 0.07, 1.2, -41.0, 6, 4.0)
BEEPS = Candidate(tuple(beep(4.0 * i) for i in range(6)), "lead-disconnect")


def grade(text: str) -> float:
    return float(textstat.flesch_kincaid_grade(text))


@pytest.mark.parametrize(
    "text",
    [
        NEVER_UNPLUG,
        ABOUT,
        few(BEEPS),
        *(in_words(FOUND, alarm) for alarm in ("lead-disconnect", "battery-critical", "backup-battery", None)),
        *(kept(sounder(role=role)) for role in ("wake", "log", "ignore")),
    ],
)
def test_texts_read_at_grade_6_or_lower(text: str) -> None:
    """By Flesch-Kincaid, as an independent package measures it."""
    assert grade(text.replace("\n", " ")) <= 6


@pytest.mark.parametrize("text", [NEVER_UNPLUG, ABOUT])
def test_nobody_is_asked_to_unplug(text: str) -> None:
    """It says never, and that a trained person is awake beside them whenever the cable is off."""
    flat = text.replace("\n", " ")
    assert "Never unplug a cable to teach me." in flat
    assert "A trained person must be awake beside them" in flat


def test_what_was_heard_in_words() -> None:
    """Tone, count, length, rhythm, alarm, buzz; figures for those who like them."""
    assert in_words(FOUND, "lead-disconnect") == (
        "I heard 6 beeps at 2730 Hz. Each was about 1.2 s long. A new one came each 4.0 s. "
        "It beeped like the cable alarm. It buzzes: I hear it at 2 times the tone too. It fades in. A room can do that."
    )
    assert "2 x tone -12 dB, 3 x tone hidden, 4 x tone -35 dB, rise 93 ms" in in_figures(FOUND)


def test_the_picture_shows_rhythm_and_harmonics() -> None:
    """Six beeps as six dark places, and a bar for the tone and for each harmonic; one more line for nothing."""
    first, tone, second, third, fourth = picture(BEEPS, FOUND, BARS).splitlines()
    assert first.count("▁█") == 6
    assert tone.strip() == "tone " + "█" * 20
    assert second.strip().startswith("2 x " + "█" * 14)
    assert third.strip() == "3 x"
    assert fourth.strip().startswith("4 x ██")


def test_an_ascii_terminal_gets_ascii() -> None:
    """And one that shows more gets more."""
    assert (pens("utf-8"), pens("ascii"), pens("latin-1"), pens(None)) == (BARS, PLAIN, PLAIN, PLAIN)
    assert rhythm([(0, 1), (4, 1)], PLAIN).isascii()
    assert bar(-20, 0, PLAIN, width=10).strip() == "#" * 5


def test_levels_become_a_trace_within_its_bounds() -> None:
    """Below the lowest and above the highest too."""
    assert trace([-90, -60, -30, 0], -60, -30) == "▁▁██"


def test_enter_takes_the_default_and_beginnings_are_enough() -> None:
    """And each question is counted."""
    told = Told("", "Y", "ig", "  Sam  ")
    assert told.talk.yes("Well?", default=False) is False
    assert told.talk.yes("Well?", default=False) is True
    assert told.talk.choose("What?", ("wake", "log", "ignore"), "log") == "ignore"
    assert told.talk.ask("Name?") == "Sam"
    assert told.talk.questions == 4
    assert "Well? (y/n) [n]" in told.said


def test_an_answer_that_does_not_fit_is_asked_for_again_three_times() -> None:
    """Then it ends in one line."""
    told = Told("perhaps", "y")
    assert told.talk.yes("Well?", default=False)
    assert "I did not understand that." in told.said
    with pytest.raises(NoAnswer, match="'c' is no answer"):
        Told("a", "b", "c").talk.yes("Well?", default=True)


def test_the_end_of_the_input_is_told() -> None:
    """Not taken for a yes."""
    with pytest.raises(NoAnswer, match="no answer came"):
        Talk(StringIO(""), StringIO()).yes("Well?", default=True)


def test_a_line_is_drawn_over_only_in_a_terminal() -> None:
    """A pipe gets none of it."""
    told = Told()
    told.talk.over("a level")
    assert told.said == ""


def test_a_taught_beep_in_one_line() -> None:
    """Role, whose, tone, length and day."""
    assert listed(sounder(), device=True) == "device: wake, your device, 2730.0 Hz, 1.2 s, taught 2026-03-01"
