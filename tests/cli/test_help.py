"""Help: an example for each verb, and nothing of it needs a network."""

import subprocess
import sys
from pathlib import Path

import pytest

from beepwatch.cli import CAUTION, VERBS, main

SAMPLES = Path(__file__).parents[2] / "samples"
OFFLINE = """
import sys
def refuse(event, arguments):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto", "urllib.Request"):
        raise SystemExit(f"asked the network: {event} {arguments}")
sys.addaudithook(refuse)
from beepwatch.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_has_an_example_in_its_help(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    """That begins with the command as it is typed."""
    with pytest.raises(SystemExit):
        main([verb, "--help"])
    assert f"examples:\n  beepwatch {verb}" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        *(
            ("care", one)
            for one in ("arm", "disarm", "add", "done", "changed", "early", "postpone", "wrong", "calendar")
        ),
        ("history", "note"),
        ("history", "delete"),
    ],
)
def test_each_action_has_an_example_and_the_caution(words: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """A person who asks for one action's help is told no less than for its verb."""
    with pytest.raises(SystemExit):
        main([*words, "--help"])
    out = capsys.readouterr().out
    assert f"\n  beepwatch {' '.join(words)} " in out
    assert CAUTION in out


@pytest.mark.parametrize(
    "command",
    [
        ["watch", str(SAMPLES / "night.flac"), "--silent", "--data", "."],
        ["review", str(SAMPLES / "night.flac")],
        ["teach", str(SAMPLES / "night.flac"), "--yes"],
        ["settings"],
        ["history"],
    ],
    ids=lambda command: command[0],
)
def test_nothing_is_fetched(command: list[str], tmp_path: Path) -> None:
    """Each try of Python to reach a network ends the program here; none does."""
    done = subprocess.run(
        [sys.executable, "-c", OFFLINE, *command],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
