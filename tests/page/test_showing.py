"""What stands on the computer's screen for pairing, read by a program that knows nothing of how it was drawn."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from beepwatch.page.showing import pairing_words, qr
from tests.page.browser import lacking

LINK = "https://annas-computer.local:8443/pair#ABCDEFGHJKMNPQRS"
HALVES = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
"""What each letter draws: upper and lower module, 1 for light."""


def picture(lines: list[str]) -> "np.ndarray[tuple[int, int], np.dtype[np.uint8]]":
    """The lines as a terminal with light letters on a dark ground shows them, 8 pixels a module."""
    wide = max(map(len, lines))
    rows = np.array([[HALVES[letter] for letter in line.ljust(wide)] for line in lines], np.uint8)
    modules = rows.transpose(0, 2, 1).reshape(-1, wide)
    return np.kron(modules * np.uint8(255), np.ones((8, 8), np.uint8))


def read(image: "np.ndarray[tuple[int, int], np.dtype[np.uint8]]", path: Path) -> str:
    """What zbar reads in it."""
    if shutil.which("zbarimg") is None:
        lacking("zbarimg is missing (Debian package zbar-tools)")
    height, width = image.shape
    path.write_bytes(b"P5 %d %d 255\n" % (width, height) + image.tobytes())
    done = subprocess.run(["zbarimg", "--raw", "-q", str(path)], capture_output=True, text=True, check=False)
    return done.stdout.strip()


@pytest.mark.parametrize("link", [LINK, "https://192.168.178.201:8443/pair#23456789ABCDEFGH"])
def test_the_picture_holds_the_link(tmp_path: Path, link: str) -> None:
    """zbar, another's reader, finds exactly the link in it."""
    assert read(picture(qr(link).splitlines()), tmp_path / "qr.pgm") == link


def test_colours_are_only_round_the_same_lines() -> None:
    """At a terminal of any colours it stays light on dark; the letters are the same, and it fits 80 columns."""
    plain, coloured = qr(LINK).splitlines(), qr(LINK, coloured=True).splitlines()
    assert [line.removeprefix("\x1b[97;40m").removesuffix("\x1b[0m") for line in coloured] == plain
    assert max(map(len, plain)) <= 80
    assert len(plain) <= 24


def test_all_that_a_person_needs_is_beside_it() -> None:
    """The code in groups of four, the address, the fingerprint in pairs, and the line for another computer."""
    told = pairing_words("nas.local", 8443, "ABCDEFGHJKMNPQRS", "0f" * 32)
    for words in ("ABCD-EFGH-JKMN-PQRS", "https://nas.local:8443/pair\n", "0F:0F", "#ABCDEFGHJKMNPQRS~" + "0f" * 32):
        assert words in told
