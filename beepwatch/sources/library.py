"""PortAudio as this one process has it: its open streams, and looking anew for the devices that there are.

PortAudio lists devices once, when it begins: a microphone that was pulled out and put in again is not in the list, or
under another number (measured). Only its end and a new beginning list anew, and those close every stream and may hang
for as long as the sound server does. So a fresh process is asked first, with a time-out.
"""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Condition, Lock
from types import ModuleType
from weakref import WeakSet

PATIENCE = 5.0
"""s for the fresh process: it takes 0.2 s where the sound system answers (measured)."""
WAIT = 3.0
"""s that a call waits for a new beginning to be over."""
ASK = """
import ast, sys, sounddevice
print(sounddevice.query_devices(ast.literal_eval(sys.argv[1]), sys.argv[2])["name"])
"""


class Busy(Exception):  # noqa: N818 - reads as what it means
    """The library begins anew, and has not come to an end of it."""


class Held:
    """A stream of sounddevice that may be closed from another thread at any time."""

    def __init__(self, stream: ModuleType) -> None:
        self._stream = stream
        self._lock = Lock()
        self._gone = False

    @property
    def active(self) -> bool:
        """Whether it runs, as far as the sound system says; False while it is being closed."""
        if not self._lock.acquire(blocking=False):
            return False
        try:
            return not self._gone and bool(self._stream.active)
        finally:
            self._lock.release()

    @property
    def latency(self) -> float:
        """s, as the sound system says."""
        return 0.0 if self._gone else float(self._stream.latency)

    def abandon(self) -> None:
        """Drop it and close it, once. May hang for as long as the sound server does."""
        with self._lock:
            if self._gone:
                return
            # Never `stop`: it waits for a server that may hang or is suspended (measured).
            self._stream.abort(ignore_errors=True)
            self._stream.close(ignore_errors=True)
            self._gone = True


class Library:
    """Counts the calls that are under way, so that none is while the library begins anew."""

    def __init__(self) -> None:
        self._change = Condition()
        self._calls = 0
        self._anew = False
        self._streams: WeakSet[Held] = WeakSet()

    @contextmanager
    def call(self) -> Iterator[None]:
        """Round a call into PortAudio. Raises Busy where the library does not come to an end of beginning anew."""
        with self._change:
            if not self._change.wait_for(lambda: not self._anew, WAIT):
                raise Busy
            self._calls += 1
        try:
            yield
        finally:
            with self._change:
                self._calls -= 1

    def hold(self, stream: ModuleType) -> Held:
        """A stream that was opened."""
        held = Held(stream)
        self._streams.add(held)
        return held

    def refresh(self, sounddevice: ModuleType) -> bool:
        """Close every stream, end PortAudio and begin it anew; False where a call is under way (it may hang)."""
        with self._change:
            if self._anew or self._calls:
                return False
            self._anew = True
        for stream in list(self._streams):
            stream.abandon()
        sounddevice._terminate()
        sounddevice._initialize()
        with self._change:  # a beginning that never ends keeps every call out, and each says so after its wait
            self._anew = False
            self._change.notify_all()
        return True


LIBRARY = Library()
"""PortAudio's state is one for the whole process, and so is this."""


def fresh_name(device: str | int | None, kind: str) -> str | None:
    """The name under which a fresh process finds this device (kind: "input", "output"); None where it does not."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", ASK, repr(device), kind],
            capture_output=True, text=True, timeout=PATIENCE, check=True, stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout.strip() or None
