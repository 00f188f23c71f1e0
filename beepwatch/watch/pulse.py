"""The loop's sign of life, by systemd's notify protocol (sd_notify(3)): to systemd, or to our own second process.

`WATCHDOG=1` only ever follows a block that the recogniser has understood in time. While it cannot hear and sounds for
it, `X_BEEPWATCH=alarming` tells the second process so; systemd leaves out what begins with X_.
"""

import os
import socket
from collections.abc import Callable

EACH = 1.0
"""s between two signs."""


def address(value: str) -> tuple[int, "str | tuple[str, int]"]:
    """Socket family and address of NOTIFY_SOCKET: a path, an abstract one (@), or (ours, for Windows) host:port."""
    if value.startswith(("/", "@")) and hasattr(socket, "AF_UNIX"):
        return socket.AF_UNIX, f"\0{value[1:]}" if value.startswith("@") else value
    host, _, port = value.rpartition(":")
    return socket.AF_INET, (host, int(port))


class Notify:
    """Sends to NOTIFY_SOCKET; never waits, never raises. `gone`: whether nobody takes it any more."""

    def __init__(self, value: str) -> None:
        family, self._address = address(value)
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self.gone = False

    def send(self, *lines: str) -> None:
        """Send these assignments as one message."""
        try:
            self._socket.sendto("\n".join(lines).encode(), self._address)
        except BlockingIOError:
            return  # it is busy: the next one will do
        except OSError:
            self.gone = True
        else:
            self.gone = False

    def close(self) -> None:
        """Send no more."""
        self._socket.close()


class Pulse:
    """Says once a second whether sound was processed, and whether the alarm for not hearing is under way."""

    def __init__(self, send: Callable[..., None]) -> None:
        self._send = send
        self._ready = self._fresh = False
        self._next = 0.0
        self._status = ""

    def heard(self) -> None:
        """A block was understood in time."""
        self._fresh = True

    def look(self, now: float, deaf: str | None) -> None:
        """Give a sign if it is time; deaf: why it cannot hear, while it tells so; None while it hears."""
        if now < self._next:
            return
        self._next = now + EACH
        lines = [] if deaf is None else ["X_BEEPWATCH=alarming"]
        if self._fresh:
            lines += [*(["READY=1"] if not self._ready else []), "WATCHDOG=1"]
            self._ready, self._fresh = True, False
        if self._ready or deaf is not None:
            lines += self._changed("Listening." if deaf is None else f"NOT LISTENING: {deaf}.")
        if lines:
            self._send(*lines)

    def stopping(self) -> None:
        """A person ends it."""
        self._send("STOPPING=1")

    def _changed(self, status: str) -> list[str]:
        old, self._status = self._status, status
        return [] if status == old else [f"STATUS={status}"]


def notify_of(environment: "os._Environ[str] | dict[str, str]") -> Notify | None:
    """Where signs of life go; None where nobody asked for them. Our own children are not to send any."""
    value = environment.pop("NOTIFY_SOCKET", "")
    return Notify(value) if value else None
