"""The picture of the nights as a drawing in a file (SVG 1.1). Pure."""

from html import escape

from beepwatch.report.actogram import FOOT, HEAD, WIDEST, Frame, draw
from beepwatch.report.figures import Review

WIDTH = 560.0


class _Pen:
    """Collects the pieces of the drawing; see `Pen`."""

    def __init__(self) -> None:
        self.pieces: list[str] = []

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: float | None = None, edge: float | None = None
    ) -> None:
        """A rectangle."""
        inside = "none" if fill is None else _grey(fill)
        line = "" if edge is None else f' stroke="{_grey(edge)}" stroke-width="0.75"'
        self.pieces.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{inside}"{line}/>'
        )

    def line(self, x0: float, y0: float, x1: float, y1: float, *, thick: float = 0.5, grey: float = 0.0) -> None:
        """A straight line."""
        self.pieces.append(
            f'<line x1="{x0:.2f}" y1="{y0:.2f}" x2="{x1:.2f}" y2="{y1:.2f}" stroke="{_grey(grey)}" '
            f'stroke-width="{thick}"/>'
        )

    def say(self, x: float, y: float, text: str, size: float, *, middle: bool = False) -> None:
        """A line of text."""
        anchor = ' text-anchor="middle"' if middle else ""
        self.pieces.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}"{anchor}>{escape(text)}</text>')

    def wide(self, text: str, size: float) -> float:
        """Of letters that are 0.6 of their size wide (judgement: wider than most of any plain font)."""
        return 0.6 * size * len(text)


def picture(review: Review) -> str:
    """All nights of the period, as an element for a page in HTML; its words are in the table that goes with it."""
    pen = _Pen()
    height = HEAD + FOOT + WIDEST * max(1, len(review.nights))
    bottom = draw(pen, review, Frame(0.0, 0.0, WIDTH, height + 0.01))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {bottom:.0f}" role="img" '
        'aria-labelledby="picture-title picture-words" font-family="sans-serif">'
    )
    said = (
        '<title id="picture-title">Each night from noon to noon</title><desc id="picture-words">A row a night. Grey: '
        "listened. White: not listened. An outlined box: a planned pause. Black over the whole row: an alarm of high "
        "priority, over its lower half: of medium priority, a small box: of low priority. The table below says the "
        "same in words.</desc>"
    )
    return "\n".join([head, said, *pen.pieces, "</svg>"])


def _grey(level: float) -> str:
    return "#" + f"{round(255 * level):02x}" * 3
