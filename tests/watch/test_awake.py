"""Held awake by the system's own means, for as long as it listens; what could not be had is said."""

import os
import stat
import time
from pathlib import Path

import pytest

from beepwatch.watch.awake import ADVICE, LID, Awake, holders


def tool(folder: Path, name: str, body: str) -> None:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)


@pytest.fixture
def tools(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of tools that goes before the system's own."""
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    return tmp_path


def settled(awake: Awake) -> str | None:
    """Its trouble, once the tools had their time."""
    told = awake.trouble
    for _ in range(40):
        time.sleep(0.05)  # processes end when they do
        told = awake.trouble
    return told


@pytest.mark.parametrize("platform", ["linux", "darwin"])
def test_it_is_held_until_the_end(tools: Path, platform: str) -> None:
    """The tool runs from start to close, and not longer; nothing is wrong."""
    name = holders(platform)[0][0]
    tool(tools, name, f'echo "$@" > {tools}/asked; exec cat')
    awake = Awake(platform).start()
    assert settled(awake) is None
    child = awake._child
    assert child is not None
    awake.close()
    assert child.poll() is not None
    asked = (tools / "asked").read_text()
    assert "handle-lid-switch" in asked if platform == "linux" else "-i -s -w" in asked


def test_it_ends_with_this_process_even_if_that_is_killed(tools: Path) -> None:
    """The tool's child reads from us: its input ends where we do."""
    tool(tools, "systemd-inhibit", "exec cat")
    awake = Awake("linux").start()
    child = awake._child
    assert child is not None
    assert child.stdin is not None
    child.stdin.close()  # as the end of this process would
    assert child.wait(timeout=5) == 0


def test_where_the_lid_cannot_be_held_sleep_is(tools: Path) -> None:
    """The second try asks for less, and says what to do about the lid."""
    tool(tools, "systemd-inhibit", 'case "$1" in *lid*) exit 1;; esac; exec cat')
    awake = Awake("linux").start()
    assert settled(awake) == LID
    awake.close()


@pytest.mark.parametrize("platform", ["linux", "sunos"])
def test_where_nothing_works_it_says_what_to_do(tools: Path, platform: str) -> None:
    """The tool refuses, or the system is another one: one instruction, no crash."""
    tool(tools, "systemd-inhibit", "exit 1")
    awake = Awake(platform).start()
    assert settled(awake) == ADVICE
    awake.close()
