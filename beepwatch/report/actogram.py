"""The picture of the nights: hours across, nights down. Grey alone tells all; the kinds stand in the margin as words.

Where it is drawn is left open: a `Pen` is a sheet of paper or a drawing in a file. y grows downwards.
"""

from dataclasses import dataclass
from datetime import date
from typing import Protocol

from beepwatch.events import Priority
from beepwatch.report.figures import Review
from beepwatch.report.nights import Mark, Night
from beepwatch.report.words import night_words

HEARD, EDGE = 0.82, 0.45
"""Greys of what was listened to, and of the edge of a planned pause (0 black, 1 white): they differ in print, too."""
LETTERS = 6.0
"""Points of the smallest letters (judgement: as small as a footnote)."""
CLOSEST = 5.4
"""Points from night to night at least: letters of LETTERS do not touch."""
WIDEST = 10.0
LEFT, RIGHT = 56.0, 164.0
"""Points for the day, and for the words."""
HEAD, FOOT = 14.0, 26.0
THINNEST = 1.2
"""Points of the shortest alarm: what lasted a minute is still seen."""
TICKS = tuple(range(0, 25, 3))
LEGEND = (
    ("heard", "listened"), ("none", "not listened"), ("pause", "planned pause"), ("high", "high priority"),
    ("medium", "medium"), ("low", "low"),
)  # fmt: skip


PRIORITIES: dict[str, Priority] = {"high": "high", "medium": "medium", "low": "low"}


class Pen(Protocol):
    """What it is drawn with."""

    def box(  # noqa: D102
        self, x: float, y: float, width: float, height: float, *, fill: float | None = ..., edge: float | None = ...
    ) -> None: ...
    def line(  # noqa: D102
        self, x0: float, y0: float, x1: float, y1: float, *, thick: float = ..., grey: float = ...
    ) -> None: ...
    def say(self, x: float, y: float, text: str, size: float, *, middle: bool = ...) -> None:
        """One line of text, from x on or round it."""

    def wide(self, text: str, size: float) -> float:
        """Points that a line takes, or more."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where it stands."""

    x: float
    y: float
    width: float
    height: float


def fitting(review: Review, height: float) -> tuple[Night, ...]:
    """The nights for which there is room: the newest ones."""
    most = max(1, int((height - HEAD - FOOT) / CLOSEST))
    return review.nights[-most:]


def pitch_of(count: int, height: float) -> float:
    """Points from night to night."""
    return min(WIDEST, (height - HEAD - FOOT) / max(1, count))


def draw(pen: Pen, review: Review, frame: Frame) -> float:
    """Draw the nights that fit; return the y below."""
    shown = fitting(review, frame.height)
    pitch = pitch_of(len(shown), frame.height)
    scale = (frame.width - LEFT - RIGHT) / 24
    left, top = frame.x + LEFT, frame.y + HEAD
    bottom = top + pitch * len(shown)
    _axis(pen, left, top, bottom, scale)
    for row, night in enumerate(shown):
        _night(pen, night, left, top + row * pitch, pitch=pitch, scale=scale)
        pen.say(frame.x, top + row * pitch + pitch / 2 + 2, _short(night.day), LETTERS)
        pen.say(left + 24 * scale + 5, top + row * pitch + pitch / 2 + 2, _words(pen, night), LETTERS)
    return _legend(pen, frame, bottom + 10)


def _words(pen: Pen, night: Night) -> str:
    """As many kinds as there is room for, in whole words."""
    for most in range(len(night.kinds), 0, -1):
        told = night_words(night, most)
        if pen.wide(told, LETTERS) <= RIGHT - 5:
            return told
    return night_words(night, 0)


def _axis(pen: Pen, left: float, top: float, bottom: float, scale: float) -> None:
    for hour in TICKS:
        x = left + hour * scale
        pen.line(x, top - 2, x, bottom, thick=0.25, grey=0.6 if hour % 12 else 0.2)
        pen.say(x, top - 4, f"{(12 + hour) % 24:02d}", LETTERS, middle=True)


def _night(pen: Pen, night: Night, left: float, y: float, *, pitch: float, scale: float) -> None:
    tall = pitch - 1.0
    for begin, end in night.heard:
        pen.box(left + begin * scale, y + 0.5, (end - begin) * scale, tall, fill=HEARD)
    for begin, end in night.pauses:
        pen.box(left + begin * scale, y + 1.0, (end - begin) * scale, tall - 1.0, fill=1.0, edge=EDGE)
    for mark in sorted(night.marks, key=lambda mark: mark.priority != "low"):
        _mark(pen, mark, left, y + 0.5, tall=tall, scale=scale)


def _mark(pen: Pen, mark: Mark, left: float, y: float, *, tall: float, scale: float) -> None:
    """High: the whole row; medium: its lower half; low: an open box."""
    x, wide = left + mark.begin * scale, max(THINNEST, mark.hours * scale)
    if mark.priority == "high":
        pen.box(x, y, wide, tall, fill=0.0)
    elif mark.priority == "medium":
        pen.box(x, y + tall / 2, wide, tall / 2, fill=0.0)
    else:
        pen.box(x, y + tall / 4, max(2.0, wide), tall / 2, fill=1.0, edge=0.0)


def _legend(pen: Pen, frame: Frame, y: float) -> float:
    x = frame.x + LEFT
    step = (frame.width - LEFT) / len(LEGEND)
    for kind, words in LEGEND:
        if kind == "pause":
            pen.box(x, y + 0.5, 12, 6, fill=1.0, edge=EDGE)
        elif kind == "none":
            pen.box(x, y, 12, 7, edge=0.8)
        else:
            pen.box(x, y, 12, 7, fill=HEARD)
        if kind in PRIORITIES:
            _mark(pen, Mark(0, "", PRIORITIES[kind], 5.0, 0.0), x, y, tall=7.0, scale=1.0)
        pen.say(x + 15, y + 6, words, LETTERS + 0.5)
        x += step
    return y + 14


def _short(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b} {day:%y}"
