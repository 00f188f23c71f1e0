"""How loud a room usually is at one microphone: what a fall of the gain, or a new fan, is told from. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from beepwatch.events import Noise

LOWEST = -140.0
"""dBFS of the first cell of 1 dB; the last one holds 0 dBFS."""
CELLS = 141
MOST = 100 * 3600.0
"""s that are remembered: older ones fade (judgement: some ten nights)."""
KNOWN = 8 * 3600.0
"""s of listening after which the quietest hours of a room are known (judgement: a night with its quiet hours)."""
BEGUN = 600.0
"""s of listening before anything is said (judgement)."""
DROP = 10.0
"""dB under the quietest that a known room ever was: no room gets quieter than its quietest (judgement)."""
EARLY_DROP = 25.0
"""dB under it while the room is not known yet: a fan that is switched off falls by up to 20 (judgement)."""
RISE = 10.0
"""dB over what is usual: a hearing margin of 15 dB, as `check` asks for, is then nearly used up (judgement)."""
QUIETEST, LOUDEST = 0.02, 0.9
"""Quantiles that stand for the quietest and the loudest that is usual (judgement)."""
SLOWLY = 0.1
"""Share at which an unusual level is learnt: a microphone under a pillow must not soon count as usual, one that was
exchanged must some day (judgement)."""

Change: TypeAlias = Literal["dropped", "louder"]


def level_of(noise: Noise) -> float:
    """One figure for the noise of a room: the mean over its bands, dBFS."""
    return float(np.mean([level for _, level in noise.bands]))


@dataclass(frozen=True, slots=True)
class Limits:
    """dBFS outside of which a level is not usual."""

    low: float
    high: float


class Usual:
    """Learns how loud it is; `kept` is what `state` gave before."""

    def __init__(self, kept: Sequence[float] = ()) -> None:
        well = len(kept) == CELLS and all(0 <= one <= MOST for one in kept)
        self._seconds = np.array(kept if well else [0.0] * CELLS)

    @property
    def state(self) -> list[float]:
        """s spent at each level, to be kept from night to night."""
        return [round(float(one), 1) for one in self._seconds]

    @property
    def learnt(self) -> float:
        """s of listening that are remembered."""
        return float(self._seconds.sum())

    def limits(self) -> Limits | None:
        """What is usual; None while too little was heard."""
        learnt = self.learnt
        if learnt < BEGUN:
            return None
        quietest, loudest = (self._quantile(share) for share in (QUIETEST, LOUDEST))
        return Limits(quietest - (DROP if learnt >= KNOWN else EARLY_DROP), loudest + RISE)

    def heard(self, level: float, seconds: float) -> Change | None:
        """The room had this level (dBFS) for so long: what is unusual about it. Learns it, too."""
        limits = self.limits()
        change: Change | None = None
        if limits is not None:
            change = "dropped" if level < limits.low else "louder" if level > limits.high else None
        cell = int(np.clip(round(level - LOWEST), 0, CELLS - 1)) if np.isfinite(level) else 0
        self._seconds[cell] += seconds * (1.0 if change is None else SLOWLY)
        if self.learnt > MOST:
            self._seconds *= MOST / self.learnt
        return change

    def _quantile(self, share: float) -> float:
        sums = np.cumsum(self._seconds)
        return LOWEST + int(np.searchsorted(sums, share * sums[-1]))
