"""Two sheets, whatever there is to tell: read back by pypdf, and looked at as pictures by poppler."""

import re
import shutil
import subprocess
import unicodedata
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader
from pypdf.generic import ContentStream

from beepwatch.paper.caution import CAUTION
from beepwatch.paper.fonts import MISSING, Fonts
from beepwatch.paper.sheet import SIZES, Size
from beepwatch.report import words
from beepwatch.report.actogram import HEARD, LEFT, RIGHT
from beepwatch.report.figures import Review
from beepwatch.report.paper import MARGIN, drawn
from tests.paper.test_fonts import NAMES, needs_fonts

WHICH = ("ordinary_review", "full_review", "empty_review", "hostile_review")


@pytest.fixture(params=WHICH)
def review(request: pytest.FixtureRequest) -> Review:
    found: Review = request.getfixturevalue(request.param)
    return found


def pages(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


@pytest.mark.parametrize("size", SIZES)
def test_always_two_pages_that_say_what_they_are(review: Review, size: Size) -> None:
    """The caution, the origin and the last hash; of the right size; no picture but lines and boxes."""
    pdf = drawn(review, size)
    first, second = pages(pdf)
    assert CAUTION in first
    for number, page in enumerate((first, second), 1):
        assert words.ORIGIN in page
        assert f"Last hash of the history: {review.last_hash}" in page
        assert f"Page {number} of 2" in page
    for sheet in PdfReader(BytesIO(pdf)).pages:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(SIZES[size])
        assert list(sheet.images) == []


def test_all_sections_are_searchable_text(ordinary_review: Review) -> None:
    """Every figure of the first page, and every heading and line of the second, as a reader finds them."""
    first, second = pages(drawn(ordinary_review))
    for what, told in words.listening(ordinary_review):
        assert what in first
        assert told.split(";")[0].split(",")[0] in first
    for kind in ordinary_review.kinds:
        for cell in words.kind_row(kind):
            assert cell in first
    for line in words.change_lines(ordinary_review):
        assert line in first
    for section in words.sections(ordinary_review):
        assert section.title in second
        for entry in section.entries:
            for line in entry:
                assert line in second


@pytest.mark.parametrize("size", SIZES)
def test_no_figure_of_the_first_page_is_cut(full_review: Review, size: Size) -> None:
    """Also where they are long."""
    first, _ = pages(drawn(full_review, size))
    assert "..." not in first
    assert all(cell in first for kind in full_review.kinds for cell in words.kind_row(kind))


def test_what_does_not_fit_is_told_with_where_it_is(full_review: Review) -> None:
    """Hundreds of alarms: how many are left out, in the section they are missing from."""
    assert len(full_review.high) > 100
    _, second = pages(drawn(full_review))
    shown = second.count("Evidence:")
    assert shown >= 10
    assert f"and {len(full_review.high) - shown} more, left out here for want of room" in second
    assert "all are in the report in HTML, and in `beepwatch history --since 2026-01-30 --until 2026-04-01`" in second


def test_more_nights_than_there_is_room_for(ordinary_review: Review) -> None:
    """The newest are drawn, and it is told how many are not."""
    long = replace(ordinary_review, nights=ordinary_review.nights * 3)
    first, _ = pages(drawn(long))
    found = re.search(r"The newest (\d+) nights are drawn; (\d+) before are in the report in HTML", first)
    assert found is not None
    assert int(found[1]) + int(found[2]) == 183


def test_the_same_figures_give_the_same_bytes(review: Review) -> None:
    """Two prints do not differ."""
    assert drawn(review) == drawn(review)


def test_all_fonts_that_letters_use_are_embedded(ordinary_review: Review) -> None:
    """So that it looks the same on the clinic's computer."""
    for page in PdfReader(BytesIO(drawn(ordinary_review))).pages:
        fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]  # a PDF object
        used = {str(operands[0]) for operands, operator in operations(page) if operator == b"Tf"}
        embedded = [name for name in used if "/FontFile2" in fonts[name].get("/FontDescriptor", {})]
        written = {name for name in used if "Helvetica" not in str(fonts[name]["/BaseFont"])}
        assert written
        assert set(embedded) == written


