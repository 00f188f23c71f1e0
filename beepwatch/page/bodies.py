"""What may come in the body of a POST, and nothing besides: a field too many is refused (OWASP ASVS 4.0.3, 5.1.2)."""

import msgspec

from beepwatch.page.pairing import Kind
from beepwatch.waking.commands import Cause, Purpose

LONGEST_PAUSE = 240
"""Minutes of a pause from a phone at most (judgement)."""


class Answer(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /going."""

    alarm: str


class Pausing(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /pause."""

    minutes: int
    purpose: Purpose


class Finding(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /found."""

    alarm: str
    what: Cause


class Shown(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /seen."""

    alarms: tuple[str, ...]
    visible: bool
    sounding: bool
    leaving: bool = False
    """A bedside computer that is ended by a person says so, and is not missed."""


class Exchange(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /pair."""

    code: str
    name: str = ""
    kind: Kind = "phone"
