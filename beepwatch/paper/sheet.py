"""A sheet to draw on: points from the top left corner, text in every script, lines broken at a width."""

from dataclasses import dataclass
from io import BytesIO
from typing import Literal, TypeAlias

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from beepwatch.paper.fonts import Fonts

Size: TypeAlias = Literal["a4", "letter"]
SIZES: dict[Size, tuple[float, float]] = {"a4": A4, "letter": LETTER}
"""Points (ISO 216; ANSI/ASME Y14.1, from memory)."""
LEADING = 1.25
"""Line pitch over the size of the letters (common practice, no source)."""
Align: TypeAlias = Literal["left", "right", "middle"]


@dataclass(frozen=True, slots=True)
class Style:
    """How letters look. grey: 0 black to 1 white."""

    size: float = 10.0
    bold: bool = False
    grey: float = 0.0


class Sheet:
    """Pages of one paper. y grows downwards from the top edge."""

    def __init__(self, size: Size, title: str, fonts: Fonts | None = None) -> None:
        """Begin the first page; title: what a reader shows as the document's name."""
        self.fonts = fonts or Fonts()
        self.width, self.height = SIZES[size]
        self._bytes = BytesIO()
        self._canvas = Canvas(self._bytes, pagesize=SIZES[size], invariant=1, lang="en")
        self._canvas.setTitle(title)
        self._canvas.setAuthor("beepwatch")

    def text(self, x: float, y: float, text: str, style: Style, align: Align = "left") -> float:
        """Write one line with its base line at y; return the x at its end."""
        wide = self.fonts.width(text, style.size, style.bold)
        x -= {"left": 0.0, "middle": wide / 2, "right": wide}[align]
        self._canvas.setFillGray(style.grey)
        for run in self.fonts.runs(text, style.bold):
            self._canvas.setFont(run.font, style.size)
            self._canvas.drawString(x, self.height - y, run.text)
            x += self._canvas.stringWidth(run.text, run.font, style.size)
        return x

    def block(self, x: float, y: float, text: str, style: Style, width: float) -> float:
        """Write lines no wider than `width`, the first base line at y; return the y where another may follow."""
        for line in self.broken(text, style, width):
            self.text(x, y, line, style)
            y += style.size * LEADING
        return y

    def broken(self, text: str, style: Style, width: float) -> list[str]:
        """The text in lines no wider than `width`; a word that is wider is cut."""
        lines = [""]
        for word in text.split():
            longer = f"{lines[-1]} {word}".strip()
            if self.fonts.width(longer, style.size, style.bold) <= width:
                lines[-1] = longer
            else:
                lines += self._cut(word, style, width)
        return [line for line in lines if line]

    def _cut(self, word: str, style: Style, width: float) -> list[str]:
        """A word in pieces that fit, nearly always one."""
        parts = [""]
        for letter in word:
            if parts[-1] and self.fonts.width(parts[-1] + letter, style.size, style.bold) > width:
                parts.append("")
            parts[-1] += letter
        return parts

    def line(self, x0: float, y0: float, x1: float, y1: float, *, thick: float = 0.5, grey: float = 0.0) -> None:
        """A straight line."""
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(thick)
        self._canvas.line(x0, self.height - y0, x1, self.height - y1)

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: float | None = None, edge: float | None = None
    ) -> None:
        """A rectangle from its top left corner; fill and edge: grey, None for none."""
        if fill is not None:
            self._canvas.setFillGray(fill)
        if edge is not None:
            self._canvas.setStrokeGray(edge)
            self._canvas.setLineWidth(0.75)
        self._canvas.rect(x, self.height - y - height, width, height, stroke=edge is not None, fill=fill is not None)

    def turn(self) -> None:
        """Go on on another page."""
        self._canvas.showPage()

    def finish(self) -> bytes:
        """The whole paper as a PDF."""
        self._canvas.save()
        return self._bytes.getvalue()
