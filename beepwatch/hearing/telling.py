"""What is told of the bursts found, and when: each waits until no partial of the same sounder can come any more."""

from beepwatch.events import Beep, Heard, Noise

from .background import Background
from .baseband import KEPT_SECONDS
from .doubt import Doubt
from .finish import Found, bursts, collect
from .floor import BLOCK
from .following import STEADY, Following
from .kin import patience
from .looks import line_like
from .ours import Ours
from .sounders import Waiting, fundamental, together
from .spectrum import HOP_SECONDS
from .stream import Stream
from .track import Track

UNKNOWN_ONSET = 25.0
"""Seconds from the start within which a tone that was there already must end to be told as a beep."""
RECENT = 320
"""Frames (20 s) after its end in which a burst told already is compared with later ones that sounded with it: a partial
may run on over many pulses of its fundamental (judgement: as long as the longest beep that has a name)."""
SAME_LINE = 0.01
"""Relative: two bursts at one time this near are one (tracks hold 5 bins on each side, 1.4 % of 2.7 kHz)."""
LONGEST_AGAIN = 1.3
"""Times a burst's length under which another of the same time and line is the same, found by looking back; a longer one
tells more (judgement)."""


class Telling:
    """The bursts of one stream since its (re)start."""

    def __init__(self, stream: Stream, background: Background, following: Following, ours: Ours) -> None:
        self._stream, self._background, self._following, self._ours = stream, background, following, ours
        self._waiting: list[Waiting] = []
        self._recent: list[Waiting] = []
        self._held: list[Found] = []
        """Bursts of the last KEPT_SECONDS that a sounder made, or that are near the known tone."""
        self._doubt = Doubt()

    def settle(self, stop: int, final: bool = False) -> list[Heard]:
        """Fit what closed before frame `stop`, tell what waits for nothing more, and return all in order of time."""
        following = self._following
        if not (following.closings or following.fitted or following.out or self._waiting or self._recent):
            return []
        for track in sorted(self._following.closings, key=lambda t: (t.closed or 0, t.serial)):
            self._finish(track)
        self._following.closings = []
        for frame, _, found, relatives, wait in sorted(self._following.fitted, key=lambda item: item[:2]):
            self._hold_back(found, frame, relatives, wait)
        self._following.fitted = []
        dues = [(w.frame if final else self._due(w, stop), w) for w in self._waiting]
        for due, waiting in sorted(((d, w) for d, w in dues if d is not None), key=lambda item: item[0]):
            self._tell(waiting, due)
        self._waiting = [w for due, w in dues if due is None]
        told = sorted(self._following.out, key=lambda item: (item[0], _order(item[1])))
        self._following.out = []
        horizon = (stop - RECENT - BLOCK) * HOP_SECONDS
        self._recent = [w for w in self._recent if w.found.end > horizon]
        if len(self._following.closed_at) > 1024:
            self._following.closed_at = {s: f for s, f in self._following.closed_at.items() if f > stop - 64}
        return [event for _, event in told]

    def _finish(self, track: Track) -> None:
        frame, last, rows = track.told_at, track.last, self._stream.rows
        if track.seconds(last) > STEADY or not line_like(track, rows, last + 1):
            return
        collect(track, rows, self._stream.audio, frame + 1)
        for found in bursts(track, rows, self._stream.audio, self._following.known(track.tone)):
            if found.at_start and found.duration > UNKNOWN_ONSET:
                continue
            kin = self._following.relatives(track, frame)
            wait = patience(track, found, kin, rows, frame)
            self._following.fitted.append((frame, track.serial, found, tuple(one.serial for one in kin), wait))

    def _hold_back(self, found: Found, frame: int, relatives: tuple[int, ...], wait: int) -> None:
        known = self._following.known(found.hertz) is not None
        if self._told_before(found, known):
            return
        found = self._ours.apart(found, self._stream.seconds_at(0), known)
        sounder = self._doubt.sounder(found, known)
        if known or sounder:
            self._held.append(found)
        self._background.sounded.append(found)
        self._waiting.append(Waiting(found, sounder, frame, frame + wait, relatives))

    def _told_before(self, found: Found, known: bool) -> bool:
        """Was it told already: of a faint track, which hides nothing from the ordinary search, or by a look back?"""
        self._held = [old for old in self._held if old.end > found.end - KEPT_SECONDS]
        most = LONGEST_AGAIN if not known else float("inf")
        same = (old for old in self._held if abs(found.hertz / old.hertz - 1) < SAME_LINE and together(found, old))
        return any(found.duration < most * old.duration for old in same)

    def _due(self, waiting: Waiting, stop: int) -> int | None:
        """Frame at which a held-back burst can be told, None while it is not before `stop`."""
        ends = [waiting.frame]
        for track in self._following.tracks:
            if track.serial in waiting.relatives:
                ends.append(waiting.due)
        ends += [self._following.closed_at[s] for s in waiting.relatives if s in self._following.closed_at]
        due = min(max(ends), waiting.due)
        return due if due < stop else None

    def _tell(self, waiting: Waiting, frame: int) -> None:
        since = max((frame - RECENT) * HOP_SECONDS, waiting.found.onset)
        each = {id(w): w for w in (*self._waiting, *self._recent)}.values()  # what was just told is in both
        others = [w for w in each if w is not waiting and w.frame <= frame and w.found.end > since]
        self._recent.append(waiting)
        found = fundamental(waiting, others)
        if found is None or not waiting.sounder:
            return
        stream, snr = self._stream, self._background.snr(found, frame)
        beep = Beep(
            stream.seconds_at(0) + found.onset, found.duration, found.hertz, found.level, snr,
            stream.seconds(frame), not found.at_start, found.character,
        )  # fmt: skip
        self._following.out.append((frame, beep))


def _order(event: Heard) -> tuple[float, float]:
    """Order of events that became known at the same frame."""
    if isinstance(event, Noise):
        return (event.at, 0.0)
    return (event.onset, event.frequency)
