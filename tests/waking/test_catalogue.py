"""Messages in another language: taken only when a person has checked them and nothing is missing."""

import msgspec
import pytest
import tomlkit

from beepwatch.errors import InputError
from beepwatch.waking.catalogue import Catalogue, english, read
from beepwatch.waking.messages import ISOLATED, RIGHT_TO_LEFT, Messages


def invented(**changes: object) -> str:
    """A language file in a language that nobody speaks: every English line with its letters turned round."""
    whole = msgspec.to_builtins(english())
    whole |= {"language": "qtz", "direction": "rtl", "checked-by": "Noor"}
    alarms = {name: {key: turned(line) for key, line in words.items() if line is not None}
              for name, words in whole["alarm"].items()}  # fmt: skip
    whole |= {"stopped": turned(whole["stopped"]), "alarm": alarms} | changes
    return tomlkit.dumps({key: value for key, value in whole.items() if value is not None})


def turned(line: str) -> str:
    """Its words backwards, blanks left alone."""
    return " ".join(word if "{" in word else word[::-1] for word in line.split(" "))


def test_a_checked_language_speaks_and_shows_right_to_left() -> None:
    """Spoken as it is; on the screen each line is isolated as right to left (UAX #9), the caution too."""
    say = Messages("Anna", "Sam", catalogue=read(invented(), "qtz.toml"))
    assert (say.voice, say.right_to_left) == ("qtz", True)
    assert say.lines_stopped("lead-disconnect")[1] == turned(english().stopped)
    assert not any(RIGHT_TO_LEFT in line for line in say.all_lines())
    rows = say.screen("one", "two").splitlines()
    assert len(rows) == 3
    assert all(row.startswith(RIGHT_TO_LEFT) and row.endswith(ISOLATED) for row in rows)


@pytest.mark.parametrize("name", ["", "   "])
def test_unchecked_emergency_speech_is_refused(name: str) -> None:
    """The line says whose name is missing where, and what to do."""
    with pytest.raises(InputError, match=r"qtz\.toml does not say who checked it: have a person who speaks qtz well"):
        read(invented(**{"checked-by": name}), "qtz.toml")


def test_english_needs_no_name() -> None:
    """It is the one that comes with the program; a household may change its words."""
    assert read(invented(language="en", direction="ltr", **{"checked-by": ""}), "en.toml").language == "en"


def test_a_missing_message_is_refused() -> None:
    """Every alarm needs one: at night is no time to find a hole."""
    some = {"fire": {"title": "a", "well": "b", "check": "c"}}
    with pytest.raises(InputError, match="has no message for backup-battery, battery-critical"):
        read(invented(alarm=some), "qtz.toml")


@pytest.mark.parametrize(("line", "why"), [
    ("{persn} now", "no blank"),
    ("{person.__class__}", "no blank"),
    ("{person!r}", "no blank"),
    ("{person:>20}", "no blank"),
    ("{person", "do not match"),
    ("{}", "no blank"),
])  # fmt: skip
def test_a_blank_that_cannot_be_filled_is_refused(line: str, why: str) -> None:
    """Found at the start, not in the alarm."""
    with pytest.raises(InputError, match=why):
        read(invented(stopped=line), "qtz.toml")


@pytest.mark.parametrize("text", ["no toml", 'language = "qtz"', 'language = "not a tag!"', "language = 3"])
def test_what_is_no_catalogue_is_refused_in_one_line(text: str) -> None:
    """A misspelt key, a missing one, no TOML at all."""
    with pytest.raises(InputError, match="no file of messages") as refused:
        read(text, "qtz.toml")
    assert "\n" not in str(refused.value)


def test_english_is_whole() -> None:
    """Every line of the packaged catalogue can be filled; the words that a pause must say are the issue's own."""
    made: Catalogue = english()
    assert made.paused == "NOT LISTENING until {until}"
    assert Messages().paused("20:40") == "NOT LISTENING until 20:40"
    assert all("{" not in line for line in Messages(people=("Anna", "Ben")).all_lines())
    assert {"Anna. Anna.", "Ben. Ben.", "Wake up. Wake up."} <= set(Messages(people=("Anna", "Ben")).all_lines())
