"""A family's own way to wake: a program with its arguments, for a bed shaker, a lamp, a call to a neighbour.

No shell is in between, so nothing in a name or a message can be taken for a command. What there is to tell is in the
environment, as text in UTF-8:

    BEEPWATCH_EVENT     alarm or quiet
    BEEPWATCH_ALARM     the pattern, such as lead-disconnect
    BEEPWATCH_PRIORITY  high, medium or low
    BEEPWATCH_TITLE     one line
    BEEPWATCH_MESSAGE   all lines, with line feeds between
    BEEPWATCH_TO        whom it is to wake; may be empty
    BEEPWATCH_DRILL     1 in a rehearsal, else 0
"""

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread
from typing import IO

from beepwatch.channels.way import Tried
from beepwatch.errors import CannotWake
from beepwatch.sources.clock import ticking
from beepwatch.waking.actions import Alert

SAID = 200
"""Bytes of what a failed command printed that are kept."""


@dataclass(frozen=True, slots=True)
class _Job:
    """One run; alert None: the end of the waking."""

    alert: Alert | None


class CommandWay:
    """Runs one program after another from a thread of its own, so that "off" never overtakes "on". See `Way`."""

    def __init__(
        self,
        name: str,
        run: Sequence[str],
        report: Callable[[Tried], None],
        *,
        quiet: Sequence[str] = (),
        seconds: float = 10.0,
        ticks: Callable[[], float] = ticking,
    ) -> None:
        """run, quiet: program and arguments; seconds: until a run counts as failed and is ended."""
        self.name = name
        self._run, self._quiet = tuple(run), tuple(quiet)
        self._report, self._seconds, self._ticks = report, seconds, ticks
        self._left: set[int] = set()  # alarms that it was told of and that still need somebody
        self._jobs: SimpleQueue[_Job | None] = SimpleQueue()
        Thread(target=self._work, name=f"way {name}", daemon=True).start()

    def alert(self, alert: Alert) -> None:
        """See `Way`."""
        self._left |= set(alert.numbers)
        self._jobs.put(_Job(alert))

    def quiet(self, numbers: tuple[int, ...]) -> None:
        """See `Way`: once nothing of what it was told of is left."""
        if self._left and not self._left - set(numbers):
            self._jobs.put(_Job(None))
        self._left -= set(numbers)

    def close(self) -> None:
        """See `Way`: a lamp that is on goes off."""
        self.quiet(tuple(self._left))
        self._jobs.put(None)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            if job.alert is not None:
                fault = self._tried(self._run, _environment("alarm", job.alert))
                for number in job.alert.numbers:
                    self._report(Tried(self.name, job.alert.to, number, fault is None, fault or "", self._ticks()))
            elif self._quiet:
                self._tried(self._quiet, _environment("quiet", None))

    def _tried(self, command: tuple[str, ...], environment: dict[str, str]) -> str | None:
        """Run it; None where it ended well, else why not, in one line."""
        try:
            with tempfile.TemporaryFile() as said:
                _run(command, environment, said, self._seconds)
        except CannotWake as fault:
            return str(fault)
        except OSError as error:
            return f"{command[0]} cannot be run: {error.strerror or error}"
        return None


def _run(command: tuple[str, ...], environment: dict[str, str], said: IO[bytes], seconds: float) -> None:
    """One run in a session of its own. Raises CannotWake for a failure or too long a run, OSError where none began."""
    child = subprocess.Popen(
        command, env=environment, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.STDOUT,
        start_new_session=True,
    )  # fmt: skip
    try:
        code = child.wait(seconds)
    except subprocess.TimeoutExpired as late:
        _end(child)
        raise CannotWake(f"{command[0]} had not ended after {seconds:g} s, so it was ended") from late
    if code:
        raise CannotWake(f"{command[0]} failed (exit code {code}){_last_words(said)}")


def _end(child: "subprocess.Popen[bytes]") -> None:
    """End a run with all that it started."""
    if sys.platform == "win32":
        child.kill()
    else:
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()


def _last_words(said: IO[bytes]) -> str:
    """The end of what it printed, in one line."""
    end = said.seek(0, os.SEEK_END)
    said.seek(max(0, end - SAID))
    text = " ".join(said.read().decode("utf-8", "replace").split())
    return f": {text}" if text else ""


def _environment(event: str, alert: Alert | None) -> dict[str, str]:
    """This process's environment and what there is to tell."""
    told = {"EVENT": event}
    if alert is not None:
        told |= {
            "ALARM": alert.pattern,
            "PRIORITY": alert.priority,
            "TITLE": alert.title,
            "MESSAGE": "\n".join(alert.lines),
            "TO": alert.to,
            "DRILL": "1" if alert.drill else "0",
        }
    return dict(os.environ) | {f"BEEPWATCH_{key}": value.replace("\0", "") for key, value in told.items()}
