"""Questions to a person in a terminal, or to a pipe in a test: each has a default, and each is counted."""

import sys
import time
from collections.abc import Callable, Sequence
from typing import TextIO

from beepwatch.errors import InputError

YES, NO = ("y", "yes"), ("n", "no")
TRIES = 3
"""Times that a question is put again after an answer that it does not have (judgement)."""


class NoAnswer(InputError):  # noqa: N818 - reads as what it means
    """The input ended before a question was answered."""


class Talk:
    """Says lines and asks questions.

    questions: how many were asked so far. seconds: since the first word.
    """

    def __init__(
        self,
        answers: TextIO | None = None,
        out: TextIO | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._answers = answers
        self._out = out
        self._clock = clock
        self._began = clock()
        self.questions = 0

    @property
    def seconds(self) -> float:
        """Since the first word."""
        return self._clock() - self._began

    @property
    def terminal(self) -> bool:
        """Whether a person sees it as it comes: then a line may be drawn over."""
        return self._stream.isatty()

    def say(self, text: str = "") -> None:
        """Some lines."""
        print(text, file=self._stream, flush=True)

    def over(self, text: str) -> None:
        """A line that the next one is drawn over; nothing where there is no terminal."""
        if self.terminal:
            print(f"\r\x1b[2K{text}", end="", file=self._stream, flush=True)

    def ask(self, question: str, default: str = "", *, fits: Callable[[str], bool] = lambda _: True) -> str:
        """One line of answer without blanks round it; Enter alone gives `default`.

        Raises NoAnswer where the input ends, or after TRIES answers that do not fit.
        """
        self.questions += 1
        for _ in range(TRIES):
            shown = f" [{default}]" if default else ""
            print(f"{question}{shown} ", end="", file=self._stream, flush=True)
            line = (self._answers or sys.stdin).readline()
            if not line:
                self.say()
                raise NoAnswer("no answer came, so nothing more was done: start it again when you can answer")
            if not (self._answers or sys.stdin).isatty():
                self.say()
            answer = line.strip() or default
            if fits(answer):
                return answer
            self.say("I did not understand that.")
        raise NoAnswer(f"{answer!r} is no answer to {question!r}: start it again and look at what it may be")

    def yes(self, question: str, default: bool) -> bool:
        """A yes or a no; Enter alone gives `default`."""
        answer = self.ask(f"{question} (y/n)", "y" if default else "n", fits=lambda text: text.lower() in (*YES, *NO))
        return answer.lower() in YES

    def choose(self, question: str, options: Sequence[str], default: str) -> str:
        """One of `options`, or a beginning that fits only one; Enter alone gives `default`."""
        found = self.ask(
            f"{question} ({'/'.join(options)})", default, fits=lambda text: len(_beginning(text, options)) == 1
        )
        return _beginning(found, options)[0]

    @property
    def _stream(self) -> TextIO:
        return self._out or sys.stdout


def _beginning(text: str, options: Sequence[str]) -> list[str]:
    """The options that a text may mean: itself, or those that it begins."""
    low = text.lower()
    return [low] if low in options else [option for option in options if low and option.startswith(low)]
