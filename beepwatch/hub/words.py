"""What goes over the wire, and what an answer has to say. Pure; without any name of the family."""

from datetime import datetime, timedelta
from typing import Literal, TypeAlias

import msgspec

from beepwatch.board.state import OpenAlarm, State
from beepwatch.waking.actions import Alert

FRESH = 30.0
"""s after which an answer is too old to count: it may have waited somewhere (judgement)."""
AHEAD = 5.0
"""s that a hub's clock may be ahead (judgement: clocks set by a network differ by less than 1 s)."""
LONGEST = 1000
"""Bytes of an answer at most: it has two short fields."""
Topic: TypeAlias = Literal["link", "state", "alarm", "heartbeat", "call", "going"]
UP, DOWN = b"up", b"down"


class Alarm(msgspec.Struct, frozen=True):
    """An open alarm. alarm: its id, which an answer has to name."""

    alarm: str
    pattern: str
    priority: str
    stage: str
    since: datetime
    drill: bool


class Nothing(msgspec.Struct, frozen=True):
    """No alarm is open."""

    alarm: None = None


class Standing(msgspec.Struct, frozen=True):
    """How it stands. hearing: listening, deaf, paused, ended, or stuck: the program itself hangs."""

    hearing: str
    since: datetime | None
    until: datetime | None
    alarms: tuple[Alarm, ...]


class Beat(msgspec.Struct, frozen=True):
    """A sign of life."""

    count: int
    hearing: str
    at: datetime


class Call(msgspec.Struct, frozen=True):
    """Somebody is to be woken now."""

    alarm: str
    pattern: str
    priority: str
    drill: bool
    at: datetime


class Answer(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Somebody is going. at: when the button was pressed, with its offset (RFC 3339)."""

    alarm: str
    at: datetime


def alarm_id(run: str, number: int) -> str:
    """Names one alarm of one run: a number alone would mean another after a restart."""
    return f"{run}-{number}"


def hearing_of(state: State, stuck: bool) -> str:
    """One word for how it hears."""
    return "stuck" if stuck else state.hearing


def standing(state: State, stuck: bool) -> bytes:
    """The payload of `state`."""
    alarms = tuple(_alarm(state.run, one) for one in state.alarms)
    return msgspec.json.encode(Standing(hearing_of(state, stuck), state.since, state.paused_until, alarms))


def most_urgent(state: State) -> bytes:
    """The payload of `alarm`."""
    return msgspec.json.encode(_alarm(state.run, state.alarms[0]) if state.alarms else Nothing())


def beat(count: int, state: State, stuck: bool, now: datetime) -> bytes:
    """The payload of `heartbeat`."""
    return msgspec.json.encode(Beat(count, hearing_of(state, stuck), now))


def call(alert: Alert, number: int, run: str, now: datetime) -> bytes:
    """The payload of `call` for one alarm of an alert."""
    return msgspec.json.encode(Call(alarm_id(run, number), alert.pattern, alert.priority, alert.drill, now))


def answered(payload: bytes, retained: bool, state: State, now: datetime) -> int | str:
    """Number of the alarm that an answer on `going` is for, or in plain words why it does not count."""
    if retained:
        return "it was kept by the broker (retained), so nobody may have pressed anything"
    if len(payload) > LONGEST:
        return "it is too long"
    try:
        answer = msgspec.json.decode(payload, type=Answer)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return 'it is not {"alarm": ID, "at": TIME}'
    if answer.at.tzinfo is None:
        return "its time has no offset from UTC"
    if not -timedelta(seconds=AHEAD) <= now - answer.at <= timedelta(seconds=FRESH):
        return f"its time is not within the last {FRESH:.0f} s"
    open_ones = {alarm_id(state.run, one.number): one.number for one in state.alarms}
    return open_ones.get(answer.alarm, "it names no open alarm")


def _alarm(run: str, one: OpenAlarm) -> Alarm:
    return Alarm(alarm_id(run, one.number), one.pattern, one.priority, one.stage, one.since, one.drill)
