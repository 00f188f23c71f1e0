"""Words that screens, reports and pages share. Pure."""

from datetime import date

FINDINGS = {"cable": "a cable or lead", "battery": "the battery", "false-alarm": "a false alarm", "other": "other"}
"""What an alarm turned out to be, as it is shown."""


def length(seconds: float) -> str:
    """A length of time in its two largest units; parts of the smaller one are not counted."""
    if not seconds >= 0:  # a NaN, or a clock that was set back
        return "an unknown time"
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s" if whole else "under 1 s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole // 60 % 60} min"


def printable(given: str) -> str:
    """Text without characters that could steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in given)


def day(moment: date) -> str:
    """As "Mon 2 Mar 2026"."""
    return f"{moment:%a} {moment.day} {moment:%b %Y}"


def name(pattern: str) -> str:
    """A pattern as words: "lead disconnect"."""
    return pattern.replace("-", " ")