def operations(page: Any) -> list[tuple[Any, bytes]]:
    return list(ContentStream(page.get_contents(), page.pdf).operations)


def test_the_picture_is_to_scale(ordinary_review: Review) -> None:
    """Each grey box of listening stands at its hours, on one scale (read by pypdf)."""
    page = PdfReader(BytesIO(drawn(ordinary_review))).pages[0]
    scale = (SIZES["a4"][0] - 2 * MARGIN - LEFT - RIGHT) / 24
    found, grey, last = [], None, (0.0, 0.0)
    for operands, operator in operations(page):
        if operator == b"g":
            grey = float(operands[0])
        elif operator == b"re":
            last = (float(operands[0]), float(operands[2]))
        elif operator in (b"f", b"f*") and grey == HEARD and last[1] != 12:  # 12: the legend's
            found.append(last)
    expected = [
        (MARGIN + LEFT + begin * scale, (end - begin) * scale)
        for night in ordinary_review.nights
        for begin, end in night.heard
    ]
    assert len(expected) > 61
    assert np.allclose(found, expected, atol=0.01)


@needs_fonts
@pytest.mark.parametrize("script", NAMES)
def test_a_name_in_its_own_script(ordinary_review: Review, script: str) -> None:
    """Drawn, on both lines that hold it; or else the clear word (tests/paper looks at the letters)."""
    name = NAMES[script]
    first, _ = pages(drawn(replace(ordinary_review, person=name)))
    assert MISSING not in first
    assert "What a listener heard" in first or script in ("Hebrew", "Arabic")


def test_a_name_without_a_font_is_told_by_a_clear_word(ordinary_review: Review) -> None:
    """With reportlab's own Latin font alone."""
    import reportlab  # noqa: PLC0415 - only its own font is wanted

    fonts = Fonts([Path(reportlab.__file__).parent / "fonts"])
    told = ordinary_review.high[-1]
    named = replace(told, alarm=replace(told.alarm, answered_by=NAMES["Korean"]))
    first, second = pages(drawn(replace(ordinary_review, person=f"小 {NAMES['Chinese']}", high=(named,)), fonts=fonts))
    assert f"What a listener heard of {MISSING} device" in first
    assert f"by {MISSING} it was" in second.replace(";", "")
    assert "Evidence: 18 beeps" in second


def test_hostile_words_change_nothing_else(hostile_review: Review) -> None:
    """A million letters, tags, formulas, turned writing and NUL: cut, told, and on no line but their own."""
    _, second = pages(drawn(hostile_review))
    assert "(1000000 letters; whole in the history)" in second
    assert not any(unicodedata.category(letter) == "Cc" for letter in second)


needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils")


def picture(pdf: bytes, folder: Path, *options: str) -> "np.ndarray[Any, np.dtype[np.uint8]]":
    """The first page as poppler shows it, 100 dots an inch, shape (rows, columns, channels)."""
    (folder / "report.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", "100", "-f", "1", "-l", "1", *options, "report.pdf", "page"], cwd=folder, check=True,
        timeout=60,
    )  # fmt: skip
    (file,) = folder.glob("page-*")
    head = re.match(rb"(P[56])\s+(\d+)\s+(\d+)\s+255\s", file.read_bytes())
    assert head is not None
    wide, high = int(head[2]), int(head[3])
    return np.frombuffer(file.read_bytes()[head.end() :], np.uint8).reshape(high, wide, -1)


@needs_poppler
@pytest.mark.parametrize("size", SIZES)
def test_it_reads_in_grey_and_stays_off_the_edges(full_review: Review, size: Size, tmp_path: Path) -> None:
    """There is no colour to lose; listened, not listened and alarm are three tones; no ink in the margins."""
    shown = picture(drawn(full_review, size), tmp_path)
    assert np.ptp(shown.astype(int), axis=2).max() == 0
    tones = np.bincount(shown[:, :, 0].ravel(), minlength=256)
    heard = round(255 * HEARD)
    assert min(tones[0:40].sum(), tones[heard - 2 : heard + 3].sum(), tones[255]) > 2000
    edge = int(30 / 72 * 100)
    for side in (shown[:edge], shown[-edge:], shown[:, :edge], shown[:, -edge:]):
        assert side.min() == 255
