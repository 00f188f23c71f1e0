"""The beat of an open alarm: when its beeps or groups began, and the period between them."""

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

LATELY = 16
"""Onsets that the period is measured over: a breath that changed its rate is told so after half of them (judgement;
over eight beeps the period errs by under 0.05 %, tests/bench/naming.py)."""
MOST = 4
"""Periods from one onset to the next at most: over a longer pause the beat cannot be counted on (judgement)."""
OFF = 0.25
"""Periods by which a beep may come off the beat (judgement: a breath that wanders by 10 % does so once in 80 times)."""
AGAIN = 0.1
"""s by which the onsets of one group may differ from harmonic to harmonic (rooms move edges by 0.03 s: judgement); the
fastest regular beeping begins each 0.25 s."""
SLOWER = 6
"""Gaps in a row that were all two periods or more: it now beeps more slowly (judgement: with 40 % of the beeps missed
0.4 % of such rows come by chance, and mend themselves)."""

WITH = (0.35, 0.1)
"""s, and periods, by which two tones of one beep may begin apart at most: another sound may hide the start of one of
them (judgement; of another device's beeps one in five does so by chance)."""


class Beat:
    """Onsets lately, s, and how many periods lie between them."""

    def __init__(self) -> None:
        self._onsets: deque[float] = deque(maxlen=LATELY)
        self._places: deque[int] = deque(maxlen=LATELY)
        self.period: float | None = None
        """s from onset to onset, missed beeps divided out: the median slope between onsets half the record apart (a
        median of periods, less moved by each edge's error)."""

    @property
    def newest(self) -> float | None:
        """The latest onset."""
        return self._onsets[-1] if self._onsets else None

    def mark(self, onset: float) -> bool:
        """One more onset; False when it is hardly later than the newest: the same group again, by its harmonics."""
        if self._onsets and onset <= self._onsets[-1] + AGAIN:
            return False
        steps = 1
        if self._onsets and self.period is not None:
            steps = max(1, round((onset - self._onsets[-1]) / self.period))
        if steps > MOST:
            steps = self._lost()
        self._places.append(self._places[-1] + steps if self._places else 0)
        self._onsets.append(onset)
        self._slow_down()
        self._measure()
        return True

    def due(self, onset: float) -> bool:
        """Whether a beep may be due at `onset`; of an unknown beat it always may."""
        if self.period is None or not self._onsets:
            return True
        place = (onset - self._onsets[-1]) / self.period
        return abs(place - round(place)) <= OFF

    def shared(self, onsets: Sequence[float]) -> tuple[int, int]:
        """How many of `onsets` are those lately marked, to WITH, and how many of them are so late."""
        most, share = WITH
        apart = min(most, share * (self.period or 0.0))
        late = [onset for onset in onsets if self._onsets and onset >= self._onsets[0] - apart]
        return sum(any(abs(onset - own) <= apart for own in self._onsets) for onset in late), len(late)

    def in_step(self, onset: float, slack: float) -> bool:
        """Whether `onset` lies whole periods before or after the newest one, to `slack` s."""
        if self.period is None or not self._onsets:
            return False
        apart = onset - self._onsets[-1]
        return abs(apart - round(apart / self.period) * self.period) <= slack

    def off(self, onset: float) -> float:
        """s from `onset` to the nearest of the newest onset and the LATELY due times after it; inf beyond these."""
        if self.period is None or not self._onsets:
            return math.inf
        apart = onset - self._onsets[-1]
        steps = round(apart / self.period)
        return abs(apart - steps * self.period) if 0 <= steps <= LATELY else math.inf

    def move_last(self, onset: float) -> None:
        """The newest onset is now known to be this."""
        if self._onsets:
            self._onsets[-1] = onset

    def forget(self) -> None:
        """Start anew."""
        self._onsets.clear()
        self._places.clear()
        self.period = None

    def _lost(self) -> int:
        """After a pause begin anew with the old period; after a second one just then, with the gap for a period."""
        if len(self._onsets) == 1:
            self.period = None
        else:
            self._onsets.clear()
            self._places.clear()
        return 1

    def _slow_down(self) -> None:
        """Where no gap was one period for a while the period is another: that of the median gap."""
        places = list(self._places)[-SLOWER - 1 :]
        if len(places) <= SLOWER or min(young - old for old, young in pairwise(places)) < 2:
            return
        onsets = list(self._onsets)[-SLOWER - 1 :]
        self.forget()
        self.period = median(young - old for old, young in pairwise(onsets))
        for onset in onsets:
            self.mark(onset)

    def _measure(self) -> None:
        count = len(self._onsets)
        if count < 2 or (self.period is not None and count < 3):
            return
        half = count // 2
        self.period = median(
            (self._onsets[i + half] - self._onsets[i]) / (self._places[i + half] - self._places[i])
            for i in range(count - half)
        )
