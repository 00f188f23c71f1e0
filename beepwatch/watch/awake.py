"""Keeps the computer from going to sleep while it listens, by what the system offers; says what it could not.

Linux: `systemd-inhibit` holds sleep, idling and the lid's switch for as long as its child lives, which is as long as
this process does. macOS: `caffeinate`. Windows: SetThreadExecutionState. The last two are untested.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence

WHY = "beepwatch listens for alarms of a breathing device"
LID = "close the lid and it sleeps: leave it open"
ADVICE = "switch automatic sleep off in the system's settings, and leave the lid open"
WITH_LID, WITHOUT_LID = "sleep:idle:handle-lid-switch", "sleep:idle"
STEADY = 0x80000001
"""ES_CONTINUOUS | ES_SYSTEM_REQUIRED of Windows' SetThreadExecutionState."""


def holders(platform: str) -> list[tuple[str, ...]]:
    """The commands to try, the best one first, each of which holds the computer awake while it runs."""
    if platform == "darwin":
        return [("caffeinate", "-i", "-s", "-w", str(os.getpid()))]
    if platform == "linux":
        return [_inhibit(WITH_LID), _inhibit(WITHOUT_LID)]
    return []


def _inhibit(what: str) -> tuple[str, ...]:
    return ("systemd-inhibit", f"--what={what}", "--who=beepwatch", f"--why={WHY}", "--mode=block", "cat")


class Awake:
    """Holds the computer awake from `start` to `close`."""

    def __init__(self, platform: str = sys.platform) -> None:
        self._platform = platform
        self._left = holders(platform)
        self._child: subprocess.Popen[bytes] | None = None
        self._held = False

    def start(self) -> "Awake":
        """Begin. Never waits: whether it worked is seen later, by `trouble`."""
        if self._platform == "win32":
            self._held = _windows(STEADY)
        else:
            self._next()
        return self

    @property
    def trouble(self) -> str | None:
        """Look how it stands; where the best way has failed, the next one is tried."""
        if self._platform == "win32":
            return None if self._held else ADVICE
        while self._child is None or self._child.poll() is not None:
            if not self._left:
                return ADVICE
            self._next()
        return LID if WITHOUT_LID in _what(self._child.args) else None

    def close(self) -> None:
        """Let it sleep again."""
        child, self._child = self._child, None
        if child is not None:
            if child.stdin is not None:
                child.stdin.close()
            child.terminate()
            child.wait()

    def _next(self) -> None:
        self.close()
        words = self._left.pop(0) if self._left else ()
        if not words or shutil.which(words[0]) is None:
            return
        nowhere = subprocess.DEVNULL
        self._child = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=nowhere, stderr=nowhere)


def _what(words: object) -> list[str]:
    """What of systemd-inhibit's argument list is asked for."""
    every = [str(word) for word in words] if isinstance(words, Sequence) else []
    return [word.removeprefix("--what=") for word in every if word.startswith("--what=")]


def _windows(state: int) -> bool:
    """Ask Windows to stay awake for this thread; untested."""
    if sys.platform != "win32":
        return False
    import ctypes  # noqa: PLC0415 - only there

    return bool(ctypes.windll.kernel32.SetThreadExecutionState(state))
