"""A name is drawn in its own script, or a clear word stands in its place."""

import unicodedata
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from beepwatch.paper.fonts import MISSING, Fonts, shaped
from beepwatch.paper.sheet import Sheet, Style

NAMES = {
    "Latin": "Zoë Řezníčková",
    "Greek": "Ελένη",
    "Cyrillic": "Сергей",
    "Hebrew": "שרה",
    "Arabic": "سليم",
    "Chinese": "小明",
    "Japanese": "さくら",
    "Korean": "지우",
}
TURNED = ("Hebrew", "Arabic")
DEBIAN = Path("/usr/share/fonts/truetype")
needs_fonts = pytest.mark.skipif(
    not (DEBIAN / "dejavu").is_dir() or not all((DEBIAN / name).is_dir() for name in ("droid", "nanum")),
    reason="needs Debian's fonts-dejavu-core, fonts-droid-fallback and fonts-nanum",
)


def read(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)


@needs_fonts
@pytest.mark.parametrize("script", NAMES)
def test_a_name_is_drawn_in_its_script_and_can_be_searched(script: str) -> None:
    """An independent reader (pypdf) finds the name; what runs from right to left is found as it is drawn."""
    name = NAMES[script]
    sheet = Sheet("a4", "names")
    sheet.text(40, 40, name, Style())
    told = unicodedata.normalize("NFKC", read(sheet.finish()))
    wanted = unicodedata.normalize("NFKC", shaped(name))
    assert wanted in told or (script in TURNED and wanted[::-1] in told)


@needs_fonts
def test_all_fonts_are_embedded() -> None:
    """Each font of the paper carries its outlines, so that it looks the same on the clinic's computer."""
    sheet = Sheet("a4", "names")
    for i, name in enumerate(NAMES.values()):
        sheet.text(40, 40 + 20 * i, name, Style())
    fonts = PdfReader(BytesIO(sheet.finish())).pages[0]["/Resources"]["/Font"]  # type: ignore[index]  # a PDF object
    drawn = [font.get_object() for font in fonts.values() if "Helvetica" not in str(font.get_object()["/BaseFont"])]
    assert len(drawn) >= 2
    assert all("/FontFile2" in font["/FontDescriptor"] for font in drawn)


def test_a_script_without_a_font_is_told_in_words(tmp_path: Path) -> None:
    """Where only reportlab's own Latin font is, a Chinese name is replaced by a clear word, never by empty boxes."""
    import reportlab  # noqa: PLC0415 - only its own font is wanted

    fonts = Fonts([Path(reportlab.__file__).parent / "fonts"])
    assert not fonts.drawable(NAMES["Chinese"])
    assert "".join(run.text for run in fonts.runs(NAMES["Chinese"])) == MISSING
    assert fonts.drawable("Sam")


def test_no_font_at_all_is_an_error_of_ours(tmp_path: Path) -> None:
    """An empty folder is told, not drawn as nothing."""
    with pytest.raises(LookupError, match="no font"):
        Fonts([tmp_path]).runs("Sam")


@given(st.text(max_size=40))
def test_any_text_can_be_drawn(text: str) -> None:
    """Control letters, lone surrogates, emoji, marks: something is drawn, nothing fails."""
    sheet = Sheet("letter", "any")
    sheet.block(40, 40, text, Style(), 100)
    assert sheet.finish().startswith(b"%PDF")
