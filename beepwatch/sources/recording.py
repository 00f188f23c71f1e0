"""A sound file as a source: read block by block, in memory that does not grow with its length."""

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from beepwatch.errors import InputError
from beepwatch.sources.block import Block, Samples
from beepwatch.sources.cutoff import cut_short
from beepwatch.sources.hush import hushed

RATES = (8_000, 192_000)
"""Hz. Below it beeps of 4 kHz cannot be there; above it no common recorder works."""
BLOCK = 1 << 16
"""Samples a block unless another size is asked for: 4 s at 16 kHz."""
RUN_UP = 1 << 14
"""Samples read and left before the one to begin with: an MP3 decoder needs some frames to be right (measured)."""
PLAIN = ("WAV", "WAVEX", "RF64", "W64", "AIFF", "AU", "CAF")
"""Formats whose samples lie in the file as they are, so that a read can be done again."""
WHOLE = np.float32(1 / 32768)
"""Of full scale: one step of 16 bits, exact in float32."""
LONGEST = 1 << 62
"""libsndfile gives 2^63 - 1 where the header does not tell the length (measured with such a FLAC)."""


class _Forward(soundfile.SoundFile):  # type: ignore[misc]  # soundfile has no types
    """A sound file whose reads follow each other without a jump between them.

    soundfile jumps to where it is after every read, and an MP3 decoder gets its next frames wrong after a jump
    (measured: in blocks of 65 536 samples 5 to 16 % of the samples were wrong, from 22 kHz up).
    """

    def seekable(self) -> bool:
        """Whether soundfile jumps after a read."""
        return bool(self.format != "MP3" and super().seekable())


class Recording:
    """A WAV, FLAC, OGG, MP3 or other file that libsndfile reads, of 8 to 192 kHz and any number of channels.

    `rate` in Hz, `channels`, `frames` (samples a channel as the header says; None where it does not).
    `warning`: None, or one sentence for the person; it may appear only once `blocks` has met the fault.
    Raises InputError, one sentence, for a file that is missing, a folder, empty, no audio or without sound.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self._file = _opened(self.path)
        self.rate: int = self._file.samplerate
        self.channels: int = self._file.channels
        self.frames: int | None = self._file.frames if self._file.frames < LONGEST else None
        self.warning: str | None = None
        self._integers: npt.NDArray[np.int16] | None = None
        if self._file.subtype == "PCM_16" and self._file.format in PLAIN and self._file.seekable():
            self._integers = np.empty((0, self.channels), np.int16)
        self._check()

    def __enter__(self) -> "Recording":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; a second time does nothing."""
        self._file.close()

    def blocks(self, size: int = BLOCK, start: int = 0, more: int = 0) -> Iterator[Block]:
        """Yield the sound from sample `start` on in blocks of `size` samples, the last one shorter; once.

        more: samples that the first block has more. A file that ends early or is damaged gives what is there and sets
        `warning`. NaN is passed on.
        """
        done, wanted = self._go_to(start, size), size + more
        while True:
            samples, broken = self._read(wanted)
            if len(samples):
                yield Block(samples, done)
            done += len(samples)
            if broken or len(samples) < wanted:
                break
            wanted = size
        if self.frames is not None and done < self.frames:
            self._warn_of_end(done)

    def _go_to(self, start: int, size: int) -> int:
        """Move from the beginning to sample `start`, by reading where the format cannot jump; return the place."""
        done, broken = self._jump(max(start - RUN_UP, 0)), False
        while done < start and not broken:
            samples, broken = self._read(min(size, start - done))
            broken = broken or not len(samples)
            done += len(samples)
        return done

    def _jump(self, start: int) -> int:
        """Jump to sample `start`, or to the beginning where that fails; return the place."""
        try:
            return int(self._file.seek(start)) if start else 0
        except soundfile.LibsndfileError:
            self._file.close()
            self._file = _opened(self.path)
            return 0

    def _check(self) -> None:
        low, high = RATES
        if not low <= self.rate <= high:
            self._file.close()
            raise InputError(f"{self.path}: {self.rate} Hz is outside {low} to {high} Hz; convert it first")
        if self.frames == 0:
            self._file.close()
            raise InputError(f"{self.path}: the file holds no sound")
        if cut_short(self.path, self._file.format, self._file.extra_info):
            self._warn_of_end(self.frames)

    def _warn_of_end(self, done: int | None) -> None:
        heard = "" if done is None else f" after {done / self.rate:.1f} s"
        self.warning = f"{self.path}: the file is cut off or damaged{heard}; what is there was read"

    def _read(self, size: int) -> tuple[Samples, bool]:
        """The next `size` samples, or what is there of them, and whether the file broke off."""
        if self._integers is not None:
            at = self._file.tell()
            try:
                return self._read_integers(self._integers, size), False
            except soundfile.LibsndfileError:
                self._integers = None
                self._file.seek(at)
        # libsndfile fills the array up to the fault and then raises without saying how far it came:
        # so the array holds NaN beforehand (measured with FLAC files cut at many places).
        samples = np.full((size, self.channels), np.nan, dtype=np.float32)
        try:
            read: Samples = self._file.read(out=samples, fill_value=None)
        except soundfile.LibsndfileError:
            there = np.flatnonzero(~np.isnan(samples).all(axis=1))
            return samples[: there[-1] + 1 if len(there) else 0], True
        return read, False

    def _read_integers(self, store: npt.NDArray[np.int16], size: int) -> Samples:
        """The same of 16-bit samples: numpy makes them floating point in a third of libsndfile's time (measured)."""
        if len(store) < size:
            self._integers = store = np.empty((size, self.channels), np.int16)
        read = self._file.read(out=store[:size])
        samples: Samples = np.multiply(read, WHOLE, dtype=np.float32)
        return samples


def _opened(path: Path) -> soundfile.SoundFile:
    """The open file, or InputError in one sentence."""
    if path.is_dir():
        raise InputError(f"{path} is a folder; name the sound files in it")
    if not path.exists():
        raise InputError(f"{path}: there is no such file")
    if not path.is_file():
        raise InputError(f"{path} is not a file that can be read twice; save the sound to a file first")
    try:
        if path.stat().st_size == 0:
            raise InputError(f"{path}: the file is empty")
        with hushed():
            return _Forward(path)
    except PermissionError as error:
        raise InputError(f"{path}: no permission to read it") from error
    except (soundfile.LibsndfileError, TypeError) as error:  # TypeError: a headerless .raw file
        if not os.access(path, os.R_OK):
            raise InputError(f"{path}: no permission to read it") from error
        raise InputError(f"{path} is not a sound file that can be read (WAV, FLAC, OGG or MP3)") from error
