"""The frame of each view, and its small parts, as HTML without script, style or colour in it. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from beepwatch.paper.caution import CAUTION
from beepwatch.records.rows import LoggedAlarm
from beepwatch.records.words import length
from beepwatch.report.page import harmless
from beepwatch.report.words import ORIGIN

MOST = 300
"""Entries of a list or rows of a table at most (judgement: an old phone still scrolls them)."""


@dataclass(frozen=True, slots=True)
class Place:
    """One of the views."""

    path: str
    title: str
    nights: int


PLACES = (Place("/tonight", "Tonight", 1), Place("/week", "Week", 7), Place("/month", "Month", 30))
QUIET = "While you read here, this phone does not wake you."


def page(title: str, body: Iterable[str], here: str = "") -> str:
    """A whole page. title: plain text; body: HTML; here: the path of the view that this is."""
    links = "".join(
        f'<li><a href="{one.path}"{" aria-current=page" if one.path == here else ""}>{one.title}</a></li>'
        for one in PLACES
    )
    parts = [
        "<!doctype html>", '<html lang="en" data-view="history">', "<head>", '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="dark light">', f"<title>{harmless(title)} - beepwatch</title>",
        '<link rel="icon" href="/icon.svg" type="image/svg+xml">', '<link rel="stylesheet" href="/page.css">',
        '<link rel="stylesheet" href="/views.css">', '<script src="/views.js" defer></script>', "</head>", "<body>",
        '<div id="loud" role="alert" hidden><p id="loud-word"></p><p><a href="/">Go there now</a></p></div>',
        f'<header><p class="quiet">{QUIET} <a href="/">Back to the page that wakes</a>.</p>',
        f'<nav aria-label="Views"><ul>{links}</ul></nav></header>', "<main>", f"<h1>{harmless(title)}</h1>", *body,
        "</main>",
        f'<footer><p><strong>{harmless(ORIGIN)}</strong></p><p id="caution">{harmless(CAUTION)}</p></footer>',
        "</body>", "</html>", "",
    ]  # fmt: skip
    return "\n".join(parts)


def table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """rows: cells that are HTML already; the first of each heads its row."""
    head = "".join(f'<th scope="col">{harmless(column)}</th>' for column in columns)
    body = "\n".join(
        f'<tr><th scope="row">{row[0]}</th>{"".join(f"<td>{cell}</td>" for cell in row[1:])}</tr>' for row in rows
    )
    made = f"<table><caption>{harmless(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide-table" role="region" aria-label="{harmless(caption)}" tabindex="0">{made}</div>'


def pairs(caption: str, rows: Iterable[tuple[str, str]]) -> str:
    """A table of what and how much, as plain text."""
    body = "".join(f'<tr><th scope="row">{harmless(what)}</th><td>{harmless(told)}</td></tr>' for what, told in rows)
    return f"<table><caption>{harmless(caption)}</caption><tbody>{body}</tbody></table>"


def bounded(items: Sequence[str], make: str = "ul") -> Iterable[str]:
    """A list of HTML entries, and how many are left out."""
    yield f"<{make}>{''.join(f'<li>{item}</li>' for item in items[:MOST])}</{make}>"
    if len(items) > MOST:
        yield f"<p>and {len(items) - MOST} more: `beepwatch history` on the computer has all.</p>"


def answer(alarm: LoggedAlarm) -> str:
    """Who answered after how long, in plain text."""
    if alarm.acknowledged_after is not None:
        by = f" by {alarm.answered_by}" if alarm.answered_by else ""
        way = f" ({alarm.answered_way})" if alarm.answered_way else ""
        told = f"answered after {length(alarm.acknowledged_after)}{by}{way}"
    else:
        told = "woke nobody" if alarm.woken_after is None else "nobody answered"
    stopped = alarm.stopped_after
    return told if stopped is None else f"{told}; the beeping stopped unanswered after {length(stopped)}"
