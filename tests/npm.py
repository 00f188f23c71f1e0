"""Checkers of others that come as npm packages: fetched into `.cache/npm` when a test needs them, and run by node.

Off a network, or without npm, a test that asks for one is skipped with the reason; where CI is set it fails.
"""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[1] / ".cache" / "npm"
FETCH_S = 180.0
"""Longest wait for one package (judgement)."""


def package(name: str, version: str) -> Path:
    """The folder in which node finds this package; skips (or in CI fails) with the reason where it cannot be had."""
    folder = FOLDER / f"{name}-{version}"
    if not (folder / "node_modules" / name / "package.json").exists():
        _fetch(folder, f"{name}@{version}")
    return folder


def node(folder: Path, script: str, given: str) -> str:
    """What a script prints that reads `given` as a file named by its first argument; fails with its own words."""
    file = folder / f"given-{os.getpid()}"
    file.write_text(given, encoding="utf-8", newline="")
    try:
        done = subprocess.run(
            ["node", "-e", script, str(file)], cwd=folder, capture_output=True, text=True, timeout=120, check=False
        )
    finally:
        file.unlink()
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def _fetch(folder: Path, wanted: str) -> None:
    """Install beside its place, then move it there whole: another run may want it at the same time."""
    if shutil.which("npm") is None or shutil.which("node") is None:
        _without(f"{wanted} needs npm and node")
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".fetch-") as work:
        _install(Path(work) / "whole", wanted)
        if not folder.exists():  # another run may have been quicker
            (Path(work) / "whole").rename(folder)


def _install(folder: Path, wanted: str) -> None:
    folder.mkdir()
    quiet = ["--silent", "--no-audit", "--no-fund", "--ignore-scripts"]
    command = ["npm", "install", *quiet, "--prefix", str(folder), wanted]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=FETCH_S, check=False)
    except subprocess.TimeoutExpired:
        _without(f"{wanted} could not be fetched in {FETCH_S:.0f} s")
    if done.returncode:
        _without(f"{wanted} could not be fetched: {done.stderr.strip()[-200:]}")


def _without(why: str) -> None:
    """Skip on a laptop, fail in CI: there nothing is skipped."""
    if os.environ.get("CI"):
        pytest.fail(why)
    pytest.skip(why)
