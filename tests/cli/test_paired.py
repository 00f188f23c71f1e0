"""`beepwatch paired`: list, add, shut out; and what people give it by mistake."""

import re
import socket
import time
from pathlib import Path

import pytest

from beepwatch.cli import main
from beepwatch.page import FOLDER
from beepwatch.page.pairing import Pairing, tidy_code


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command prints; it has to end well."""
    assert main(["paired", *words]) == 0
    return capsys.readouterr().out


def test_a_new_code_is_shown_as_a_picture_and_as_letters(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The letters are the code that holds; the fingerprint stands beside them; the address is not an IP of today."""
    told = said(capsys, "--new", "--data", str(tmp_path))
    spelt = re.search(r"the code ((?:[2-9A-Z]{4}-?){4})", told)
    assert spelt is not None
    assert any(block in told for block in "█▄▀")
    assert re.search(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", told)
    assert ".local:8443/pair" in told
    assert Pairing(tmp_path / FOLDER).exchange(tidy_code(spelt[1]), "Anna", "phone", time.time()) is not None


def test_devices_are_listed_and_shut_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By number, name and when they were seen; shut out ones stay in the list."""
    assert "No device is paired" in said(capsys, "--data", str(tmp_path))
    pairing = Pairing(tmp_path / FOLDER)
    for name in ("Anna", "Ben"):
        assert pairing.exchange(pairing.new_code(time.time()), name, "phone", time.time())
    assert "1  Anna  (phone), paired" in said(capsys, "--data", str(tmp_path))
    said(capsys, "--revoke", "2", "--data", str(tmp_path))
    told = said(capsys, "--data", str(tmp_path)).splitlines()
    assert "SHUT OUT" in told[1]
    assert "SHUT OUT" not in told[0]


def test_the_certificate_can_be_carried_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file for the phone, never the key."""
    target = tmp_path / "home.crt"
    said(capsys, "--certificate", str(target), "--data", str(tmp_path))
    assert target.read_text().startswith("-----BEGIN CERTIFICATE-----")
    assert "PRIVATE" not in target.read_text()


@pytest.mark.parametrize(
    "words",
    [
        ["paired", "--revoke", "7"],
        ["paired", "--revoke", "Anna"],
        ["paired", "--new", "--page", "8.8.8.8"],
        ["paired", "--certificate", "/nowhere/at/all.crt"],
        ["watch", "--page", "8.8.8.8:8443"],
        ["watch", "--page", "night.flac"],
    ],
)
def test_mistakes_are_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """What is wrong and what to do, exit code 2."""
    assert main([*words, "--data", str(tmp_path)]) == 2
    error = capsys.readouterr().err
    assert error.startswith("beepwatch: ")
    assert error.count("\n") == 1


def test_a_port_in_use_ends_watch_before_it_listens(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, exit code 2, nothing half begun."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        night = Path(__file__).parents[2] / "samples" / "night.flac"
        words = ["watch", str(night), "--silent", "--page", f"127.0.0.1:{port}", "--data", str(tmp_path)]
        assert main(words) == 2
    assert "the page cannot be opened" in capsys.readouterr().err
