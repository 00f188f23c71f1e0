"""Codes hold once and for five minutes; tokens are kept as hashes only."""

import sqlite3
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.errors import RecordsError
from beepwatch.page import pairing
from beepwatch.page.pairing import CODE_LASTS, FILE, LONGEST, UNUSED, Pairing, link, tidy_code, tidy_name

NOW = 1_800_000_000.0


def test_a_code_holds_once(tmp_path: Path) -> None:
    """ASVS 4.0.3, 2.7.3: an out-of-band code is used once."""
    pairs = Pairing(tmp_path)
    code = pairs.new_code(NOW)
    found = pairs.exchange(code, "Anna", "phone", NOW + 1)
    assert found is not None
    assert found[0].name == "Anna"
    assert pairs.exchange(code, "Anna", "phone", NOW + 2) is None


@pytest.mark.parametrize("after", [-1.0, CODE_LASTS, CODE_LASTS + 1])
def test_a_code_ends(tmp_path: Path, after: float) -> None:
    """After five minutes (ASVS 2.7.2: ten at most), and when the clock was set back."""
    pairs = Pairing(tmp_path)
    code = pairs.new_code(NOW)
    assert not pairs.open(NOW + after)
    assert pairs.exchange(code, "", "phone", NOW + after) is None


def test_a_new_code_ends_the_one_before(tmp_path: Path) -> None:
    """There is one at a time."""
    pairs = Pairing(tmp_path)
    first = pairs.new_code(NOW)
    pairs.new_code(NOW)
    assert pairs.exchange(first, "", "phone", NOW) is None


def test_codes_and_tokens_are_long_enough() -> None:
    """ASVS 2.7.6 asks 20 bits of a code, 3.2.2 asks 64 of a session token."""
    assert len(pairing.ALPHABET) ** pairing.LETTERS >= 2**79
    assert pairing.TOKEN_BYTES * 8 >= 64


def test_a_code_may_be_typed_as_people_do(tmp_path: Path) -> None:
    """Small letters, gaps and dashes."""
    pairs = Pairing(tmp_path)
    code = pairs.new_code(NOW)
    typed = f" {code[:4].lower()}-{code[4:8]} {code[8:]}"
    assert tidy_code(typed) == code
    assert pairs.exchange(typed, "", "phone", NOW) is not None


def test_only_its_own_token_opens(tmp_path: Path) -> None:
    """Forged, empty, revoked and long unused ones do not."""
    pairs = Pairing(tmp_path)
    device, token = pairs.exchange(pairs.new_code(NOW), "Anna", "phone", NOW) or (None, "")
    assert device is not None
    assert pairs.device(token, NOW) == device
    assert pairs.device(token[:-1] + "x", NOW) is None
    assert pairs.device("", NOW) is None
    assert pairs.device(token, NOW + UNUSED + 1) is None
    assert pairs.revoke(device.number, NOW)
    assert pairs.device(token, NOW) is None
    assert not pairs.revoke(device.number, NOW)


def test_use_keeps_a_device_paired(tmp_path: Path) -> None:
    """A phone that is used each night never has to be paired again."""
    pairs = Pairing(tmp_path)
    _, token = pairs.exchange(pairs.new_code(NOW), "Anna", "phone", NOW) or (None, "")
    for day in range(0, 200, 40):
        device = pairs.device(token, NOW + day * 86400)
        assert device is not None
        pairs.saw(device, NOW + day * 86400)


def test_the_file_holds_no_secret(tmp_path: Path) -> None:
    """Neither code nor token is in it, and it is for its owner alone."""
    pairs = Pairing(tmp_path)
    code = pairs.new_code(NOW)
    _, token = pairs.exchange(code, "Anna", "phone", NOW) or (None, "")
    other = pairs.new_code(NOW)
    content = (tmp_path / FILE).read_bytes()
    for secret in (code, token, other):
        assert secret.encode() not in content
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600


def test_numbers_are_never_given_twice(tmp_path: Path) -> None:
    """A number in somebody's notes always means the same phone."""
    pairs = Pairing(tmp_path)
    numbers = [(pairs.exchange(pairs.new_code(NOW), "", "phone", NOW) or (None,))[0] for _ in range(3)]
    with sqlite3.connect(tmp_path / FILE) as base:
        base.execute("DELETE FROM device")
    base.close()
    fresh = pairs.exchange(pairs.new_code(NOW), "", "phone", NOW)
    assert fresh is not None
    assert fresh[0].number == 4
    assert [one.number for one in numbers if one] == [1, 2, 3]


def test_a_damaged_file_is_told_in_one_line(tmp_path: Path) -> None:
    """With what to do."""
    (tmp_path / FILE).write_text("no database at all, but long enough to be taken for one" * 10)
    with pytest.raises(RecordsError, match="move it away"):
        Pairing(tmp_path)


@given(st.text())
def test_names_are_one_short_line(name: str) -> None:
    """Whatever is sent: no control characters, no line breaks, no marks that turn the direction of what follows."""
    tidy = tidy_name(name)
    assert len(tidy) <= LONGEST
    assert tidy.isprintable()
    assert tidy_name(tidy) == tidy or len(tidy) == LONGEST


def test_the_code_is_only_in_the_fragment() -> None:
    """What comes after # no browser sends: it is in no request and no log (ASVS 3.1.1, 8.3.1)."""
    assert link("nas.local", 8443, "ABCD") == "https://nas.local:8443/pair#ABCD"
    assert link("::1", 8443, "ABCD", "ff") == "https://[::1]:8443/pair#ABCD~ff"
