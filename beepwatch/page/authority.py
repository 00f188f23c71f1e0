"""A certificate authority of this household's own: made on first run, good for this one computer and nothing else.

Files in its folder (0700), each readable by its owner alone (0600):
    authority.key, authority.crt    the authority: P-256, ten years
    page.key, page.crt              what the page shows: P-256, 200 days, made anew by itself
A name constraint (RFC 5280, 4.2.1.10) binds the authority to this computer's names and addresses: whoever steals its
key can play this computer to the household's phones, but no bank.
"""

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.errors import InputError
from beepwatch.page.names import own_addresses, own_names

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.asymmetric.types import CertificateIssuerPrivateKeyTypes

YEARS = timedelta(days=3653)
"""How long the authority holds (judgement: longer than the computer)."""
LEAF = timedelta(days=200)
"""How long the page's certificate holds: phones refuse those of more than 398 or 825 days (from memory)."""
RENEW = timedelta(days=100)
"""What must be left of it, or it is made anew."""
SKEW = timedelta(days=1)
"""Certificates begin this much before now: a phone's clock may be behind."""
LOOPBACK = ("127.0.0.1", "::1")


@dataclass(frozen=True, slots=True)
class Identity:
    """What the server needs to show who it is."""

    certificate: Path
    """The page's certificate and the authority's, PEM."""
    key: Path
    authority: Path
    """The authority's certificate, PEM: what a phone has to take over once."""
    fingerprint: str
    """SHA-256 of the authority's certificate, 64 hex digits."""
    names: tuple[str, ...]
    """Names and addresses that the certificate is for."""
    outside: tuple[str, ...]
    """Addresses of this computer that the authority may not vouch for: they were not there when it was made."""
    until: datetime
    """When the page's certificate ends."""


def identity(folder: Path, now: datetime | None = None, addresses: tuple[str, ...] | None = None) -> Identity:
    """The identity kept in `folder`, made or renewed where need be; cheap where nothing is to be done.

    addresses: this computer's (default: as they are now). Raises InputError, one line, for files that cannot be used.
    """
    now = now or datetime.now(UTC)
    addresses = own_addresses() if addresses is None else addresses
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        if not (folder / "authority.crt").exists():
            _make_authority(folder, now, addresses)
        return _leaf(folder, now, addresses)
    except (OSError, ValueError) as error:
        raise InputError(
            f"the page's certificates in {folder} cannot be used ({error}): move that folder away, then pair again"
        ) from error


def authority(folder: Path) -> bytes:
    """The authority's certificate, PEM; made where there is none. Raises as `identity`."""
    path = folder / "authority.crt"
    return path.read_bytes() if path.exists() else identity(folder).authority.read_bytes()


def fingerprint(certificate: bytes) -> str:
    """SHA-256 of a PEM certificate's DER form: 64 hex digits, as `openssl x509 -fingerprint -sha256` has it."""
    from cryptography import x509  # noqa: PLC0415 - heavy
    from cryptography.hazmat.primitives.serialization import Encoding  # noqa: PLC0415

    return sha256(x509.load_pem_x509_certificate(certificate).public_bytes(Encoding.DER)).hexdigest()


def grouped(digits: str) -> str:
    """A fingerprint as two people read it to one another: pairs with colons, in capitals."""
    return ":".join(digits[i : i + 2] for i in range(0, len(digits), 2)).upper()


