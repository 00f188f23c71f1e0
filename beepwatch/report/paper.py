"""The report on two sheets, A4 or Letter: always two, and what does not fit is told with where it is."""

from dataclasses import dataclass

from beepwatch.paper.caution import CAUTION
from beepwatch.paper.fonts import MISSING, Fonts
from beepwatch.paper.sheet import LEADING, Sheet, Size, Style
from beepwatch.report import words
from beepwatch.report.actogram import Frame, draw, fitting
from beepwatch.report.figures import Review
from beepwatch.report.words import Section

MARGIN = 36.0
"""Points: what home printers leave free at most is under this (common practice, no source)."""
TITLE, HEAD, PLAIN, SMALL = Style(15, True), Style(9.5, True), Style(8), Style(7)
FOOT = 34.0
"""Points that the foot takes."""
CHANGES, KINDS = 5, 8
"""Lines and rows at most on the first sheet; the file in HTML has all."""
MOST = 90
"""Entries of a section that a sheet can have room for: it has fewer lines."""
LONGEST_TITLE = 2
"""Lines."""
INDENT, LABEL = 8.0, 72.0
TWICE = (MISSING, MISSING)
LINES = 5
"""Of an entry's line: 300 wide letters and how many are left out take no more."""


def drawn(review: Review, size: Size = "a4", fonts: Fonts | None = None) -> bytes:
    """The report as a PDF of two pages; the same figures give the same bytes."""
    sheet = Sheet(size, words.title(review), fonts)
    _first(sheet, review)
    _foot(sheet, review, 1)
    sheet.turn()
    _second(sheet, review)
    _foot(sheet, review, 2)
    return sheet.finish()


