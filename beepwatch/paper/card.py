"""One page to hang by the bed: the sounds drawn in time to scale, who goes, and whom to call. Grey, large."""

from dataclasses import dataclass

from beepwatch.paper.caution import CAUTION
from beepwatch.paper.fonts import Fonts
from beepwatch.paper.sheet import Sheet, Size, Style

MARGIN = 40.0
"""Points (14 mm: what home printers leave free at most; common practice, no source)."""
SPAN = 120.0
"""s that each drawing shows: two calls of an alarm that comes each minute."""
BREATH = (5.0, 1.2)
"""s from beep to beep and of each: 12 breaths a minute, as an example only (an adult at rest breathes 12-20 a minute,
Cleveland Clinic patient pages, quoted)."""
TITLE, BIG, PLAIN, SMALL = Style(25, True), Style(15, True), Style(12), Style(9)
TAKES_LINES = 3
"""Empty lines for numbers that a family writes by hand."""


@dataclass(frozen=True, slots=True)
class Tones:
    """One sound as it is drawn."""

    pattern: str
    says: str
    """What is heard, in words."""
    every: float
    """s from beep to beep."""
    long: float
    """s of each."""


SOUNDS = (
    Tones("lead-disconnect", "a beep as long as each breath in, at every breath", *BREATH),
    Tones("battery-critical", "one beep of 20 seconds, every minute", 60.0, 20.0),
    Tones("backup-battery", "one beep of 10 seconds, every hour", 3600.0, 10.0),
)
"""The most urgent one first. Lengths and periods: as the users of one device are told; others differ."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a sound means and what to look at, in the words of the spoken message."""

    title: str
    check: str


@dataclass(frozen=True, slots=True)
class Card:
    """What is on the card. An empty text leaves a line to write on."""

    person: str
    goes: tuple[str, ...]
    """Who goes, in order."""
    plan: str
    emergency: str
    meanings: dict[str, Meaning]
    """By pattern; a sound without one is left out: the family's device does not have it."""
    numbers: tuple[str, ...] = ()
    address: str = ""
    """Where the page is; never a pairing code."""


def drawn(card: Card, size: Size = "a4", fonts: Fonts | None = None) -> bytes:
    """The card as a PDF of one page."""
    sheet = Sheet(size, "If the device beeps", fonts)
    wide = sheet.width - 2 * MARGIN
    y = sheet.block(MARGIN, MARGIN + 22, f"If {card.person}'s device beeps", TITLE, wide)
    y = _steps(sheet, card, y + 4)
    for tones in SOUNDS:
        if tones.pattern in card.meanings:
            y = _sound(sheet, tones, card.meanings[tones.pattern], y + 12)
    y = _numbers(sheet, card, y + 16)
    _foot(sheet, card)
    return sheet.finish()


def _steps(sheet: Sheet, card: Card, y: float) -> float:
    """Who goes, the person first, and what then: in the order of every message."""
    goes = " If there is no answer: ".join(f"{name}." for name in card.goes) or "________________"
    steps = (
        f"Who goes: {goes}",
        f"1  Look at {card.person} first, not at the device.",
        f"2  Not well? Start {card.plan}. Call {card.emergency}.",
        "3  Well? See below what the sound means.",
    )
    wide = sheet.width - 2 * MARGIN
    top = y
    y += 20
    for step in steps:
        y = sheet.block(MARGIN + 10, y, step, BIG, wide - 20) + 3
    sheet.box(MARGIN, top, wide, y - top - 6, edge=0.0)
    return y


def _sound(sheet: Sheet, tones: Tones, meaning: Meaning, y: float) -> float:
    """One sound: its drawing over two minutes, what is heard, what it means, what to look at."""
    wide = sheet.width - 2 * MARGIN
    y = sheet.block(MARGIN, y + 12, meaning.title, BIG, wide)
    y = sheet.block(MARGIN, y, f"You hear {tones.says}.", PLAIN, wide)
    _drawing(sheet, tones, y - 6, wide)
    return sheet.block(MARGIN, y + 36, meaning.check, PLAIN, wide)


def _drawing(sheet: Sheet, tones: Tones, y: float, wide: float) -> None:
    """Black where it sounds, a line where it is quiet, a tick each half minute."""
    scale = wide / SPAN
    sheet.line(MARGIN, y + 12, MARGIN + wide, y + 12, thick=0.75)
    begin = 0.0
    while begin < SPAN:
        sheet.box(MARGIN + begin * scale, y, min(tones.long, SPAN - begin) * scale, 12, fill=0.0)
        begin += tones.every
    for second in range(0, int(SPAN) + 1, 30):
        x = MARGIN + second * scale
        sheet.line(x, y + 12, x, y + 15, thick=0.75)
        said = f"{second} s" if second < SPAN else f"{second} s (2 minutes)"
        sheet.text(x, y + 24, said, SMALL, "left" if second == 0 else "right" if second == SPAN else "middle")


def _numbers(sheet: Sheet, card: Card, y: float) -> float:
    """Whom to call: as given, and lines to write on."""
    wide = sheet.width - 2 * MARGIN
    sheet.text(MARGIN, y + 10, "Our numbers", BIG)
    y += 30
    for number in card.numbers:
        y = sheet.block(MARGIN, y, number, PLAIN, wide) + 4
    for _ in range(TAKES_LINES - len(card.numbers)):
        sheet.line(MARGIN, y + 4, MARGIN + wide, y + 4, grey=0.4)
        y += 24
    return y


def _foot(sheet: Sheet, card: Card) -> None:
    wide = sheet.width - 2 * MARGIN
    lines = [CAUTION, "Your own device may sound otherwise: what your clinic showed you goes first."]
    if card.address:
        lines.insert(0, f"What beepwatch hears now: {card.address}")
    broken = [part for line in lines for part in sheet.broken(line, SMALL, wide)]
    y = sheet.height - MARGIN - (len(broken) - 1) * 12
    for line in broken:
        sheet.text(MARGIN, y, line, SMALL)
        y += 12
