"""Rate limits by token buckets: so many at once, so many a minute. For strangers only: see `gate`."""

from collections import OrderedDict
from collections.abc import Callable

BURST = 30.0
"""Requests of one unpaired peer at once: the pairing page needs five (judgement)."""
MINUTE = 30.0
"""And a minute: 150 guesses in a code's five minutes, of 2^79 codes."""
TOTAL = 10.0
"""Times as much for all unpaired peers together."""
PEERS = 1000
"""Peers remembered; the longest unseen is forgotten."""


class Buckets:
    """One bucket a peer, and one for all. ticks: a clock that is never set, s."""

    def __init__(self, ticks: Callable[[], float]) -> None:
        self._ticks = ticks
        self._peers: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._all = (BURST * TOTAL, ticks())

    def take(self, peer: str) -> bool:
        """Whether this peer may ask once more now."""
        now = self._ticks()
        level, at = self._peers.pop(peer, (BURST, now))
        level = min(BURST, level + (now - at) * MINUTE / 60)
        total = min(BURST * TOTAL, self._all[0] + (now - self._all[1]) * MINUTE * TOTAL / 60)
        allowed = level >= 1 and total >= 1
        self._peers[peer] = (level - allowed, now)
        self._all = (total - allowed, now)
        while len(self._peers) > PEERS:
            self._peers.popitem(last=False)
        return allowed
