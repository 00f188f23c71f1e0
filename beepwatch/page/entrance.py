"""The listening socket, with a bound on what comes in.

A flood of connections must not take the open files that the listening itself and the history need.
"""

import socket
from collections import Counter
from typing import TypeAlias

EACH = 40
"""Open connections of one address at most; a phone needs six (a browser's own limit a host)."""
ALL = 250
"""Of all together: a quarter of the 1024 open files that a process commonly may have."""
Peer: TypeAlias = "tuple[str, int] | tuple[str, int, int, int]"


class Entrance(socket.socket):
    """A listening socket; a connection too many is closed at once, before TLS."""

    def __init__(self, family: int = -1, kind: int = -1, proto: int = -1, fileno: int | None = None) -> None:
        super().__init__(family, kind, proto, fileno)
        self._open: Counter[str] = Counter()

    def accept(self) -> "tuple[socket.socket, Peer]":
        """The next connection that may stay. Raises BlockingIOError where none waits."""
        while True:
            came, peer = super().accept()
            host = str(peer[0])
            if self._open[host] < EACH and self._open.total() < ALL:
                came.setblocking(False)
                return _Counted(came, self._open, host), peer
            came.close()


class _Counted(socket.socket):
    """A connection that is counted until it is closed."""

    def __init__(self, came: socket.socket, counter: "Counter[str]", host: str) -> None:
        super().__init__(came.family, came.type, came.proto, came.detach())
        self._counter, self._host = counter, host
        counter[host] += 1

    def close(self) -> None:
        """Close, and count it off, once."""
        if self.fileno() >= 0:
            self._counter[self._host] -= 1
            if self._counter[self._host] <= 0:
                del self._counter[self._host]
        super().close()
