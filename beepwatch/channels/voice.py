"""Text to speech by espeak-ng, ahead of need, so that waking waits for nothing."""

import io
import subprocess
import sys
import wave
from collections import deque
from collections.abc import Callable, Iterable
from threading import Condition, Thread
from typing import TypeAlias

import numpy as np
import soxr
from numpy.typing import NDArray

from beepwatch.channels.own import NOTHING, Own
from beepwatch.channels.tone import PEAK, Samples
from beepwatch.errors import CannotWake

Wave: TypeAlias = NDArray[np.int16]

WORDS_A_MINUTE = 130
"""Slow: for somebody half asleep (judgement; espeak-ng's own is 175)."""
PATIENCE = 10.0
"""s for one line: espeak-ng takes under 0.1 s (measured), so this one hangs."""
LONGEST = 60.0
"""s of speech that one line may give; more is cut (a runaway, not a message)."""
FULL = 32767
"""Full scale of 16 bits, in which speech is kept: half the memory of float32."""


def install_advice() -> str:
    """How to get espeak-ng on this system, in one line."""
    if sys.platform == "darwin":
        return "brew install espeak-ng"
    return "apt install espeak-ng (Debian, Ubuntu; other systems: the package espeak-ng)"


class Voice:
    """Speech for lines of text, rendered in a thread of its own and kept in memory.

    `prepare` asks for lines, `speech` gives what is ready, never waiting. A fault (espeak-ng missing, failing
    or hanging) is told once, by `report`, as one plain line; the tone does not depend on it.
    """

    def __init__(
        self,
        report: Callable[[str], None],
        *,
        command: str = "espeak-ng",
        language: str = "en",
        patience: float = PATIENCE,
        own: Own = NOTHING,
    ):
        """Begin with nothing rendered; `report` is called from the voice's own thread. own: the family's sounds."""
        self.own = own
        self._report = report
        self._told = False
        self._command = (command, "-v", language, "-s", str(WORDS_A_MINUTE), "-b", "1", "--stdin", "--stdout")
        self._patience = patience
        self._spoken: dict[str, tuple[Wave, int]] = {}
        self._wanted: deque[str] = deque()
        self._change = Condition()
        self._busy = False
        Thread(target=self._work, name="voice", daemon=True).start()

    def prepare(self, lines: Iterable[str]) -> None:
        """Render these lines soon, returning at once; those that failed before are tried again."""
        with self._change:
            new = [line for line in dict.fromkeys(lines) if line not in self._spoken and line not in self._wanted]
            self._wanted += new
            self._change.notify_all()

    def speech(self, line: str, rate: int) -> Samples | None:
        """A line as float32 samples of shape (n,), peak at most 1, at `rate` Hz; None while it is not ready."""
        if line not in self._spoken:
            return None
        wave_, own_rate = self._spoken[line]
        samples: Samples = wave_.astype(np.float32) / np.float32(FULL)
        if own_rate != rate:
            samples = np.asarray(soxr.resample(samples, own_rate, rate), np.float32)
        return np.asarray(np.clip(samples, -1.0, 1.0), np.float32)  # resampling may overshoot

    def wait(self, seconds: float) -> bool:
        """Wait until all that was asked for is done, well or not; False if it took longer."""
        with self._change:
            return self._change.wait_for(lambda: not self._wanted and not self._busy, seconds)

    def _work(self) -> None:
        """The thread: one line after another, for ever."""
        while True:
            with self._change:
                self._busy = False
                self._change.notify_all()
                self._change.wait_for(lambda: bool(self._wanted))
                line, self._busy = self._wanted.popleft(), True
            try:
                self._spoken[line] = self._render(line)
            except CannotWake as fault:
                if not self._told:
                    self._told = True
                    self._report(str(fault))

    def _render(self, line: str) -> tuple[Wave, int]:
        """One line through espeak-ng: samples and their rate. Raises CannotWake, which says what to do."""
        program = self._command[0]
        try:
            done = subprocess.run(
                self._command, input=line.encode(), capture_output=True, timeout=self._patience, check=True
            )
            return _decode(done.stdout)
        except FileNotFoundError:
            fault = f"there is no {program}; to have it speak: {install_advice()}"
        except subprocess.TimeoutExpired:
            fault = f"{program} hangs (no speech within {self._patience:g} s); try it by hand"
        except subprocess.CalledProcessError as error:
            fault = f"{program} fails (exit code {error.returncode}); to mend it: {install_advice()}"
        except (OSError, wave.Error, EOFError, ValueError) as error:
            fault = f"{program} gave no speech ({error}); to mend it: {install_advice()}"
        raise CannotWake(f"I cannot speak, only sound the tone: {fault}")


def _decode(sound: bytes) -> tuple[Wave, int]:
    """A mono 16-bit WAV stream, whose header may not know its length: samples of peak 0.95 and the rate."""
    with wave.open(io.BytesIO(sound)) as file:
        rate = file.getframerate()
        if file.getnchannels() != 1 or file.getsampwidth() != 2:
            raise ValueError("its sound is not mono of 16 bits")
        data = file.readframes(min(file.getnframes(), int(LONGEST * rate)))
    samples = np.frombuffer(data, "<i2")
    peak = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
    if peak == 0:
        raise ValueError("its sound is empty")
    return np.round(samples * (PEAK * FULL / peak)).astype(np.int16), rate
