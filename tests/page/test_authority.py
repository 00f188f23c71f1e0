"""The household's certificate authority, read back by openssl, which knows nothing of how it was made."""

import shutil
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beepwatch.errors import InputError
from beepwatch.page import authority
from beepwatch.page.authority import RENEW, grouped, identity
from beepwatch.page.names import host_name

NOW = datetime.now(UTC)
HOME = ("192.168.7.5",)


def openssl(*arguments: str) -> str:
    """What openssl prints."""
    done = subprocess.run(["openssl", *arguments], capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def test_openssl_reads_the_authority_as_one_for_this_computer_alone(tmp_path: Path) -> None:
    """An authority with no authority below it, bound by a critical name constraint (RFC 5280, 4.2.1.10)."""
    own = identity(tmp_path, NOW, HOME)
    text = openssl("x509", "-in", str(own.authority), "-noout", "-text")
    assert "CA:TRUE, pathlen:0" in text
    assert "X509v3 Name Constraints: critical" in text
    assert f"DNS:{host_name()}" in text
    assert "IP:192.168.7.5/255.255.255.255" in text
    assert "Certificate Sign, CRL Sign" in text
    assert "Excluded" not in text


def test_openssl_agrees_on_the_fingerprint(tmp_path: Path) -> None:
    """The digits that two people compare are those of openssl."""
    own = identity(tmp_path, NOW, HOME)
    told = openssl("x509", "-in", str(own.authority), "-noout", "-fingerprint", "-sha256")
    assert told.strip().partition("=")[2] == grouped(own.fingerprint)


@pytest.mark.parametrize(("name", "verdict"), [("192.168.7.5", True), ("127.0.0.1", True), ("192.168.7.6", False)])
def test_openssl_verifies_the_page_for_its_own_addresses(tmp_path: Path, name: str, verdict: bool) -> None:
    """The page's certificate stands under the authority, for this address and no other."""
    own = identity(tmp_path, NOW, HOME)
    told = openssl("verify", "-CAfile", str(own.authority), "-verify_ip", name, "-purpose", "sslserver",
                   str(own.certificate))  # fmt: skip
    assert told.strip().endswith(": OK") == verdict


def test_a_stolen_authority_cannot_vouch_for_a_bank(tmp_path: Path) -> None:
    """A certificate for another name, signed with the household's key, is refused by openssl for the constraint."""
    own = identity(tmp_path, NOW, HOME)
    request, forged = tmp_path / "bank.csr", tmp_path / "bank.crt"
    openssl("req", "-new", "-newkey", "rsa:2048", "-nodes", "-keyout", str(tmp_path / "bank.key"), "-subj",
            "/CN=bank.example", "-addext", "subjectAltName=DNS:bank.example", "-out", str(request))  # fmt: skip
    openssl("x509", "-req", "-in", str(request), "-CA", str(own.authority), "-CAkey", str(tmp_path / "authority.key"),
            "-copy_extensions", "copy", "-out", str(forged))  # fmt: skip
    assert "permitted subtree violation" in openssl("verify", "-CAfile", str(own.authority), str(forged))


def test_keys_are_for_their_owner_alone(tmp_path: Path) -> None:
    """0600, also where a copy had loosened it."""
    identity(tmp_path / "page", NOW, HOME)
    (tmp_path / "page" / "page.key").chmod(0o644)
    identity(tmp_path / "page", NOW, HOME)
    assert stat.S_IMODE((tmp_path / "page").stat().st_mode) == 0o700
    for name in ("authority.key", "page.key"):
        assert stat.S_IMODE((tmp_path / "page" / name).stat().st_mode) == 0o600


def test_nothing_is_made_anew_without_need(tmp_path: Path) -> None:
    """The phones' one-time step must last: the same authority, the same page."""
    first = identity(tmp_path, NOW, HOME)
    before = first.certificate.read_bytes()
    assert identity(tmp_path, NOW + timedelta(days=50), HOME) == first
    assert first.certificate.read_bytes() == before


def test_the_page_is_renewed_long_before_its_end(tmp_path: Path) -> None:
    """Under the same authority, so that no phone notices."""
    first = identity(tmp_path, NOW, HOME)
    later = identity(tmp_path, first.until - RENEW + timedelta(days=1), HOME)
    assert later.until > first.until
    assert later.fingerprint == first.fingerprint


def test_a_new_address_is_told_and_the_name_goes_on(tmp_path: Path) -> None:
    """The constraint does not hold the new address; a certificate that named it would be refused as a whole."""
    identity(tmp_path, NOW, HOME)
    moved = identity(tmp_path, NOW, ("192.168.7.9",))
    assert moved.outside == ("192.168.7.9",)
    assert host_name() in moved.names
    assert ": OK" in openssl("verify", "-CAfile", str(moved.authority), "-verify_hostname", host_name(),
                             str(moved.certificate))  # fmt: skip


def test_a_key_of_another_certificate_is_replaced(tmp_path: Path) -> None:
    """A crash between the two files leaves a pair that does not match: it is made anew."""
    own, other = identity(tmp_path / "a", NOW, HOME), identity(tmp_path / "b", NOW, HOME)
    shutil.copy(other.key, own.key)
    assert authority._match(own.certificate, own.key) is False
    mended = identity(tmp_path / "a", NOW, HOME)
    assert authority._match(mended.certificate, mended.key)


@pytest.mark.parametrize("name", ["authority.crt", "authority.key"])
def test_files_that_are_no_certificates_are_told_in_one_line(tmp_path: Path, name: str) -> None:
    """With what to do; nothing is overwritten."""
    identity(tmp_path, NOW, HOME)
    (tmp_path / name).write_text("something else")
    (tmp_path / "page.crt").unlink()
    with pytest.raises(InputError, match="move that folder away"):
        identity(tmp_path, NOW, HOME)
    assert (tmp_path / name).read_text() == "something else"
