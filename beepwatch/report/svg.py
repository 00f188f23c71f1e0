"""The picture of the nights as a drawing in a file (SVG 1.1). Pure."""

from html import escape

from beepwatch.report.actogram import FOOT, HEAD, WIDEST, Frame, draw
from beepwatch.report.figures import Review

WIDTH = 560.0
PLAIN = (
    "Grey: listened. White: not listened. An outlined box: a planned pause. Black over the whole row: an alarm of high "
    "priority, over its lower half: of medium priority, a small box: of low priority."
)
THEMED = (
    "A filled band: listened. Bare: not listened. An outlined box: a planned pause. A bar over the whole row: an alarm "
    "of high priority, over its lower half: of medium priority, a small box: of low priority."
)
"""What the shapes mean: on paper, and on a page whose colours are its own."""


class _Pen:
    """Collects the pieces of the drawing; see `Pen`."""

    def __init__(self, themed: bool = False) -> None:
        self.pieces: list[str] = []
        self._themed = themed

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: float | None = None, edge: float | None = None
    ) -> None:
        """A rectangle."""
        line = "" if edge is None else ' stroke-width="0.75"'
        self.pieces.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"{self._look(fill, edge)}{line}/>'
        )

    def line(self, x0: float, y0: float, x1: float, y1: float, *, thick: float = 0.5, grey: float = 0.0) -> None:
        """A straight line."""
        colour = ' class="line"' if self._themed else f' stroke="{_grey(grey)}"'
        self.pieces.append(
            f'<line x1="{x0:.2f}" y1="{y0:.2f}" x2="{x1:.2f}" y2="{y1:.2f}"{colour} stroke-width="{thick}"/>'
        )

    def say(self, x: float, y: float, text: str, size: float, *, middle: bool = False) -> None:
        """A line of text."""
        anchor = ' text-anchor="middle"' if middle else ""
        self.pieces.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}"{anchor}>{escape(text)}</text>')

    def _look(self, fill: float | None, edge: float | None) -> str:
        """Its greys; or, where a page has colours of its own, classes that name them."""
        if not self._themed:
            line = "" if edge is None else f' stroke="{_grey(edge)}"'
            return f' fill="{"none" if fill is None else _grey(fill)}"{line}'
        names = [f"{kind}-{round(100 * grey)}" for kind, grey in (("fill", fill), ("edge", edge)) if grey is not None]
        return f' class="{" ".join(names)}"' + ("" if fill is not None else ' fill="none"')

    def wide(self, text: str, size: float) -> float:
        """Of letters that are 0.6 of their size wide (judgement: wider than most of any plain font)."""
        return 0.6 * size * len(text)


def picture(review: Review, themed: bool = False) -> str:
    """All nights of the period, as an element for a page in HTML; its words are in the table that goes with it.

    themed: without colours; the page gives them to classes such as fill-0 and edge-45 (per cent of white).
    """
    pen = _Pen(themed)
    height = HEAD + FOOT + WIDEST * max(1, len(review.nights))
    bottom = draw(pen, review, Frame(0.0, 0.0, WIDTH, height + 0.01))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {bottom:.0f}" role="img" '
        'aria-labelledby="picture-title picture-words" font-family="sans-serif">'
    )
    said = (
        '<title id="picture-title">Each night from noon to noon</title><desc id="picture-words">A row a night. '
        f"{THEMED if themed else PLAIN} The table below says the same in words.</desc>"
    )
    return "\n".join([head, said, *pen.pieces, "</svg>"])


def _grey(level: float) -> str:
    return "#" + f"{round(255 * level):02x}" * 3
