"""Fonts for every script a name may have: which of this computer's fonts can draw a text, and its shaping.

Only TrueType outlines can be put into the paper (reportlab); what no font here can draw is told by a clear word.
"""

import os
import sys
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

MISSING = "(a name in a script that this computer has no font for)"
"""Said in place of a text that cannot be drawn."""
FACES = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"),
    ("NotoSansHebrew-Regular.ttf", "NotoSansHebrew-Bold.ttf"),
    ("NotoSansArabic-Regular.ttf", "NotoSansArabic-Bold.ttf"),
    ("NotoNaskhArabic-Regular.ttf", "NotoNaskhArabic-Bold.ttf"),
    ("DroidSansFallbackFull.ttf", "DroidSansFallbackFull.ttf"),
    ("NanumGothic.ttf", "NanumGothicBold.ttf"),
    ("wqy-microhei.ttc", "wqy-microhei.ttc"),
    ("Arial Unicode.ttf", "Arial Unicode.ttf"),
    ("arial.ttf", "arialbd.ttf"),
    ("msyh.ttc", "msyhbd.ttc"),
    ("msgothic.ttc", "msgothic.ttc"),
    ("malgun.ttf", "malgunbd.ttf"),
    ("Vera.ttf", "VeraBd.ttf"),
)
"""Files of regular and bold faces in the order in which they are tried; the last pair comes with reportlab."""


@dataclass(frozen=True, slots=True)
class Run:
    """A piece of a line that one font draws."""

    font: str
    """Its name with reportlab."""
    text: str


def folders() -> list[Path]:
    """Where the platform keeps fonts, and where reportlab keeps its own."""
    import reportlab  # noqa: PLC0415 - only its place is wanted

    home = Path.home()
    if sys.platform == "darwin":
        places = [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    elif sys.platform == "win32":
        places = [Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts"]
    else:
        places = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".local/share/fonts"]
    return [*places, Path(reportlab.__file__).parent / "fonts"]


class Fonts:
    """The fonts of one computer.

    places: folders in which fonts are looked for, by default the platform's.
    """

    def __init__(self, places: "list[Path] | None" = None) -> None:
        files = _files(tuple(folders() if places is None else places))
        found = [(files[name], files.get(heavy, files[name])) for name, heavy in FACES if name in files]
        self._faces = {False: [regular for regular, _ in found], True: [bold for _, bold in found]}

    def runs(self, text: str, bold: bool = False) -> list[Run]:
        """The line, shaped and in the order in which it is drawn; MISSING where a letter has no font.

        Raises LookupError where there is no font at all.
        """
        shown = shaped(text)
        named = [(self._face_of(letter, bold), letter) for letter in shown]
        if any(face is None for face, _ in named):
            return self.runs(MISSING, bold) if text != MISSING else []
        return [Run(str(face), "".join(c for _, c in part)) for face, part in groupby(named, key=lambda item: item[0])]

    def width(self, text: str, size: float, bold: bool = False) -> float:
        """Points that the line takes."""
        return float(sum(pdfmetrics.stringWidth(run.text, run.font, size) for run in self.runs(text, bold)))

    def drawable(self, text: str) -> bool:
        """Whether each letter has a font."""
        return all(self._face_of(letter, False) is not None for letter in shaped(text))

    def _face_of(self, letter: str, bold: bool) -> str | None:
        faces = self._faces[bold]
        if not faces:
            raise LookupError("no font was found")
        return next((name for path in faces if letter in _letters(name := _registered(path))), None)


@cache
def _files(places: tuple[Path, ...]) -> dict[str, Path]:
    """Every font file by its name, the first of each."""
    found: dict[str, Path] = {}
    for place in places:
        for path in sorted(_walk(place)):
            found.setdefault(path.name, path)
    return found


def _walk(place: Path) -> Iterator[Path]:
    wanted = {name for pair in FACES for name in pair}
    for folder, _, names in os.walk(place):
        yield from (Path(folder) / name for name in names if name in wanted)


@cache
def _registered(path: Path) -> str:
    """Make the font known to reportlab; return its name there, or "" where it cannot be put into a paper."""
    try:
        pdfmetrics.registerFont(TTFont(path.stem, str(path), subfontIndex=0))
    except (TTFError, OSError):
        return ""
    return path.stem


@cache
def _letters(name: str) -> frozenset[str]:
    """What the font can draw."""
    if not name:
        return frozenset()
    return frozenset(map(chr, pdfmetrics.getFont(name).face.charToGlyph))


def shaped(text: str) -> str:
    """The text as it is drawn from left to right: Arabic letters joined, right-to-left scripts turned (UAX #9).

    Control letters, line ends among them, become spaces.
    """
    plain = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    plain = "".join(c for c in plain if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    plain = unicodedata.normalize("NFC", plain)
    if not any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in plain):
        return plain
    import arabic_reshaper  # noqa: PLC0415 - few need it
    from bidi import get_display  # noqa: PLC0415

    return str(get_display(arabic_reshaper.reshape(plain)))
