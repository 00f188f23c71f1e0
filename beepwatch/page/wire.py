"""A state as JSON for the page: two frames, what stands now and tonight's events, each whole in itself."""

import math
from datetime import datetime

import msgspec

from beepwatch.board.board import STALE, Posted
from beepwatch.board.state import Happened, OpenAlarm, State

FLOOR = -99
"""dBFS that is sent for silence: JSON has no infinity."""
STUCK = "the program itself hangs: it has said nothing for some seconds"


class Moment(msgspec.Struct, frozen=True):
    """A time: the household's clock as text, and seconds of the epoch."""

    clock: str
    epoch: float


class Alarm(msgspec.Struct, frozen=True):
    """An open alarm. id: run and number, what an answer has to name."""

    id: str
    pattern: str
    priority: str
    title: str
    lines: tuple[str, ...]
    since: Moment
    stage: str
    why: str
    going: str
    drill: bool


class Question(msgspec.Struct, frozen=True):
    """What was it? id as in `Alarm`."""

    id: str
    title: str


class Now(msgspec.Struct, frozen=True):
    """What stands now. hearing: as `State.hearing`, or "stuck". heard_ago: s since the room was last heard."""

    hearing: str
    why: str
    since: Moment | None
    until: Moment | None
    heard_ago: float | None
    levels: tuple[int, ...]
    margin: int | None
    alarms: tuple[Alarm, ...]
    asked: tuple[Question, ...]
    caution: str


class Event(msgspec.Struct, frozen=True):
    """One line of the night."""

    clock: str
    text: str


def now_frame(posted: Posted, age: float, now: datetime) -> bytes:
    """JSON of what stands now. age: s since it was put up; now: aware."""
    state = posted.state
    stuck = age > STALE and state.hearing != "ended"
    ago = None if state.heard_at is None else max(0.0, round((now - state.heard_at).total_seconds(), 1))
    return msgspec.json.encode(
        Now(
            "stuck" if stuck else state.hearing,
            STUCK if stuck else state.why,
            moment(state.since),
            moment(state.paused_until),
            ago,
            tuple(level(one) for one in state.levels),
            None if state.margin is None else round(state.margin),
            tuple(alarm(state, one) for one in state.alarms),
            tuple(Question(alarm_id(state.run, one.number), one.title) for one in state.asked),
            state.caution,
        )
    )


def events_frame(events: tuple[Happened, ...]) -> bytes:
    """JSON of tonight's events, newest first."""
    return msgspec.json.encode([Event(f"{one.at:%H:%M}", one.text) for one in events])


def alarm(state: State, one: OpenAlarm) -> Alarm:
    """An open alarm as it is sent."""
    return Alarm(
        alarm_id(state.run, one.number), one.pattern, one.priority, one.title, one.lines,
        Moment(f"{one.since:%H:%M}", one.since.timestamp()), one.stage, one.why, one.going, one.drill,
    )  # fmt: skip


def alarm_id(run: str, number: int) -> str:
    """Names an alarm through restarts: after one, an old answer must not fit a new alarm."""
    return f"{run}:{number}"


def moment(at: datetime | None) -> Moment | None:
    """A time as it is sent."""
    return None if at is None else Moment(f"{at:%H:%M}", at.timestamp())


def level(dbfs: float) -> int:
    """Whole dB, not below `FLOOR`."""
    return max(FLOOR, round(dbfs)) if math.isfinite(dbfs) else FLOOR