def _make_authority(folder: Path, now: datetime, addresses: tuple[str, ...]) -> None:
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import hashes  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415

    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"beepwatch on {own_names()[1]}")
    permitted = [x509.DNSName(one) for one in own_names()]
    permitted += [x509.IPAddress(ip_network(one)) for one in (*LOOPBACK, *addresses)]  # type: ignore[misc]  # its types know no networks
    usage = dict.fromkeys(_USAGES, False) | {"key_cert_sign": True, "crl_sign": True}
    made = (
        _builder(name, issuer=name, key=key, now=now, lasts=YEARS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .sign(key, hashes.SHA256())
    )
    _write(folder / "authority.key", _pem(key))
    _write(folder / "authority.crt", _certificate_pem(made))


def _leaf(folder: Path, now: datetime, addresses: tuple[str, ...]) -> Identity:
    """The page's own certificate: the one that is there if it will do, or a new one."""
    from cryptography import x509  # noqa: PLC0415

    authority_path, path, key_path = folder / "authority.crt", folder / "page.crt", folder / "page.key"
    for secret in ("authority.key", "page.key"):
        _make_private(folder / secret)
    authority = x509.load_pem_x509_certificate(authority_path.read_bytes())
    names = (*own_names(), *LOOPBACK, *addresses)
    allowed = tuple(name for name in names if _permitted(authority, name))
    if authority.not_valid_after_utc <= now + RENEW:
        raise ValueError("the authority has come to its end")
    old = x509.load_pem_x509_certificate(path.read_bytes()) if _match(path, key_path) else None
    if old is None or old.not_valid_after_utc - now < RENEW or _names_in(old) != set(allowed):
        old = _make_leaf(folder, authority, allowed, now)
    return Identity(
        path, key_path, authority_path, fingerprint(authority_path.read_bytes()), allowed,
        tuple(one for one in addresses if one not in allowed), old.not_valid_after_utc,
    )  # fmt: skip


def _make_leaf(
    folder: Path, authority: "x509.Certificate", names: tuple[str, ...], now: datetime
) -> "x509.Certificate":
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import hashes, serialization  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415

    secret = serialization.load_pem_private_key((folder / "authority.key").read_bytes(), None)
    if not isinstance(secret, ec.EllipticCurvePrivateKey):
        raise ValueError("authority.key is no P-256 key")  # noqa: TRY004 - its content is wrong
    key = ec.generate_private_key(ec.SECP256R1())
    usage = dict.fromkeys(_USAGES, False) | {"digital_signature": True}
    made = (
        _builder(_name(names[0]), issuer=authority.subject, key=key, now=now, lasts=LEAF, signer=secret)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .sign(secret, hashes.SHA256())
    )
    _write(folder / "page.key", _pem(key))
    _write(folder / "page.crt", _certificate_pem(made) + _certificate_pem(authority))
    return made


def _match(certificate: Path, key: Path) -> bool:
    """Whether both are there and belong together: a crash may have come between the two."""
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import serialization  # noqa: PLC0415

    if not (certificate.exists() and key.exists()):
        return False
    secret = serialization.load_pem_private_key(key.read_bytes(), None)
    return secret.public_key() == x509.load_pem_x509_certificate(certificate.read_bytes()).public_key()


_USAGES = (
    "digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
    "key_cert_sign", "crl_sign", "encipher_only", "decipher_only",
)  # fmt: skip


def _builder(
    subject: "x509.Name",
    *,
    issuer: "x509.Name",
    key: "EllipticCurvePrivateKey",
    now: datetime,
    lasts: timedelta,
    signer: "CertificateIssuerPrivateKeyTypes | None" = None,
) -> "x509.CertificateBuilder":
    """What all our certificates share."""
    from cryptography import x509  # noqa: PLC0415

    public = (signer or key).public_key()
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - SKEW)
        .not_valid_after(now + lasts)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(public), critical=False)
    )


def _name(text: str) -> "x509.Name":
    from cryptography import x509  # noqa: PLC0415

    return x509.Name([x509.NameAttribute(x509.oid.NameOID.COMMON_NAME, text[:64])])


def _general(name: str) -> "x509.GeneralName":
    from cryptography import x509  # noqa: PLC0415

    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _names_in(certificate: "x509.Certificate") -> set[str]:
    from cryptography import x509  # noqa: PLC0415

    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return {*names.get_values_for_type(x509.DNSName), *map(str, names.get_values_for_type(x509.IPAddress))}


def _permitted(authority: "x509.Certificate", name: str) -> bool:
    """Whether the authority's name constraint lets it vouch for this name or address."""
    from cryptography import x509  # noqa: PLC0415

    subtrees = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    wanted = _general(name)
    if isinstance(wanted, x509.DNSName):
        return any(isinstance(one, x509.DNSName) and one.value == name for one in subtrees)
    nets = (ip_network(str(one.value)) for one in subtrees if isinstance(one, x509.IPAddress))
    return any(ip_address(name) in net for net in nets)


def _pem(key: "EllipticCurvePrivateKey") -> bytes:
    from cryptography.hazmat.primitives import serialization as form  # noqa: PLC0415

    return key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())


def _certificate_pem(certificate: "x509.Certificate") -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding  # noqa: PLC0415

    return certificate.public_bytes(Encoding.PEM)


def _write(path: Path, content: bytes) -> None:
    """Write a file that its owner alone may read, whole or not at all."""
    fresh = path.with_suffix(path.suffix + ".new")
    with suppress(FileNotFoundError):
        fresh.unlink()
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)


def _make_private(path: Path) -> None:
    """Take back what rights others have to a key (a copy or a backup may have given some)."""
    if path.exists() and path.stat().st_mode & 0o077:
        path.chmod(0o600)
