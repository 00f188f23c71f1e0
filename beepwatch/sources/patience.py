"""Calls into the sound system that may never return: made in a thread of their own, given up after a time."""

import time
from collections.abc import Callable
from threading import Thread
from typing import Generic, TypeVar

from beepwatch.errors import CannotHear

Result = TypeVar("Result")


class Attempt(Generic[Result]):
    """One call on its way, in a daemon thread: the program can end although the call never does."""

    def __init__(self, work: Callable[[], Result]) -> None:
        self._work = work
        self._began = time.monotonic()
        self._result: list[Result] = []
        self._error: BaseException | None = None
        self._thread = Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether the call has not returned yet."""
        return self._thread.is_alive()

    @property
    def age(self) -> float:
        """s since it began."""
        return time.monotonic() - self._began

    def done(self, seconds: float) -> bool:
        """Wait up to `seconds`; return whether the call has returned (or raised)."""
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def result(self, seconds: float) -> Result:
        """What the call returned or raised. Raises CannotHear when it has not returned in `seconds`."""
        if not self.done(seconds):
            raise CannotHear(f"the sound system has not answered for {seconds:.0f} s: it hangs; restart it")
        if self._error is not None:
            raise self._error
        return self._result[0]

    def _run(self) -> None:
        try:
            self._result.append(self._work())
        except BaseException as error:  # handed on by `result`
            self._error = error
