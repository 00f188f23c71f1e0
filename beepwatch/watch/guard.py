"""`watch --guarded`: a small second process that starts the first one, sounds when it is killed or hangs, revives it.

The first process is told where to send its signs of life (see `pulse`). This one never opens the microphone, and the
speaker only when it has to sound.
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Protocol

from beepwatch.channels.rounds import Round
from beepwatch.waking.messages import Messages
from beepwatch.watch.keys import Keys, terminal_restorer
from beepwatch.watch.pulse import Notify
from beepwatch.watch.watchdog import Order, Watchdog

STEP = 0.25
"""s from look to look."""
PATIENCE = 12.0
"""s that the first process has to end in, when a person ends it."""
NUMBER = -1
"""Of the alarm that is told."""
MESSAGE = "cannot-hear-ended"


class Sounds(Protocol):
    """What is needed of `Backed`."""

    def play(self, round_: Round) -> None:
        """Sound until `stop`."""

    def stop(self) -> None:
        """Be silent."""


@dataclass(frozen=True, slots=True)
class Means:
    """What the guard sounds and speaks with. sounds: made when first needed; None: it only shows."""

    sounds: Callable[[], Sounds] | None
    messages: Messages
    say: Callable[[str], None]


class Mailbox:
    """Where the first process sends its signs of life; `name` for its NOTIFY_SOCKET."""

    def __init__(self) -> None:
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        if hasattr(socket, "AF_UNIX"):
            self._folder = tempfile.TemporaryDirectory(prefix="bw.")
            self.name = str(Path(self._folder.name) / "life")
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
            self._socket.bind(self.name)
        else:
            self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            self._socket.bind(("127.0.0.1", 0))
            self.name = f"127.0.0.1:{self._socket.getsockname()[1]}"
        self._socket.settimeout(STEP)

    def take(self) -> list[str]:
        """The lines of the next message; none after `STEP` s."""
        try:
            return self._socket.recv(4096).decode(errors="replace").splitlines()
        except TimeoutError:
            return []

    def close(self) -> None:
        """Remove it."""
        self._socket.close()
        if self._folder is not None:
            self._folder.cleanup()


class Guard:
    """Runs `command` until a person ends it; `run` returns its exit code.

    upstream: systemd's own socket, which gets each sign of life that the first process gives. clock: one that stands
    still while the computer sleeps, for then nobody can give a sign of life.
    """

    def __init__(
        self, command: Sequence[str], means: Means, upstream: Notify | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._command, self._means, self._upstream, self._clock = tuple(command), means, upstream, clock
        self._dog = Watchdog(clock(), insists=upstream is not None)
        self._mail = Mailbox()
        self._child: subprocess.Popen[bytes] | None = None
        self._speaker: Sounds | None = None
        self._keys: Keys | None = None
        self._answer = Event()
        self._stop: signal.Signals | None = None
        self._stopped_at = 0.0
        self._code: int | None = None

    def stop(self, number: int = signal.SIGTERM) -> None:
        """End it all; may be called by a signal handler."""
        self._stop = signal.Signals(number)

    def run(self) -> int:
        """Watch over the first process until a person ends it."""
        try:
            while self._code is None:
                self._step()
        finally:
            self._quiet()
            self._mail.close()
            if self._child is not None and self._child.poll() is None:
                self._child.kill()
        return self._code

    def _step(self) -> None:
        for order in self._dog.look(self._clock()):
            self._carry_out(order)
        lines = self._mail.take() if self._child is not None or self._stop is None else []
        self._note(lines)
        child = self._child
        if child is not None and (code := child.poll()) is not None:
            self._child = None
            self._dog.ended(self._clock(), code)
        if self._answer.is_set():
            self._answer.clear()
            self._dog.answered()
        if self._stop is not None:
            self._end()

    def _note(self, lines: list[str]) -> None:
        now = self._clock()
        if "WATCHDOG=1" in lines:
            self._dog.hears(now)
        elif "X_BEEPWATCH=alarming" in lines:
            self._dog.alarms(now)
        if self._upstream is not None and lines:
            self._upstream.send(*(line for line in lines if not line.startswith("X_")))

    def _carry_out(self, order: Order) -> None:
        if order.act == "start":
            self._start()
        elif order.act == "kill" and self._child is not None:
            self._child.kill()  # SIGKILL ends a stopped process too
        elif order.act == "sound":
            self._sound(order.why)
        elif order.act == "quiet":
            self._quiet()
            self._means.say(f"{order.why}.")
        elif order.act == "over":
            self._code = order.code

    def _start(self) -> None:
        env = os.environ | {"NOTIFY_SOCKET": self._mail.name}
        self._child = subprocess.Popen(self._command, env=env)
        self._dog.started(self._clock())

    def _sound(self, why: str) -> None:
        say = self._means.messages
        self._means.say(f"! {why}")
        self._means.say(say.screen(say.title(MESSAGE), *say.lines(MESSAGE)) + "\a")
        if self._means.sounds is not None:
            self._speaker = self._speaker or self._means.sounds()
            self._speaker.play(Round((NUMBER,), "high", say.lines(MESSAGE)))
        self._keys = self._keys or Keys(lambda _: self._answer.set())

    def _quiet(self) -> None:
        if self._speaker is not None:
            self._speaker.stop()
        if self._keys is not None:
            self._keys.close()
            self._keys = None

    def _end(self) -> None:
        """A person ends it: the first process too, by the same signal."""
        child, now = self._child, time.monotonic()
        if not self._stopped_at:
            self._stopped_at = now
            self._dog.stop()
            if child is not None:
                child.send_signal(self._stop or signal.SIGTERM)
        elif child is not None and now - self._stopped_at > PATIENCE:
            child.kill()


def guarded(guard: Guard) -> int:
    """Run it with the signals of a program that only a person ends; return the exit code.

    A process that is killed cannot give the terminal back as it was: that is done here.
    """
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda got, _: guard.stop(got))
    for name in ("SIGHUP", "SIGTSTP", "SIGTTIN", "SIGTTOU"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    restore = terminal_restorer(0)
    try:
        return guard.run()
    finally:
        restore()


def first_process(arguments: Sequence[str]) -> list[str]:
    """The command of the first process: this program, with the same words but `--guarded`."""
    return [sys.executable, "-m", "beepwatch", *(word for word in arguments if word != "--guarded")]
