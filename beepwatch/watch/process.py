"""The process round the loop: signals, keys, standard streams and the log."""

import io
import logging
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import FrameType
from typing import TypeAlias

from beepwatch.waking.commands import Going
from beepwatch.watch.keypad import Keypad
from beepwatch.watch.keys import Keys
from beepwatch.watch.loop import Watch

Handler: TypeAlias = Callable[[int, FrameType | None], object] | int | None
LOG = logging.getLogger("beepwatch")
LOG_BYTES = 1_000_000
"""Size at which the log begins anew; one old one is kept."""


@contextmanager
def listening(watch: Watch, live: bool, folder: Path, keypad: str = "") -> Iterator[bool]:
    """Signals, keys, log and standard error while it listens; gives whether a key can answer. keypad: "" for none."""
    log = _log_to(folder / "watch.log")
    before = take_signals(watch.stop, live)
    keys = Keys(watch.press)
    pad = Keypad(Path(keypad), lambda: watch.command(Going(by="", via="keypad")), watch.tell) if keypad else None
    try:
        with errors_to(folder / "sound-system.log"):
            yield keys.usable or pad is not None
    finally:
        if pad is not None:
            pad.close()
        keys.close()
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        _close_log(log)


def take_signals(stop: Callable[[], None], live: bool) -> "dict[signal.Signals, Handler]":
    """Ctrl-C and SIGTERM end the listening. Nothing else does: no closed terminal, no Ctrl-Z."""
    wanted: dict[signal.Signals, Handler] = dict.fromkeys((signal.SIGINT, signal.SIGTERM), lambda *_: stop())
    if live:
        names = ("SIGHUP", "SIGTSTP", "SIGTTIN", "SIGTTOU")
        wanted |= {getattr(signal, name): signal.SIG_IGN for name in names if hasattr(signal, name)}
    return {number: signal.signal(number, handler) for number, handler in wanted.items()}


@contextmanager
def errors_to(path: Path) -> Iterator[None]:
    """Send what the sound libraries print by themselves, many lines at each fault, to a file beside the history."""
    try:
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_APPEND, 0o600)
    except OSError:
        yield
        return
    kept = os.dup(2)
    try:
        os.dup2(file, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(file)


def open_standard_streams() -> None:
    """Where input, output or error are closed, put nothing there: or the history could be opened in their place."""
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest free one: this
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def _log_to(path: Path) -> logging.Handler | None:
    """Keep what happens in a file too; a log that cannot be written stops nothing."""
    logging.raiseExceptions = False
    try:
        handler = RotatingFileHandler(path, maxBytes=LOG_BYTES, backupCount=1, encoding="utf-8")
    except OSError as error:
        print(f"beepwatch: no log can be written to {path}: {error.strerror}", file=sys.stderr)
        return None
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    LOG.propagate = False
    return handler


def _close_log(handler: logging.Handler | None) -> None:
    if handler is not None:
        LOG.removeHandler(handler)
        handler.close()
    LOG.propagate = True
