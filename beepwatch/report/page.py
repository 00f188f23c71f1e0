"""The report as one HTML file: the accessible form, with everything that two sheets have no room for. Pure."""

import unicodedata
from collections.abc import Iterable, Sequence
from html import escape
from itertools import zip_longest

from beepwatch.paper.caution import CAUTION
from beepwatch.records.words import day, length
from beepwatch.report import words
from beepwatch.report.figures import Review
from beepwatch.report.nights import Night
from beepwatch.report.svg import picture

MOST = 2000
"""Entries of a section at most (judgement: a browser still opens that quickly)."""
LETTERS = 2000
"""Of a note at most (judgement, as in `beepwatch history`)."""
STYLE = """
body { font: 1rem/1.5 sans-serif; color: #111; background: #fff; max-width: 60rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.2rem; border-bottom: 1px solid #767676; margin-top: 2rem; }
table { border-collapse: collapse; width: 100%; } caption { text-align: left; font-weight: bold; padding: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .2rem .6rem .2rem 0; border-bottom: 1px solid #ddd; }
.caution { border: 2px solid #111; padding: .5rem 1rem; } svg { width: 100%; height: auto; } .wide { overflow-x: auto; }
.wide td, .wide th { min-width: 5em; }
li p { margin: 0; } li { margin-bottom: .4rem; } .hash { overflow-wrap: anywhere; }
li, h1 { overflow-wrap: anywhere; }
@media print { h2 { break-after: avoid; } li, tr { break-inside: avoid; } }
"""


def html(review: Review) -> str:
    """The whole file; the same figures give the same text."""
    parts = [
        "<!DOCTYPE html>", '<html lang="en">', "<head>", '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; style-src \'unsafe-inline\'">',
        f"<title>{harmless(words.title(review))}</title>", f"<style>{STYLE}</style>", "</head>", "<body>", "<main>",
        f"<h1>{harmless(words.title(review))}</h1>", f"<p>{harmless(words.period_line(review))}</p>",
        f'<p class="caution">{harmless(CAUTION)}</p>', f"<p><strong>{harmless(words.ORIGIN)}</strong></p>",
        *_listening(review), *_kinds(review), *_changes(review), *_nights(review), *_sections(review), "</main>",
        f'<footer><p><strong>{harmless(words.ORIGIN)}</strong></p><p class="hash">Last hash of the history: '
        f"{harmless(review.last_hash)}</p></footer>", "</body>", "</html>", "",
    ]  # fmt: skip
    return "\n".join(parts)


def _listening(review: Review) -> Iterable[str]:
    yield "<h2>Listening</h2>"
    rows = (
        f'<tr><th scope="row">{harmless(what)}</th><td>{harmless(told)}</td></tr>'
        for what, told in words.listening(review)
    )
    yield f"<table><caption>Hours listened and gaps</caption><tbody>{''.join(rows)}</tbody></table>"


def _kinds(review: Review) -> Iterable[str]:
    yield "<h2>Alarms by kind</h2>"
    if not review.kinds:
        yield f"<p>{'None was heard.' if review.seconds > 0 else words.UNHEARD}</p>"
    else:
        rows = [words.kind_row(kind) for kind in review.kinds]
        yield _table("Alarms by kind, without drills", words.KIND_COLUMNS, rows)
    if review.drills:
        yield f"<p>Drills are not counted: {review.drills}.</p>"


def _changes(review: Review) -> Iterable[str]:
    yield "<h2>Against the period before</h2>"
    yield from (f"<p>{harmless(line)}</p>" for line in words.change_lines(review))
    if review.changes:
        yield f"<p>{harmless(words.NOTES_ON_RATES)}</p>"


def _nights(review: Review) -> Iterable[str]:
    yield "<h2>Night by night</h2>"
    if review.nights:
        yield picture(review)
    rows = []
    for night in review.nights:
        worst = night.worst
        gap = "none" if worst is None else f"{length(worst.seconds)}: {worst.reason}"
        heard = length(night.seconds) if night.seconds > 0 else "nothing"
        paused = length(night.paused) if night.paused else "none"
        rows.append((day(night.day), heard, gap, paused, words.night_words(night) or "none", night))
    columns = ("Night of", "Listened", "Worst gap", "Planned pauses", "Alarms")
    yield _table("Each night in words", columns, [row[:5] for row in rows], [_evidence(row[5]) for row in rows])


def _evidence(night: Night) -> str:
    """Links to the evidence of the night's high-priority alarms."""
    numbers = [mark.alarm for mark in night.marks if mark.priority == "high"]
    links = ", ".join(f'<a href="#alarm-{number}">{number}</a>' for number in numbers)
    return f" (evidence of alarm {links})" if links else ""


def _sections(review: Review) -> Iterable[str]:
    marks = {words.sections(review)[0].title: [f' id="alarm-{one.alarm.id}"' for one in reversed(review.high)]}
    for section in words.sections(review, LETTERS):
        yield f"<h2>{harmless(section.title)}</h2>"
        if not section.entries:
            yield f"<p>{harmless(section.empty)}</p>"
            continue
        shown = section.entries[:MOST]
        items = ("".join(f"<p>{harmless(line)}</p>" for line in entry) for entry in shown)
        named = zip_longest(items, marks.get(section.title, [])[: len(shown)], fillvalue="")
        yield f"<ul>{''.join(f'<li{mark}>{item}</li>' for item, mark in named)}</ul>"
        if len(shown) < len(section.entries):
            yield f"<p>and {len(section.entries) - len(shown)} more, left out here: {harmless(section.where)}</p>"


def _table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]], tails: Iterable[str] = ()) -> str:
    """tails: what is HTML already, behind the last cell of each row."""
    head = "".join(f'<th scope="col">{harmless(column)}</th>' for column in columns)
    body = "\n".join(
        f'<tr><th scope="row">{harmless(row[0])}</th>{"".join(f"<td>{harmless(cell)}</td>" for cell in row[1:-1])}'
        f"<td>{harmless(row[-1])}{tail}</td></tr>"
        for row, tail in zip_longest(rows, tails, fillvalue="")
    )
    table = f"<table><caption>{harmless(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide" role="region" aria-label="{harmless(caption)}" tabindex="0">{table}</div>'


def harmless(text: str) -> str:
    """As text of HTML: escaped, without control letters, and without those that turn the writing around them."""
    return escape("".join(c for c in text if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn")))
