"""A taught sounder: what one beep is like, whose it is, and what is done about it. Pure.

Three roles. `wake`: a device's beep that is to wake somebody. `log`: its alarms are kept and shown, and wake nobody.
`ignore`: its beeps are no evidence of any alarm (they are still kept as beeps).
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError
from beepwatch.settings.model import Hertz, Line

Role: TypeAlias = Literal["wake", "log", "ignore"]
ROLES: tuple[Role, ...] = ("wake", "log", "ignore")
NEAR_DEVICE = 0.03
"""No beep this near to the device's tone is ignored or only logged: hearing takes it for the device's own."""
NEAR_MULTIPLE = 0.01
"""Nor one this near to twice or three times it: in a room's null the device is heard there (measured)."""
SAME = 0.003
"""A beep this near to a sounder's tone is that sounder's (sounders of one kind differ more: up to 12 %, datasheets)."""
Name: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
Share: TypeAlias = Annotated[float, msgspec.Meta(ge=0, le=1)]
Seconds: TypeAlias = Annotated[float, msgspec.Meta(gt=0, le=120)]
Day: TypeAlias = Annotated[str, msgspec.Meta(pattern=r"^\d{4}-\d{2}-\d{2}$")]


class Sounder(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, rename="kebab"):
    """One taught beep. Its file has the same keys."""

    beepwatch_sounder: Literal[1] = 1
    """Version of the file."""
    name: Name
    role: Role
    tone: Hertz
    """Hz, as taught."""
    tone_spread: Share
    """Standard deviation of the tone from beep to beep, relative."""
    steadiness: Share | None = None
    """Of the tone inside a beep: 1 for a pure, steady one (`Character.purity`)."""
    harmonics: tuple[float | Literal["hidden"], ...] = ()
    """dB of 2, 3, 4 times the tone against the tone itself; "hidden" where noise or the sound's rate hides it."""
    rise: float | None = None
    """s from 10 to 90 % of the amplitude at the start, room included."""
    fall: float | None = None
    """The same at the end."""
    length: Seconds
    """s, median."""
    level: float
    """dBFS, median, at `microphone`."""
    microphone: str = ""
    """Where it was heard: a microphone's name, or a recording."""
    beeps: Annotated[int, msgspec.Meta(ge=3)]
    """How many it was learned from."""
    taught: Day
    followed: Hertz | None = None
    """Hz that it has drifted to since."""
    followed_on: Day | None = None
    note: Line = ""

    @property
    def now(self) -> float:
        """Hz: its tone as it is now, as far as drift was followed."""
        return self.tone if self.followed is None else self.followed


@dataclass(frozen=True, slots=True)
class Aside:
    """What follows from the roles."""

    ignored: tuple[float, ...] = ()
    """Hz: beeps within SAME are no evidence."""
    logged: tuple[float, ...] = ()
    """Hz: alarms within SAME wake nobody."""
    notes: tuple[str, ...] = ()
    """One line for each sounder whose role is not followed, and why."""

    def quiet(self, frequency: float) -> bool:
        """Whether an alarm of this tone is only kept and shown."""
        return any(abs(frequency / tone - 1) <= SAME for tone in self.logged)


def read(text: str, origin: str) -> Sounder:
    """A sounder from its file's text. Raises InputError, one line that names `origin` and says what to do."""
    try:
        return msgspec.convert(tomllib.loads(text), Sounder)
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise InputError(f"{origin} is no sounder of beepwatch ({error}): export or teach it again") from error


def device_of(sounders: Sequence[Sounder], chosen: str) -> Sounder | None:
    """The sounder that is the device's: the `chosen` one, or of those that wake the one taught first."""
    wake = sorted((one for one in sounders if one.role == "wake"), key=lambda one: (one.taught, one.name))
    if chosen:
        return next((one for one in wake if one.name == chosen), None)
    return wake[0] if wake else None


def refusal(role: Role, tone: float, device: float | None) -> str | None:
    """Why a sounder of `tone` Hz cannot have this role beside a device of `device` Hz; None where it can."""
    if role == "wake":
        return None
    if device is None:
        return f"the tone of your device is not known yet, so nothing can be set to {role}: teach the device first"
    if abs(tone / device - 1) <= NEAR_DEVICE:
        return f"{tone:.0f} Hz is within 3 % of your device's {device:.0f} Hz, so it cannot be set to {role}"
    for times in (2, 3):
        if abs(tone / (times * device) - 1) <= NEAR_MULTIPLE:
            return (
                f"{tone:.0f} Hz is {times} times your device's {device:.0f} Hz, where a room may let the device "
                f"be heard, so it cannot be set to {role}"
            )
    return None


def aside(sounders: Sequence[Sounder], *device: float | None) -> Aside:
    """What is set aside beside a device of these Hz; a role that any of them refuses is told, and not followed.

    Several: the tone that is heard for now, and another that was set meanwhile. None: not known.
    """
    known: list[float | None] = [tone for tone in device if tone is not None]
    tones: dict[Role, list[float]] = {"wake": [], "log": [], "ignore": []}
    notes = []
    for one in sounders:
        why = next((why for tone in known or [None] if (why := refusal(one.role, one.now, tone))), None)
        if why is None:
            tones[one.role].append(one.now)
        else:
            notes.append(f"{one.name} is heard like any other beep: {why}")
    return Aside(tuple(tones["ignore"]), tuple(tones["log"]), tuple(notes))
