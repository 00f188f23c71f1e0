"""The processes that `speed.py` compares a review with: each reads a file and makes its spectrum, nothing else.

`python -m tests.bench.yardsticks rfft|librosa|scipy FILE`. Apart from `speed.py`, so that their start-up is short.
"""

import sys
from collections.abc import Callable, Iterator

import numpy as np
import soundfile
from numpy.typing import NDArray

FRAME, HOP = 2048, 1024
RATE = 16_000
PIECE = 600 * RATE - HOP
"""Samples that the other packages transform at once: whole hours would measure their memory."""


def _read(path: str, size: int) -> Iterator[NDArray[np.float32]]:
    with soundfile.SoundFile(path) as file:
        yield from file.blocks(size, overlap=HOP, dtype="float32")


def rfft(path: str) -> None:
    """One float32 `scipy.fft.rfft` pass, 2048 samples each 1024."""
    from scipy import fft  # noqa: PLC0415 - only this one needs it

    for block in _read(path, 1 << 16):
        if len(block) >= FRAME:
            fft.rfft(np.lib.stride_tricks.sliding_window_view(block, FRAME)[::HOP])


def librosa(path: str) -> None:
    """librosa's spectrum."""
    from librosa import stft  # noqa: PLC0415 - only this one needs it

    for block in _read(path, PIECE):
        stft(block, n_fft=FRAME, hop_length=HOP, center=len(block) < FRAME)


def scipy(path: str) -> None:
    """scipy's spectrum."""
    from scipy.signal import ShortTimeFFT  # noqa: PLC0415 - only this one needs it

    transform = ShortTimeFFT(np.hanning(FRAME), HOP, RATE)
    for block in _read(path, PIECE):
        transform.stft(block)


YARDSTICKS: dict[str, Callable[[str], None]] = {"rfft": rfft, "librosa": librosa, "scipy": scipy}

if __name__ == "__main__":
    YARDSTICKS[sys.argv[1]](sys.argv[2])
