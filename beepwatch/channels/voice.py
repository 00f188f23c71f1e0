"""Text to speech by espeak-ng, ahead of need, so that waking waits for nothing."""

import io
import subprocess
import sys
import threading
import wave
from collections.abc import Callable, Iterable
from queue import SimpleQueue

import numpy as np
import soxr

from beepwatch.channels.tone import PEAK, Samples
from beepwatch.errors import CannotWake

WORDS_A_MINUTE = 130
"""Slow: for somebody half asleep (judgement; espeak-ng's own is 175)."""
PATIENCE = 10.0
"""s for one line: espeak-ng takes under 0.1 s (measured), so this one hangs."""
LONGEST = 60.0
"""s of speech that one line may give; more is cut (a runaway, not a message)."""


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
    ):
        """Begin with nothing rendered; `report` is called from the voice's own thread."""
        self._report = report
        self._told = False
        self._command = (command, "-v", language, "-s", str(WORDS_A_MINUTE), "--stdin", "--stdout")
        self._patience = patience
        self._wanted: SimpleQueue[str] = SimpleQueue()
        self._asked: set[str] = set()
        self._spoken: dict[str, tuple[Samples, int]] = {}
        self._resampled: dict[tuple[str, int], Samples] = {}
        self._idle = threading.Event()
        threading.Thread(target=self._work, name="voice", daemon=True).start()

    def prepare(self, lines: Iterable[str]) -> None:
        """Render these lines soon, returning at once; those that failed before are tried again."""
        for line in lines:
            if line not in self._asked:
                self._asked.add(line)
                self._idle.clear()
                self._wanted.put(line)

    def speech(self, line: str, rate: int) -> Samples | None:
        """A line as float32 samples of shape (n,), peak 0.95, at `rate` Hz; None while it is not ready."""
        if (line, rate) not in self._resampled:
            if line not in self._spoken:
                return None
            samples, own_rate = self._spoken[line]
            self._resampled[line, rate] = _resample(samples, own_rate, rate)
        return self._resampled[line, rate]

    def wait(self, seconds: float) -> bool:
        """Wait until all that was asked for is done, well or not; False if it took longer."""
        return self._idle.wait(seconds)

    def _work(self) -> None:
        """The thread: one line after another, for ever."""
        while True:
            line = self._wanted.get()
            try:
                self._spoken[line] = self._render(line)
            except CannotWake as fault:
                self._asked.discard(line)
                if not self._told:
                    self._told = True
                    self._report(str(fault))
            if self._wanted.empty():
                self._idle.set()

    def _render(self, line: str) -> tuple[Samples, int]:
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


def _decode(sound: bytes) -> tuple[Samples, int]:
    """A mono 16-bit WAV stream, whose header may not know its length: samples of peak 0.95 and the rate."""
    with wave.open(io.BytesIO(sound)) as file:
        rate = file.getframerate()
        if file.getnchannels() != 1 or file.getsampwidth() != 2:
            raise ValueError("its sound is not mono of 16 bits")
        data = file.readframes(min(file.getnframes(), int(LONGEST * rate)))
    samples = np.frombuffer(data, "<i2").astype(np.float32)
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak == 0.0:
        raise ValueError("its sound is empty")
    return samples * np.float32(PEAK / peak), rate


def _resample(samples: Samples, rate: int, wanted: int) -> Samples:
    """The same sound at another rate, kept within full scale."""
    if rate == wanted:
        return samples
    changed = soxr.resample(samples, rate, wanted)
    return np.asarray(np.clip(changed, -1.0, 1.0), np.float32)
