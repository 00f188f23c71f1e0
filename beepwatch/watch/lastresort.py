"""Where only a new process helps: ours hangs in the sound system, and a fresh one does not."""

from collections.abc import Callable

from beepwatch.sources.patience import Attempt

HUNG = 60.0
"""s of hanging until a fresh process is asked, and until it is asked again (judgement: servers restart in seconds)."""
AGAIN_CODE = 75
"""Exit code: try again (EX_TEMPFAIL of sysexits.h); whoever watches over this process starts it anew."""


class LastResort:
    """hangs: whether calls never return here. answers: whether they do in a fresh process (may take long).

    leave: ends this process at once; there is one to start the next.
    """

    def __init__(self, hangs: Callable[[], bool], answers: Callable[[], bool], leave: Callable[[], None]) -> None:
        self._hangs, self._answers, self._leave = hangs, answers, leave
        self._since: float | None = None
        self._asked: Attempt[bool] | None = None

    def look(self, now: float) -> None:
        """Look how it stands; now: a clock reading, s."""
        if not self._hangs():
            self._since = self._asked = None
        elif self._since is None:
            self._since = now
        elif self._asked is not None:
            self._look_at_answer(now)
        elif now - self._since > HUNG:
            self._asked = Attempt(self._answers)

    def _look_at_answer(self, now: float) -> None:
        if self._asked is None or self._asked.running:
            return
        answers, self._asked, self._since = self._asked.result(0.0), None, now
        if answers:
            self._leave()
