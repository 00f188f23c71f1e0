"""Real recorded sounds that are not the device's alarm, unpacked from Debian packages into `.cache/sounds`.

Nothing is installed and no sound is committed: each package keeps its own licence, in its
`usr/share/doc/*/copyright`. Off Debian or without a network a test that asks for the sounds is skipped with
the reason; where CI is set it fails.
`python tests/realsounds.py` fills the folder ahead of time and prints how many sounds there are.
"""

import hashlib
import os
import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

FOLDER = Path(__file__).parents[1] / ".cache" / "sounds"
PACKAGES = (
    "asterisk-core-sounds-en-wav",
    "asterisk-moh-opsound-wav",
    "baresip-core",
    "bucklespring-data",
    "gamine-data",
    "gnome-shell-pomodoro-data",
    "jami-daemon",
    "lomiri-sounds",
    "minetest-mod-mesecons",
    "oxygen-sounds",
    "sonic-pi-samples",
    "sound-theme-freedesktop",
    "twinkle-common",
    "ufoai-sound",
)
ENDINGS = frozenset({".wav", ".ogg", ".oga", ".opus", ".flac"})
DOWNLOAD_S = 300.0
"""Longest wait for one package; the largest is about 40 MB (judgement)."""


class Sound(NamedTuple):
    """One recording: the package it comes from and where it lies on this disk."""

    package: str
    path: Path


class CannotFetchError(Exception):
    """The packages could not be had; the message says why."""


def fetch(folder: Path = FOLDER, packages: Sequence[str] = PACKAGES) -> Path:
    """Unpack each package that is not there yet; return `folder`. Raises CannotFetchError."""
    missing = [package for package in packages if not (folder / package).is_dir()]
    if missing and not all(shutil.which(tool) for tool in ("apt-get", "dpkg")):
        raise CannotFetchError("they come as Debian packages, and this system has no apt-get or dpkg")
    folder.mkdir(parents=True, exist_ok=True)
    for package in missing:
        _fetch_one(package, folder)
    return folder


def _fetch_one(package: str, folder: Path) -> None:
    """Unpack one package beside its place, then move it there whole: a broken fetch leaves nothing."""
    with tempfile.TemporaryDirectory(dir=folder, prefix=".fetch-") as work:
        _run(["apt-get", "download", "-q", package], Path(work))
        archives = list(Path(work).glob("*.deb"))
        if len(archives) != 1:
            raise CannotFetchError(f"{package}: apt-get left {len(archives)} archives where one was expected")
        tree = Path(work) / "tree"
        _run(["dpkg", "-x", str(archives[0]), str(tree)], Path(work))
        _open_zips(tree)
        if not (folder / package).is_dir():  # another run may have been quicker
            tree.rename(folder / package)


def _run(command: list[str], where: Path) -> None:
    """Run one program in `where`; raise CannotFetchError with its last line when it fails."""
    try:
        done = subprocess.run(command, cwd=where, capture_output=True, text=True, timeout=DOWNLOAD_S, check=False)
    except subprocess.TimeoutExpired as late:
        raise CannotFetchError(f"{' '.join(command)}: nothing after {DOWNLOAD_S:.0f} s") from late
    if done.returncode:
        told = done.stderr.strip().splitlines() or ["no message"]
        raise CannotFetchError(f"{' '.join(command)}: {told[-1]}")


def _open_zips(tree: Path) -> None:
    """Unzip each `.pk3` (a zip of a game's sounds) into a folder of its own name."""
    for packed in tree.rglob("*.pk3"):
        with zipfile.ZipFile(packed) as archive:
            archive.extractall(packed.with_suffix(""))


def sounds(folder: Path | None = None, packages: Sequence[str] = PACKAGES) -> list[Sound]:
    """Every sound that soundfile can read, by package and path, each once. Raises CannotFetchError."""
    folder = fetch(packages=packages) if folder is None else folder
    seen: set[bytes] = set()
    found = []
    for package in packages:
        for path in sorted((folder / package).rglob("*")):
            if path.suffix.lower() in ENDINGS and path.is_file() and _new(path, seen) and _readable(path):
                found.append(Sound(package, path))
    return found


def _new(path: Path, seen: set[bytes]) -> bool:
    """Whether no earlier file had the very same bytes."""
    mark = hashlib.sha256(path.read_bytes()).digest()
    fresh = mark not in seen
    seen.add(mark)
    return fresh


def _readable(path: Path) -> bool:
    """Whether soundfile opens it and finds samples."""
    try:
        return int(soundfile.info(str(path)).frames) > 0
    except soundfile.SoundFileError:
        return False


def mono(path: Path, rate: int = 16_000) -> NDArray[np.float32]:
    """The sound with its channels averaged, shape (n,), at `rate` Hz."""
    samples, own = soundfile.read(path, dtype="float32", always_2d=True)
    return np.asarray(soxr.resample(samples.mean(axis=1), own, rate), dtype=np.float32)


def named(package: str, ending: str, among: list[Sound]) -> Path:
    """The one sound of `package` whose path ends so; raises LookupError for none or several."""
    hits = [one.path for one in among if one.package == package and one.path.as_posix().endswith(ending)]
    if len(hits) != 1:
        raise LookupError(f"{package} holds {len(hits)} sounds that end in {ending!r}")
    return hits[0]


@pytest.fixture(scope="session")
def recorded_sounds() -> list[Sound]:
    """All recorded sounds; skips with the reason where they cannot be had, and fails where CI is set."""
    try:
        return sounds()
    except CannotFetchError as error:
        if os.environ.get("CI"):
            pytest.fail(f"the recorded sounds are needed in CI: {error}")
        pytest.skip(f"no recorded sounds: {error}")


if __name__ == "__main__":
    held = sounds()
    seconds = sum(float(soundfile.info(str(one.path)).duration) for one in held)
    print(f"{len(held)} sounds, {seconds / 60:.1f} minutes, in {FOLDER}")
