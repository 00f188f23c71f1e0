"""The manual cannot drift: what README and DEVELOPERS tell people to type works as written."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from beepwatch.cli import CAUTION, VERBS, parser
from beepwatch.patterns import profiles
from beepwatch.settings.model import KEYS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
NEEDS = ("note", "--verify")
"""Words of commands that need a history of some nights: tests/cli/test_history_notes.py runs them on one."""
COPIED = ("README.md", "pyproject.toml", "beepwatch", "samples")


def commands() -> list[str]:
    """Every line of README's shell blocks, comments left off."""
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    return [line.split("  #")[0].strip() for block in blocks for line in block.splitlines() if line.strip()]


def verb(line: str) -> list[str]:
    """The arguments of a beepwatch command."""
    words = shlex.split(line)
    return words[[word.endswith("beepwatch") for word in words].index(True) + 1 :]


@pytest.fixture(scope="module")
def newcomer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh folder after README's first command, run to the letter."""
    folder = tmp_path_factory.mktemp("newcomer")
    for name in COPIED:
        source = ROOT / name
        copy = shutil.copytree if source.is_dir() else shutil.copy
        copy(source, folder / name)
    return folder


def run(line: str, folder: Path) -> "subprocess.CompletedProcess[str]":
    """One command in the newcomer's folder, with the newcomer's own home and no speaker."""
    home = folder / "home"
    path = os.pathsep.join([str(Path(sys.base_prefix) / "bin"), str(folder / ".venv" / "bin"), os.environ["PATH"]])
    env = {**os.environ, "PATH": path, "HOME": str(home), "XDG_DATA_HOME": str(home), "XDG_CONFIG_HOME": str(home)}
    env.pop("PULSE_SERVER", None)
    return subprocess.run(
        ["bash", "-c", line],
        cwd=folder,
        env=env,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )


@pytest.mark.timeout(300)
def test_the_first_command_installs_and_names_all_three_alarms(newcomer: Path) -> None:
    """README's first command on a fresh copy: exit 0, all three alarms, the caution, and where the history is."""
    done = run(commands()[0], newcomer)
    assert done.returncode == 0, done.stdout + done.stderr
    for word in ("lead-disconnect", "backup-battery", "battery-critical", "beepwatch history", CAUTION.splitlines()[0]):
        assert word in done.stdout


def test_the_second_command_is_what_ci_runs() -> None:
    """`.ci/run` calls README's second command and nothing else."""
    assert commands()[1] == "bash tests/run"
    script = (ROOT / ".ci" / "run").read_text().splitlines()
    assert [line for line in script if line and not line.startswith(("#", "set ", "cd "))] == ["bash tests/run"]


def runs_anywhere(line: str) -> bool:
    """Whether a command needs nobody to answer it and nothing but the samples."""
    return verb(line)[0] in ("review", "synth", "history") and not set(verb(line)) & set(NEEDS)


@pytest.mark.parametrize("line", [c for c in commands()[2:] if runs_anywhere(c)])
def test_commands_that_ask_nothing_end_well(line: str, tmp_path: Path) -> None:
    """Run as written, in a folder that holds the samples."""
    shutil.copytree(ROOT / "samples", tmp_path / "samples")
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    script = tmp_path / ".venv" / "bin" / "beepwatch"
    script.write_text(
        f'#!/bin/sh\nPYTHONPATH={shlex.quote(str(ROOT))} exec {shlex.quote(sys.executable)} -m beepwatch "$@"\n'
    )
    script.chmod(0o755)
    done = run(line, tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout or "synth" in line


@pytest.mark.parametrize("line", [c for c in commands()[2:] if not runs_anywhere(c)])
def test_all_other_commands_are_understood(line: str) -> None:
    """Their words are those that the command line takes; tests/bedroom, tests/cli and tests/live run them."""
    assert parser().parse_args(verb(line)).verb == verb(line)[0]


def test_every_verb_and_every_alarm_is_in_the_manual() -> None:
    """A row in README for each profile, a word for each verb, and the caution's main sentences."""
    for profile in profiles.packaged():
        assert f"`{profile.name}`" in README
    for name in VERBS:
        assert f"beepwatch {name}" in README
    assert "not tested or approved as a medical device" in README
    assert "Silence does not mean that all is well" in README


def test_every_setting_is_in_the_manual() -> None:
    """By its whole name."""
    assert [key.name for key in KEYS if f"`{key.name}`" not in README] == []


def test_the_pattern_shown_to_contributors_is_one() -> None:
    """DEVELOPERS' example is a profile as it stands."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    example = re.search(r"```toml\n(.*?)```", text, re.DOTALL)
    assert example is not None
    assert profiles.read(example.group(1), "doorbell.toml").name == "doorbell"
