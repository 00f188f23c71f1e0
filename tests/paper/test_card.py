"""The card by the bed says who goes, whom to look at first and whom to call, and draws the sounds to scale."""

import re
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from pypdf.generic import ContentStream

from beepwatch.bedroom.bedside import card_of
from beepwatch.cli import main
from beepwatch.paper.card import MARGIN, SOUNDS, SPAN, drawn
from beepwatch.paper.caution import CAUTION
from beepwatch.paper.sheet import SIZES, Size
from beepwatch.settings.household import Household
from beepwatch.settings.model import decode

SETTINGS = """
[names]
person = "Sam"
caregiver = "Anna"
second = "Ben"
[words]
emergency = "112"
backup-plan = "the hand bag plan"
"""


def home(text: str = SETTINGS) -> Household:
    return Household(Path(), decode(text))


def read(pdf: bytes) -> str:
    (page,) = PdfReader(BytesIO(pdf)).pages
    return " ".join(page.extract_text().split())


@pytest.mark.parametrize("size", SIZES)
def test_one_page_says_what_a_tired_parent_needs(size: Size) -> None:
    """Who goes and who is next, the person first, plan, number, each sound; one page, with the caution."""
    told = read(drawn(card_of(home(), ("Clinic: 0123 456",), "https://listener.local:8443"), size))
    for words in (
        "Who goes: Anna. If there is no answer: Ben.",
        "Look at Sam first",
        "Start the hand bag plan. Call 112.",
        "Clinic: 0123 456",
        "https://listener.local:8443",
        "as your clinic showed you",
        CAUTION,
        *(f"You hear {tones.says}." for tones in SOUNDS),
    ):
        assert words in told


def test_without_names_there_is_room_to_write() -> None:
    """A family that has set nothing gets the plain words and a line for the name."""
    told = read(drawn(card_of(home(""))))
    assert "Who goes: ____" in told
    assert "your local emergency number" in told


def test_a_sound_that_the_device_does_not_have_is_left_out() -> None:
    """What the family answered "no" to is not on the card."""
    told = read(drawn(card_of(home('[armed]\nbackup-battery = "no"'))))
    assert "10 seconds" not in told
    assert "20 seconds" in told


def boxes(pdf: bytes) -> list[tuple[float, float]]:
    """(x, width) of each filled black rectangle."""
    reader = PdfReader(BytesIO(pdf))
    stream = ContentStream(reader.pages[0].get_contents(), reader)
    found: list[tuple[float, float]] = []
    last: tuple[float, float] = (0.0, 0.0)
    for operands, operator in stream.operations:
        if operator == b"re":
            last = (float(operands[0]), float(operands[2]))
        elif operator in (b"f", b"f*"):
            found.append(last)
    return found


def test_the_sounds_are_drawn_to_scale() -> None:
    """Each beep's place and length on the paper are its time, on one scale for all three sounds (read by pypdf)."""
    scale = (SIZES["a4"][0] - 2 * MARGIN) / SPAN
    expected = []
    for tones in SOUNDS:
        begin = 0.0
        while begin < SPAN:
            expected.append((MARGIN + begin * scale, tones.long * scale))
            begin += tones.every
    assert [pytest.approx(pair, abs=0.01) for pair in expected] == boxes(drawn(card_of(home())))


def test_the_same_settings_give_the_same_bytes() -> None:
    """Two prints do not differ."""
    assert drawn(card_of(home())) == drawn(card_of(home()))


def test_long_and_hostile_texts_stay_on_the_page() -> None:
    """A name of the longest length, without any space, does not run over the edge or onto a second page."""
    text = SETTINGS.replace("Sam", "W" * 60).replace("Anna", "<b>'=1+1" * 6)
    assert len(PdfReader(BytesIO(drawn(card_of(home(text), ("x" * 60,) * 4)))).pages) == 1


def test_the_verb_writes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`beepwatch card -o FILE` writes the page and asks to look at the numbers."""
    out = tmp_path / "card.pdf"
    assert main(["card", "-o", str(out), "--config", str(tmp_path), "--paper", "letter"]) == 0
    assert re.match(rb"%PDF", out.read_bytes())
    assert "numbers are right" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--page-at", "https://listener.local:8443/#code"], "a code is nobody else's"),
        (["--number", "1"] * 5, "4 lines fit"),
        ([], "cannot write"),
    ],
)
def test_bad_input_is_one_line(words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pairing code, too many numbers, a place that cannot be written to: exit 2 and what to do."""
    out = tmp_path / "none" / "card.pdf"
    assert main(["card", "-o", str(out), "--config", str(tmp_path), *words]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
