"""A second way to sound that does not use the sound server: a command of the family's, and a terminal's bell.

When a sound server hangs, no sound passes through it (measured: opening an output never returns). A command such as
`aplay -q -D plughw:1` plays a sound file straight to a sound card; it is an argument list, run without a shell, with
the file's path in place of `{sound}` or at its end. The words are in its environment, as BEEPWATCH_TEXT.
"""

import os
import shlex
import subprocess
import sys
import wave
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from threading import Condition, Thread

import numpy as np

from beepwatch.channels.rounds import Round, render
from beepwatch.channels.speaker import Started
from beepwatch.channels.tone import Samples, wake_tone
from beepwatch.channels.voice import Voice
from beepwatch.errors import CannotWake, InputError
from beepwatch.sources.clock import ticking

RATE = 48_000
"""Hz of the file: what every sound card takes."""
SOFT = 0.02
"""Amplitude of the trial, of full: 34 dB under a wake sound (judgement: heard in the evening, wakes nobody)."""
TRIAL = 2.0
"""s of the trial's sound."""
PATIENCE = 15.0
"""s for the trial's command."""
LONGEST = 60.0
"""s for one round: above any round's length; a command that takes longer hangs."""
AGAIN = 1.0
"""s between two bells, and until a command that failed is tried again."""
BEGUN = 0.5
"""s after which a command that still runs is taken to sound."""
PLACE = "{sound}"
NAME = "second way"


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of a trial; `text`: one plain line."""

    at: float
    ok: bool
    text: str


def argument_list(words: str) -> tuple[str, ...]:
    """The command as a person writes it. Raises InputError for one that cannot be split."""
    try:
        return tuple(shlex.split(words))
    except ValueError as error:
        raise InputError(f"sound.second-way = {words!r} cannot be: {error}; close the quotation marks") from error


def ring() -> None:
    """The bell of the terminal that this program was started in, if there is one. Raises OSError otherwise."""
    if sys.platform == "win32":
        sys.stdout.write("\a")
        return
    terminal = os.open("/dev/tty", os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        os.write(terminal, b"\a")
    finally:
        os.close(terminal)


class SecondWay:
    """Sounds a round again and again until `stop`, from a thread of its own; no method waits or raises.

    command: () for the bell alone. folder: where the sound file may lie. report: only fills a queue.
    """

    def __init__(
        self,
        command: tuple[str, ...],
        folder: Path,
        report: Callable[[Started | Trial], None],
        voice: Voice | None = None,
        bell: Callable[[], None] = ring,
    ) -> None:
        self._command, self._folder, self._report = command, folder, report
        self._voice, self._bell = voice, bell
        self._change = Condition()
        self._round: Round | None = None
        self._closed = False
        self._child: subprocess.Popen[bytes] | None = None
        Thread(target=self._work, name="second way", daemon=True).start()

    def play(self, round_: Round) -> None:
        """Sound this until `stop`."""
        with self._change:
            if round_ != self._round:
                self._round = round_
                self._end_child()
            self._change.notify_all()

    def stop(self) -> None:
        """Be silent at once."""
        with self._change:
            self._round = None
            self._end_child()
            self._change.notify_all()

    def close(self) -> None:
        """End."""
        with self._change:
            self._closed = True
        self.stop()

    def trial(self) -> None:
        """Try the command softly, in the background; what came of it is reported."""
        Thread(target=self._try_softly, name="trial of the second way", daemon=True).start()

    # ---------------------------------------------------------------- its thread

    def _work(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: self._closed or self._round is not None)
                if self._closed:
                    return
                round_ = self._round
            if round_ is not None:
                self._once(round_)

    def _once(self, round_: Round) -> None:
        """One round by the command; by the bell where that cannot be."""
        try:
            self._by_command(round_)
        except CannotWake:
            self._by_bell(round_)

    def _by_command(self, round_: Round) -> None:
        if not self._command:
            raise CannotWake("no command is set")
        samples, _ = render(round_, self._voice, RATE)
        path = self._written(samples, "second-way.wav")
        with self._change:
            if self._round is not round_:
                return
            child = self._child = self._started(path, round_.lines)
        try:
            self._followed(child, round_)
        finally:
            self._child = None

    def _followed(self, child: "subprocess.Popen[bytes]", round_: Round) -> None:
        """Wait for the command's end. Raises CannotWake where it failed by itself."""
        try:
            child.wait(BEGUN)
        except subprocess.TimeoutExpired:
            self._report(Started(ticking(), round_.numbers, NAME))
        try:
            code = child.wait(LONGEST)
        except subprocess.TimeoutExpired:
            child.kill()
            code = child.wait()
        if code and self._round is round_:
            raise CannotWake(f"the command of the second way failed (exit code {code})")

    def _by_bell(self, round_: Round) -> None:
        try:
            self._bell()
            self._report(Started(ticking(), round_.numbers, "bell"))
        except OSError:
            pass  # no terminal: the command is tried again
        with self._change:
            self._change.wait_for(lambda: self._round is not round_, AGAIN)

    # ---------------------------------------------------------------- trial

    def _try_softly(self) -> None:
        try:
            self._tried()
        except (CannotWake, OSError, subprocess.SubprocessError) as error:
            self._report(Trial(ticking(), False, f"the second way does not sound: {_plain(error)}"))
        else:
            self._report(Trial(ticking(), True, "The second way was tried: its command ended well."))

    def _tried(self) -> None:
        if not self._command:
            raise CannotWake("no command is set (sound.second-way); if the sound system hangs, only a bell rings")
        soft = wake_tone(RATE)[: round(TRIAL * RATE)] * np.float32(SOFT)
        child = self._started(self._written(soft, "second-way-trial.wav"), ())
        try:
            code = child.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
            raise CannotWake(f"its command has not ended after {PATIENCE:.0f} s") from None
        if code:
            raise CannotWake(f"its command failed (exit code {code}); try it by hand: {shlex.join(self._command)}")

    # ---------------------------------------------------------------- the command

    def _started(self, path: Path, lines: tuple[str, ...]) -> "subprocess.Popen[bytes]":
        placed = [word.replace(PLACE, str(path)) for word in self._command]
        words = placed if placed != list(self._command) else [*placed, str(path)]
        env = os.environ | {"BEEPWATCH_TEXT": " ".join(lines)}
        nowhere = subprocess.DEVNULL
        try:
            return subprocess.Popen(words, env=env, stdin=nowhere, stdout=nowhere, stderr=nowhere)
        except OSError as error:
            raise CannotWake(f"{words[0]} cannot be run: {error.strerror}") from error

    def _written(self, samples: Samples, name: str) -> Path:
        """The sound as a file: the newest one that could be written, where the disk is full."""
        path = self._folder / name
        whole = np.rint(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()
        try:
            with wave.open(str(path), "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(RATE)
                file.writeframes(whole)
        except OSError as error:
            if not path.exists():
                raise CannotWake(f"its sound cannot be written to {path}: {error.strerror}") from error
        return path

    def _end_child(self) -> None:
        child = self._child
        if child is not None and child.poll() is None:
            child.kill()


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())
