"""A rehearsal in a running watch: asked for by a file, woken for by the real ladder, marked as drill everywhere."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import msgspec

from beepwatch.errors import BeepwatchError
from beepwatch.events import Alarm, Ended, Raised
from beepwatch.records.drill import Drill, Stage, drill_mark, read_drill, write_drill
from beepwatch.records.whole import Mark
from beepwatch.waking.actions import Action
from beepwatch.waking.entry import DRILLED
from beepwatch.watch.logbook import Logbook
from beepwatch.watch.timeline import Timeline
from beepwatch.watch.waker import Wakes

EACH = 1.0
"""s between two looks at the file."""
LONGEST = 600.0
"""s after which a drill that nobody answers is over (judgement: every step of a ladder has begun by then)."""


class Rehearsing:
    """For the loop's thread. carry_out: hands actions to screen and history. say: one line for the screen."""

    def __init__(
        self,
        waker: Wakes,
        logbook: Logbook,
        timeline: Timeline,
        carry_out: Callable[[list[Action]], None],
        say: Callable[[str], None],
        *,
        wall: Callable[[], datetime],
        folder: Path,
    ) -> None:
        self._waker, self._logbook, self._timeline = waker, logbook, timeline
        self._carry_out, self._say, self._wall, self._folder = carry_out, say, wall, folder
        self._mark: Mark | None = None
        self._next = 0.0
        self._count = 0
        self._now: tuple[Drill, Alarm, float] | None = None

    def look(self, now: float, hearing: bool) -> None:
        """Begin what is asked for, tell what became of it. hearing: whether the room is heard now."""
        if self._now is not None:
            self._follow(now)
        if now >= self._next:
            self._next = now + EACH
            self._look_at_file(now, hearing)

    def _look_at_file(self, now: float, hearing: bool) -> None:
        if (mark := drill_mark(self._folder)) == self._mark:
            return
        self._mark = mark
        try:
            drill = read_drill(self._folder)
        except BeepwatchError as error:
            self._say(f"{error}.")
            return
        if drill is not None and drill.stage == "asked" and self._now is None and drill.fresh(self._wall()):
            self._begin(drill, now, hearing)

    def _begin(self, drill: Drill, now: float, hearing: bool) -> None:
        refusal = self._refusal(hearing)
        if refusal is not None:
            self._tell(drill, "refused", why=refusal)
            return
        self._count += 1
        at = self._timeline.stream(now)
        alarm = Alarm(
            number=DRILLED - self._count, pattern=drill.pattern, priority=drill.priority, onset=at, raised=at,
            ended=None, last=at, beeps=0, duration=drill.beep, period=None, frequency=drill.tone,
            confidence=drill.confidence, why="A drill: the taught beep, made again as a sound",
        )  # fmt: skip
        actions = self._waker.rehearse(alarm, now)
        self._now = drill, alarm, now
        self._logbook.alarm(Raised(at, alarm))
        self._say(f"DRILL: {alarm.pattern}. This is a rehearsal, asked for by {drill.by or 'somebody'}.")
        self._carry_out(actions)
        self._tell(drill, "begun")

    def _refusal(self, hearing: bool) -> str | None:
        if not hearing:
            return "I do not hear the room now"
        if self._waker.paused:
            return "a planned pause holds"
        return "an alarm wakes somebody now" if self._waker.waking else None

    def _follow(self, now: float) -> None:
        """Whether the drill is over, and how."""
        if self._now is None:
            return
        drill, alarm, began = self._now
        answered = self._logbook.answered.get(alarm.number)
        late = now - began >= LONGEST
        if self._waker.drilling and not late:
            return
        actions = self._waker.end_drill(now)
        self._now = None
        at = self._timeline.stream(now)
        self._logbook.alarm(Ended(at, replace(alarm, ended=at, last=at)))
        stage: Stage = "answered" if answered is not None else ("unanswered" if late else "interrupted")
        self._say(_told(stage, answered))
        self._carry_out(actions)
        self._tell(drill, stage, seconds=answered)

    def _tell(self, drill: Drill, stage: Stage, *, why: str = "", seconds: float | None = None) -> None:
        try:
            write_drill(self._folder, msgspec.structs.replace(drill, stage=stage, why=why, seconds=seconds))
        except BeepwatchError as error:
            self._say(f"{error}.")
        self._mark = drill_mark(self._folder)


def _told(stage: Stage, seconds: float | None) -> str:
    if seconds is not None:
        return f"The drill is over: answered after {seconds:.0f} s."
    if stage == "unanswered":
        return f"The drill is over: NOBODY ANSWERED in {LONGEST / 60:.0f} min."
    return "The drill is over: a real alarm came."
