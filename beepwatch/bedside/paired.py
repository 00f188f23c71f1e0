"""What this computer knows of the one that listens: address, token, certificate; and how they were paired."""

import http.client
import json
import re
import ssl
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import msgspec

from beepwatch.errors import InputError
from beepwatch.records.whole import put_whole

FILE = "bedside.json"
COOKIE = "__Host-beepwatch"
PATIENCE = 10.0
"""s for each step of pairing (judgement: a home's network takes under one)."""
LINK = re.compile(r"https://(\[[0-9a-fA-F:]+\]|[^/:\[\]#]+):(\d{1,5})/pair#([^~]+)~([0-9a-f]{64})")


class Listener(msgspec.Struct, frozen=True):
    """The paired computer that listens. Kept in a file for its owner alone."""

    host: str
    port: int
    token: str
    certificate: str
    """The authority's, PEM: it alone vouches for the listener."""
    name: str
    """Whose bedside this is, as the listener has it."""


@dataclass(frozen=True, slots=True)
class Link:
    """A pairing link of the listener's screen."""

    host: str
    port: int
    code: str
    fingerprint: str


def parsed(text: str) -> Link:
    """The parts of a link. Raises InputError with what to do."""
    match = LINK.fullmatch(text.strip())
    if match is None:
        raise InputError(
            "that is no pairing link: take the whole line between the quotes from `beepwatch paired --new` on the "
            "computer that listens"
        )
    return Link(match[1].strip("[]"), int(match[2]), match[3], match[4])


def pair(link: Link, name: str) -> Listener:
    """Exchange the code for a token. Raises InputError with what to do."""
    certificate = _certificate(link)
    body = json.dumps({"code": link.code, "name": name, "kind": "bedside"})
    try:
        connection = http.client.HTTPSConnection(link.host, link.port, timeout=PATIENCE, context=vouched(certificate))
        connection.request("POST", "/pair", body, {"content-type": "application/json"})
        answer = connection.getresponse()
        told = answer.read()
        cookie = answer.getheader("set-cookie") or ""
        connection.close()
    except (OSError, http.client.HTTPException) as error:
        raise _unreached(link, error) from error
    if answer.status != 200:
        raise InputError("the code does not hold any more: type `beepwatch paired --new` there, and use the new link")
    token = cookie.partition("=")[2].partition(";")[0]
    return Listener(link.host, link.port, token, certificate, str(json.loads(told)["name"]))


def vouched(certificate: str) -> ssl.SSLContext:
    """TLS that believes this authority and no other."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_verify_locations(cadata=certificate)
    return context


def keep(folder: Path, listener: Listener) -> None:
    """Write the file, whole or not at all, for its owner alone. Raises InputError."""
    try:
        put_whole(folder / FILE, msgspec.json.encode(listener))
    except OSError as error:
        raise InputError(f"the pairing cannot be kept in {folder} ({error.strerror}): make room there") from error


def kept(folder: Path) -> Listener:
    """The listener of this computer. Raises InputError with what to do where there is none."""
    path = folder / FILE
    try:
        return msgspec.json.decode(path.read_bytes(), type=Listener)
    except FileNotFoundError as error:
        raise InputError(
            "this computer is not paired: type `beepwatch paired --new` on the computer that listens, and here "
            "`beepwatch bedside` with the link that it shows"
        ) from error
    except (OSError, msgspec.DecodeError) as error:
        raise InputError(f"{path} cannot be used ({error}): pair this computer anew") from error


def _certificate(link: Link) -> str:
    """The authority's certificate, PEM, taken over only where its fingerprint is the link's."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE  # what comes is believed by its fingerprint alone
    try:
        connection = http.client.HTTPSConnection(link.host, link.port, timeout=PATIENCE, context=context)
        connection.request("GET", "/authority.crt")
        answer = connection.getresponse()
        pem = answer.read().decode("ascii", "replace")
        connection.close()
    except (OSError, http.client.HTTPException) as error:
        raise _unreached(link, error) from error
    if answer.status != 200:
        raise InputError("the code does not hold any more: type `beepwatch paired --new` there, and use the new link")
    try:
        found = sha256(ssl.PEM_cert_to_DER_cert(pem)).hexdigest()
    except ValueError as error:
        raise InputError("what answers there is no beepwatch: look at the address in the link") from error
    if found != link.fingerprint:
        raise InputError(
            "another computer answers there than the one that made this link: do not pair; make a new link"
        )
    return pem


def _unreached(link: Link, error: Exception) -> InputError:
    return InputError(
        f"{link.host}:{link.port} cannot be reached ({error}): is `beepwatch watch --page` running there, and are both "
        "computers in one network?"
    )
