"""A test night as a TOML file says it, decoded strictly: a key that is not known is an error that names it.

Conventions
    Times are seconds from the start of the scene. Levels are dBFS with a full-scale sine = 0 (AES17, from
    memory). SNR is the power of a beep's steady fundamental over the power of the background in 0-8 kHz, or
    up to half the rate where that is less, in dB; harmonics come on top of it.
    A beep begins and ends where its envelope passes half of its amplitude.
"""

import difflib
import math
import tomllib
from typing import Annotated, Literal, TypeAlias, get_args

import msgspec
from msgspec import Meta

from beepwatch.errors import InputError
from beepwatch.synthesis.rhythms import RHYTHMS, PatternName

NoiseName: TypeAlias = Literal["white", "pink", "fan", "breathing", "recording", "silence"]
"""Backgrounds; `breathing` is a breathing machine's hiss that swells with each breath."""
Positive: TypeAlias = Annotated[float, Meta(gt=0)]
Time: TypeAlias = Annotated[float, Meta(ge=0)]
Share: TypeAlias = Annotated[float, Meta(ge=0, le=1)]


class Background(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What sounds all night. `file`: the recording to repeat, beside the scenario; kind `recording` only."""

    kind: NoiseName = "white"
    file: str | None = None
    breaths_a_minute: Positive = 15.0
    """Of the breathing machine's hiss."""
    swell: Time = 12.0
    """dB from the hiss's quietest to its loudest."""


class Room(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The room that beeps and thumps sound in; one place of sounder and microphone for the whole scene."""

    t60: Annotated[float, Meta(ge=0.05, le=5)]
    """Time in which the reverberation falls by 60 dB, s."""
    direct: float = -6.0
    """dB of the direct sound over the reverberation: about 1.2 m away in 40 m3 at 0.4 s (computed)."""


class Ring(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One alarm, or other run of beeps. What is None takes the value of its pattern or of the scenario."""

    pattern: PatternName
    start: Time
    """Onset of its first beep."""
    count: Annotated[int, Meta(ge=1)] | None = None
    """How many times the pattern's group of pulses comes; a group of one is a beep."""
    breaths_a_minute: Positive | None = None
    period: Positive | None = None
    """Onset to onset of groups, s; say this or `breaths_a_minute`."""
    length: Positive | None = None
    """Length of each pulse, s; the pauses inside a group stay as they are."""
    tone: Annotated[float, Meta(ge=50)] | None = None
    """Fundamental, Hz."""
    harmonics: tuple[float, ...] | None = None
    """dB re the fundamental of 2, 3, 4 ... times its frequency; those over half the rate are left out."""
    snr: float | None = None
    level: float | None = None
    """dBFS of the fundamental; say this or `snr`."""
    drift: Annotated[float, Meta(ge=-20, le=20)] = 0.0
    """% by which each beep begins above its tone (below: negative) ..."""
    warm_up: Positive = 0.5
    """... and the time constant, s, in which it settles."""
    jitter: Annotated[float, Meta(ge=0, le=50)] = 0.0
    """Standard deviation of each period, % of it."""
    missed: Share | tuple[int, ...] = 0.0
    """Share of beeps left out at random, or the numbers of those left out, counted from 1."""
    ramp: Annotated[float, Meta(ge=0, le=1)] = 0.005
    """Length of the raised-cosine rise and fall, s."""


class Thump(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A door or a step: a dull burst of noise that dies away; no beep."""

    start: Time
    length: Positive = 0.4
    """Time in which it falls by 60 dB, s."""
    snr: float = 20.0
    """Power at its start over that of the background, dB."""
    below: Positive = 250.0
    """Corner of its low-pass, Hz."""


class Scenario(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole test night."""

    duration: Positive
    rate: Annotated[int, Meta(ge=4000, le=192_000)] = 16_000
    seed: Annotated[int, Meta(ge=0)] = 0
    level: Annotated[float, Meta(le=0)] = -66.0
    """dBFS of the background: some 12 steps of a 16-bit file, so that a FLAC of it stays small."""
    snr: float = 10.0
    """Of every alarm that says neither `snr` nor `level`."""
    background: Background = Background()
    room: Room | None = None
    alarms: tuple[Ring, ...] = ()
    thumps: tuple[Thump, ...] = ()


Table: TypeAlias = dict[str, object]
_PARTS: dict[str, type[msgspec.Struct]] = {
    "background": Background,
    "room": Room,
    "alarms": Ring,
    "thumps": Thump,
}


def decode(text: str, name: str = "scenario") -> Scenario:
    """The scenario that TOML `text` holds; `name` says in an error where it came from. Raises InputError."""
    try:
        table: Table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: not TOML: {error}") from error
    _refuse_unusable_keys(table, Scenario, name)
    for part, kind in _PARTS.items():
        for where, inner in _tables(part, table.get(part)):
            _refuse_unusable_keys(inner, kind, f"{name}: {where}")
    try:
        scenario = msgspec.convert(table, Scenario)
    except msgspec.ValidationError as error:
        raise InputError(f"{name}: {_said(error)}") from error
    _check(scenario, name)
    return scenario


def _tables(part: str, value: object) -> list[tuple[str, Table]]:
    """The tables of one part with how to call each; all else is left for the typed decoding to refuse."""
    if isinstance(value, dict):
        return [(f"[{part}]", value)]
    if isinstance(value, list):
        return [(f"[[{part}]] {i}", inner) for i, inner in enumerate(value, 1) if isinstance(inner, dict)]
    return []


def _refuse_unusable_keys(table: Table, kind: type[msgspec.Struct], where: str) -> None:
    """Raise InputError for the first key that `kind` does not have, or whose value is not finite."""
    known = [field.name for field in msgspec.structs.fields(kind)]
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise InputError(f"{where}: there is no key {key!r}; {hint}The keys are: {', '.join(known)}")
        value = table[key]
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(f"{where}: {key} = {value} is no number to work with")


def _said(error: msgspec.ValidationError) -> str:
    """The decoder's words with `$.alarms[0].tone` as `alarms[1].tone`, counted from 1 as the file reads."""
    words, _, path = str(error).partition(" - at `$")
    for index in range(1000, -1, -1):
        path = path.replace(f"[{index}]", f" {index + 1}")
    place = path.rstrip("`").strip(".")
    choices = {"pattern": get_args(PatternName), "kind": get_args(NoiseName)}.get(place.rpartition(".")[2])
    if choices:
        words += f"; there are {', '.join(choices)}"
    return f"{place}: {words}" if place else words


def _check(scenario: Scenario, name: str) -> None:
    """Raise InputError where keys that are each right do not go together."""
    background = scenario.background
    if (background.kind == "recording") != (background.file is not None):
        raise InputError(f"{name}: [background]: kind = 'recording' and `file` go together")
    for number, ring in enumerate(scenario.alarms, 1):
        fault = _fault(ring, scenario)
        if fault:
            raise InputError(f"{name}: [[alarms]] {number} ({ring.pattern}): {fault}")
    for number, thump in enumerate(scenario.thumps, 1):
        if thump.start >= scenario.duration:
            raise InputError(f"{name}: [[thumps]] {number}: starts after the end at {scenario.duration:g} s")


def _fault(ring: Ring, scenario: Scenario) -> str | None:
    """What is wrong with one alarm, in words, or None."""
    tone = ring.tone or RHYTHMS[ring.pattern].tone
    if ring.snr is not None and ring.level is not None:
        return "say `snr` or `level`, not both"
    if ring.period is not None and ring.breaths_a_minute is not None:
        return "say `period` or `breaths_a_minute`, not both"
    if ring.start >= scenario.duration:
        return f"starts at {ring.start:g} s, after the end at {scenario.duration:g} s"
    if tone * (1 + abs(ring.drift) / 100) >= scenario.rate / 2:
        return f"a tone of {tone:g} Hz does not fit a rate of {scenario.rate} Hz (less than half of it)"
    if ring.ramp > (ring.length or RHYTHMS[ring.pattern].pulse):
        return f"a ramp of {ring.ramp:g} s is longer than its beep"
    return None