class _Ink:
    """A sheet as the pen of the picture."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self.box, self.line = sheet.box, sheet.line

    def say(self, x: float, y: float, text: str, size: float, *, middle: bool = False) -> None:
        """See `Pen`."""
        self._sheet.text(x, y, text, Style(size), "middle" if middle else "left")

    def wide(self, text: str, size: float) -> float:
        """See `Pen`."""
        return self._sheet.fonts.width(text, size)


def fitted(sheet: Sheet, text: str, style: Style, width: float) -> str:
    """The text, or as much of it as fits with dots behind it."""
    if sheet.fonts.width(text, style.size, style.bold) <= width:
        return text
    short = text[: int(width)]  # no letter is under a point wide at the sizes used here
    while short and sheet.fonts.width(f"{short}...", style.size, style.bold) > width:
        short = short[:-1]
    return f"{short}..."


def _first(sheet: Sheet, review: Review) -> None:
    wide = sheet.width - 2 * MARGIN
    y = MARGIN + 12
    for line in _few(sheet.broken(_clear(sheet, words.title(review)), TITLE, wide), LONGEST_TITLE):
        sheet.text(MARGIN, y, line, TITLE)
        y += TITLE.size * LEADING
    y = sheet.block(MARGIN, y - 3, words.period_line(review), PLAIN, wide)
    y = sheet.block(MARGIN, y + 2, CAUTION, PLAIN, wide) + 4
    left = wide * 0.37
    ends = _listening(sheet, review, MARGIN, y, left), _kinds(sheet, review, MARGIN + left + 14, y, wide - left - 14)
    y = _changes(sheet, review, max(ends) + 4, wide)
    _picture(sheet, review, y + 4, wide)


def _heading(sheet: Sheet, x: float, y: float, text: str, width: float) -> float:
    sheet.text(x, y + 9, text, HEAD)
    sheet.line(x, y + 12, x + width, y + 12, grey=0.4)
    return y + 22


def _listening(sheet: Sheet, review: Review, x: float, y: float, width: float) -> float:
    y = _heading(sheet, x, y, "Listening", width)
    for what, told in words.listening(review):
        sheet.text(x, y, what, SMALL)
        for line in _few(sheet.broken(told, SMALL, width - LABEL), 4):
            sheet.text(x + LABEL, y, line, SMALL)
            y += 9
        y += 1
    return y


def _kinds(sheet: Sheet, review: Review, x: float, y: float, width: float) -> float:
    y = _heading(sheet, x, y, "Alarms by kind", width)
    if not review.kinds:
        return sheet.block(x, y, "None was heard." if review.seconds > 0 else words.UNHEARD, SMALL, width)
    places = [0.0, 0.235, 0.345, 0.435, 0.59, 0.735, 1.0]
    headings = ("Alarm", "Priority", "Count", "Together", "Longest", "In 100 h (95 %)")
    shown = review.kinds[: KINDS if len(review.kinds) <= KINDS else KINDS - 1]
    for number, row in enumerate((headings, *(words.kind_row(kind) for kind in shown))):
        for place, after, cell in zip(places, places[1:], row, strict=False):
            style = Style(SMALL.size, number == 0 or place == 0)
            sheet.text(x + place * width, y, fitted(sheet, cell, style, (after - place) * width - 3), style)
        y += 10
    if len(shown) < len(review.kinds):
        sheet.text(x, y, f"and {len(review.kinds) - len(shown)} kinds more: see the report in HTML", SMALL)
        y += 10
    drills = "" if not review.drills else f" Drills are not counted: {review.drills}."
    told = f"The rate is of occasions, with its exact interval.{drills}"
    return sheet.block(x, y, told, Style(SMALL.size, grey=0.25), width)


def _changes(sheet: Sheet, review: Review, y: float, width: float) -> float:
    y = _heading(sheet, MARGIN, y, "Against the period before", width)
    lines = words.change_lines(review)
    shown = lines if len(lines) <= CHANGES + 1 else lines[:CHANGES]
    for line in shown:
        for part in _few(sheet.broken(line, SMALL, width), 2):
            sheet.text(MARGIN, y, part, SMALL)
            y += 9
    if len(shown) < len(lines):
        sheet.text(MARGIN, y, f"and {len(lines) - len(shown)} kinds more: see the report in HTML", SMALL)
        y += 9
    if review.changes:
        y = sheet.block(MARGIN, y, words.NOTES_ON_RATES, Style(SMALL.size, grey=0.25), width)
    return y


def _picture(sheet: Sheet, review: Review, y: float, width: float) -> None:
    y = _heading(sheet, MARGIN, y, "Night by night, from noon to noon", width)
    height = sheet.height - MARGIN - FOOT - y
    missing = len(review.nights) - len(fitting(review, height))
    if missing:
        told = (
            f"The newest {len(review.nights) - missing} nights are drawn; {missing} before are in the report in HTML."
        )
        y = sheet.block(MARGIN, y, told, SMALL, width)
        height = sheet.height - MARGIN - FOOT - y
    draw(_Ink(sheet), review, Frame(MARGIN, y - 6, width, height))


@dataclass(slots=True)
class _Part:
    """A section and how many of its entries are shown."""

    section: Section
    entries: list[list[tuple[float, str]]]
    """The lines of those that there can be room for, with their indents."""
    shown: int = 0

    @property
    def height(self) -> float:
        """Points that it takes now."""
        lines = sum(len(entry) for entry in self.entries[: self.shown])
        return 26 + 9 * (lines + (not self.entries) + (self.shown < len(self.section.entries)))


def _second(sheet: Sheet, review: Review) -> None:
    wide = sheet.width - 2 * MARGIN
    parts = [_Part(one, [_entry(sheet, lines, wide) for lines in one.entries[:MOST]]) for one in words.sections(review)]
    _share(parts, sheet.height - 2 * MARGIN - FOOT)
    y = MARGIN
    for part in parts:
        y = _section(sheet, part, y, wide)


def _entry(sheet: Sheet, lines: words.Lines, width: float) -> list[tuple[float, str]]:
    """At most `LINES` of paper for each line of an entry; what comes below the first is set in."""
    found = []
    for number, line in enumerate(lines):
        first = INDENT if number else 0.0
        broken = _few(sheet.broken(_clear(sheet, line), SMALL, width - first - INDENT), LINES)
        found += [(first + (INDENT if later else 0.0), part) for later, part in enumerate(broken)]
    return found


def _clear(sheet: Sheet, text: str) -> str:
    """With a clear word in place of each word that no font here can draw, so that the rest of its line is not lost.

    Letters beyond the Basic Multilingual Plane become marks: reportlab makes those unsearchable.
    """
    basic = "".join(letter if ord(letter) < 0x10000 else "?" for letter in text)
    drawable = [word if sheet.fonts.drawable(word) else MISSING for word in basic.split()]
    return " ".join(word for word, before in zip(drawable, ["", *drawable], strict=False) if (word, before) != TWICE)


def _share(parts: list[_Part], height: float) -> None:
    """Show entries in turn, by the weight of each section, while there is room."""
    growing = True
    while growing:
        growing = False
        for part in parts:
            for _ in range(part.section.weight):
                if part.shown == len(part.entries):
                    break
                part.shown += 1
                if sum(one.height for one in parts) > height:
                    part.shown -= 1
                    break
                growing = True


def _section(sheet: Sheet, part: _Part, y: float, width: float) -> float:
    y = _heading(sheet, MARGIN, y, part.section.title, width)
    if not part.entries:
        sheet.text(MARGIN, y, part.section.empty, SMALL)
        y += 9
    for entry in part.entries[: part.shown]:
        for indent, line in entry:
            sheet.text(MARGIN + indent, y, line, SMALL)
            y += 9
    left = len(part.section.entries) - part.shown
    if left:
        where = f", and in {part.section.where}" if part.section.where else ""
        told = f"and {left} more, left out here for want of room; all are in the report in HTML{where}"
        sheet.text(MARGIN, y, fitted(sheet, told, SMALL, width), SMALL)
        y += 9
    return y + 4


def _foot(sheet: Sheet, review: Review, page: int) -> None:
    y = sheet.height - MARGIN - 16
    sheet.line(MARGIN, y - 10, sheet.width - MARGIN, y - 10, grey=0.4)
    sheet.text(MARGIN, y, words.ORIGIN, Style(8, True))
    sheet.text(sheet.width - MARGIN, y, f"Page {page} of 2", PLAIN, "right")
    sheet.text(MARGIN, y + 10, f"Last hash of the history: {review.last_hash}", SMALL)


def _few(lines: list[str], most: int) -> list[str]:
    """The first ones, with dots where there were more."""
    return lines if len(lines) <= most else [*lines[: most - 1], f"{lines[most - 1][:-3]}..."]
