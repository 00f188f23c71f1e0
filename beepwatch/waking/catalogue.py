"""The words of one language as values: messages.toml (English, complete) or a household's own file of the same form.

Speech in an emergency that nobody has checked could send a person the wrong way. So another language is only taken
when its file names the person who checked it (`checked-by`), has every message that English has, and leaves no blank
that cannot be filled.
"""

from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Annotated, Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError

ENGLISH = "en"
BLANKS = frozenset({"caregiver", "person", "emergency", "plan", "until"})
"""What may stand in braces in a line."""
Tag: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{1,8})*$")]
"""A language by its tag (BCP 47: "en", "he", "pt-BR"): also the name of its voice, where `voice` gives no other."""


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename="kebab"):
    """A table of the file."""


class Names(_Part, frozen=True):
    """What is said when no name is given."""

    caregiver: str
    person: str
    emergency: str
    plan: str


class First(_Part, frozen=True):
    """The lines of every alarm that does not bring its own."""

    go: str
    look: str
    unwell: str
    over: str


class Words(_Part, frozen=True):
    """The lines of one alarm; None takes the line of `First`, "" leaves it out."""

    title: str
    well: str
    check: str
    go: str | None = None
    look: str | None = None
    unwell: str | None = None
    over: str | None = None


class Catalogue(_Part, frozen=True):
    """The whole of a language's file."""

    language: Tag
    caution: str
    call: str
    stopped: str
    renamed: str
    still: str
    acknowledged: str
    drill: str
    drill_over: str
    reminder: str
    question: str
    answers: str
    changed: str
    paused: str
    pause_over: str
    quiet: str
    names: Names
    first: First
    alarm: dict[str, Words]
    direction: Literal["ltr", "rtl"] = "ltr"
    checked_by: str = ""
    voice: str = ""

    @property
    def speaker(self) -> str:
        """The voice's name for the speech program."""
        return self.voice or self.language


@cache
def english() -> Catalogue:
    """The packaged catalogue, read once."""
    text = files("beepwatch.waking").joinpath("messages.toml").read_bytes()
    return msgspec.toml.decode(text, type=Catalogue)


def read(text: str, origin: str) -> Catalogue:
    """A language's file. Raises InputError, one line after `origin`, where it cannot be used in an emergency."""
    try:
        made = msgspec.toml.decode(text, type=Catalogue)
    except msgspec.DecodeError as error:
        raise InputError(f"{origin} is no file of messages ({error}): mend it, or leave words.messages out") from error
    if made.language.split("-")[0].lower() != ENGLISH and not made.checked_by.strip():
        raise InputError(
            f"{origin} does not say who checked it: have a person who speaks {made.language} well read every line, "
            'then add checked-by = "their name"'
        )
    missing = sorted(english().alarm.keys() - made.alarm.keys())
    if missing:
        raise InputError(f"{origin} has no message for {', '.join(missing)}: every alarm needs one")
    for line in _all(made):
        _check_blanks(line, origin)
    return made


def _all(made: Catalogue) -> list[str]:
    """Every line of the file."""
    found: list[str] = []
    todo: list[object] = [msgspec.to_builtins(made)]
    while todo:
        one = todo.pop()
        if isinstance(one, dict):
            todo += one.values()
        elif isinstance(one, str):
            found.append(one)
    return found


def _check_blanks(line: str, origin: str) -> None:
    """Raise InputError for braces that cannot be filled: at night is no time to find that."""
    try:
        names = [(name, form, how) for _, name, form, how in Formatter().parse(line) if name is not None]
    except ValueError as error:
        raise InputError(f"{origin}: the braces in {line!r} do not match ({error})") from error
    for name, form, how in names:
        if name not in BLANKS or form or how:
            raise InputError(f"{origin}: {{{name}}} in {line!r} is no blank; there are {', '.join(sorted(BLANKS))}")
