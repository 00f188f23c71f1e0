"""How it stands at the bedside: from what the listener tells, and from its silence, to what must sound. Pure."""

from dataclasses import dataclass

import msgspec

from beepwatch.events import Priority

LOST = 6.0
"""s without a frame (the listener sends one each second) until the link counts as lost; with 3 s for the speaker to
open it sounds within 10 s."""
AGAIN = 600.0
"""s after a key until a link that is still lost sounds again: nobody listens all that time (judgement)."""
WAKING = ("waking", "stopped")
LINK = "link-lost"
HANGS = "listener-hangs"
SHOWN = {"listening": "I am linked, and the other room is listened to.", "ended": "The listening was ended there."}


class Alarm(msgspec.Struct, frozen=True):
    """An open alarm as the listener sends it; what else comes is left out."""

    id: str
    pattern: str
    priority: Priority
    title: str
    lines: tuple[str, ...]
    stage: str
    going: str = ""
    drill: bool = False


class Until(msgspec.Struct, frozen=True):
    """A time of the listener's."""

    clock: str


class Frame(msgspec.Struct, frozen=True):
    """What stands now, as the listener sends it each second."""

    hearing: str
    why: str = ""
    until: Until | None = None
    alarms: tuple[Alarm, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What must sound."""

    priority: Priority
    pattern: str
    """`LINK`, `HANGS`, or the alarm's."""
    lines: tuple[str, ...]
    """To be spoken; empty: the words of `pattern`."""
    alarms: tuple[str, ...] = ()
    """Ids of the alarms that it tells of."""


class Standing:
    """Takes frames and keys; says what must sound and what is shown. Times are readings of a clock never set, s."""

    def __init__(self, now: float) -> None:
        self._heard = now
        self._frame: Frame | None = None
        self._quiet_until = 0.0
        self._sent: set[str] = set()

    def frame(self, frame: Frame, now: float) -> None:
        """The listener tells how it stands."""
        if self.lost(now):
            self._quiet_until = 0.0
        self._heard, self._frame = now, frame
        open_ones = {one.id for one in frame.alarms}
        self._sent &= open_ones

    def lost(self, now: float) -> bool:
        """Whether nothing came for too long."""
        return now - self._heard > LOST

    def wanted(self, now: float) -> Wanted | None:
        """What must sound now; None: nothing."""
        trouble = self._trouble(now)
        if trouble is not None:
            return None if now < self._quiet_until else Wanted("high", trouble, ())
        waking = self.waking
        if not waking:
            return None
        lines = tuple(dict.fromkeys(line for one in waking for line in one.lines))
        return Wanted(waking[0].priority, waking[0].pattern, lines, tuple(one.id for one in waking))

    @property
    def waking(self) -> tuple[Alarm, ...]:
        """Alarms that nobody has answered, most urgent first; those answered here stay out while the word is away."""
        alarms = () if self._frame is None else self._frame.alarms
        return tuple(one for one in alarms if one.stage in WAKING and one.id not in self._sent)

    def key(self, now: float) -> tuple[str, ...]:
        """A key was pressed: ids of alarms that "I am going" is to be sent for. A lost link is silenced a while."""
        if self._trouble(now) is not None:
            self._quiet_until = now + AGAIN
            return ()
        return tuple(one.id for one in self.waking)

    def answered(self, alarms: tuple[str, ...]) -> None:
        """The listener took the answer for these."""
        self._sent |= set(alarms)

    def line(self, now: float) -> str:
        """One line for the screen."""
        if self._frame is None and not self.lost(now):
            return "NOT LISTENING yet: I look for the other computer."
        if self.lost(now) or self._frame is None:
            return f"NOT LISTENING: nothing came from the other computer for {now - self._heard:.0f} s."
        frame = self._frame
        if frame.hearing == "paused" and frame.until is not None:
            return f"NOT LISTENING until {frame.until.clock}: a planned pause."
        if frame.hearing in SHOWN:
            told = [f"{one.title} ({one.going or 'nobody'} is going)" for one in frame.alarms]
            return " ".join((SHOWN[frame.hearing], *told))
        return f"NOT LISTENING: {frame.why}"

    def _trouble(self, now: float) -> str | None:
        """The message for a link or a listener that fails; None where both are well."""
        if self.lost(now):
            return LINK
        if self._frame is not None and self._frame.hearing in ("stuck", "ended"):
            return HANGS
        return None
