"""What is said of routines: when, never how. Pure."""

from collections.abc import Callable
from datetime import datetime

from beepwatch.care.routine import BATTERY, SHOWN
from beepwatch.care.rules import Early, Stand
from beepwatch.records.words import day

WHY = {"damp": "the dressing was damp", "dirty": "the dressing was dirty", "postponed": "it was put off"}


def line(stand: Stand) -> str:
    """One line for `beepwatch care`."""
    return f"{stand.routine.title}: {_LINES[stand.mark](stand)}"


def reminder(stand: Stand) -> str:
    """One gentle line for a screen by day."""
    due = "" if stand.due is None else day(stand.due)
    title = stand.routine.title
    if stand.routine.supply:
        return f"A reminder: {title} is to be ordered now; it is used up about {due}."
    if stand.mark == "soon":
        return f"A reminder: {title} comes near: {due}{_reason(stand)}."
    return f"A reminder: {title} is due since {due}{_reason(stand)}: {SHOWN}."


def early_line(early: Early, clock: Callable[[datetime], str] = lambda moment: day(moment.date())) -> str:
    """One sentence about an alarm that came much before its forecast."""
    return (
        f"The battery alarm of {clock(early.at)} came after about {early.hours:.0f} h of use, where about "
        f"{early.expected:.0f} h are set: tell your clinic."
    )


def _reason(stand: Stand) -> str:
    why = WHY.get(stand.why)
    if stand.why == "hours" and stand.used is not None:
        return f", about {stand.used:.0f} of {stand.routine.hours:g} h used"
    return f" ({why})" if why else ""


def _unarmed(stand: Stand) -> str:
    return f"not armed. Ask your clinic, then: beepwatch care arm {stand.routine.name}"


def _unknown(stand: Stand) -> str:
    name = stand.routine.name
    if stand.routine.hours is not None and not stand.routine.hours_a_day:
        return "no forecast: set its hours of use a day, as in `beepwatch settings set care.hours-a-day 12`"
    verb = "changed" if name == BATTERY else "done"
    return f"no time is known yet. Tell the next one: beepwatch care {verb} {name}"


def _known(stand: Stand) -> str:
    last = "" if stand.last is None else f"last {day(stand.last.at.date())}; "
    due = "" if stand.due is None else day(stand.due)
    if stand.routine.supply:
        by = "" if stand.ask_by is None else day(stand.ask_by)
        return f"{last}order by {by}, used up about {due}"
    word = {"rest": "next", "soon": "SOON:", "due": "DUE since"}[stand.mark]
    shown = f": {SHOWN}" if stand.mark == "due" else ""
    return f"{last}{word} {due}{_reason(stand)}{shown}"


_LINES: dict[str, Callable[[Stand], str]] = {
    "unarmed": _unarmed, "unknown": _unknown, "rest": _known, "soon": _known, "due": _known,
}  # fmt: skip
