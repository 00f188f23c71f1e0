"""Who comes in: every request passes here first, and what is not let in learns nothing.

In this order: the peer is on the home's network; the Host header names this computer (no DNS rebinding); the size of
the body; what is open to all (pairing, and that only while a code waits); the cookie of a paired device; for whatever
changes something, that it comes from our own page. A refusal is a status and one plain sentence.
"""

import logging
import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from beepwatch.errors import RecordsError
from beepwatch.page.limits import Buckets
from beepwatch.page.names import near
from beepwatch.page.pairing import Device, Pairing

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOG = logging.getLogger("beepwatch")
COOKIE = "__Host-beepwatch"
"""Bound to this very host and to TLS by its prefix (ASVS 3.4.4)."""
OPEN = frozenset({"/pair", "/pair.js", "/page.css", "/icon.svg", "/authority.crt"})
"""Paths for those who are not paired yet; they hold no data, and answer only while a pairing code waits."""
BODY = 4096
"""Bytes of a request at most."""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
HEADERS: dict[str, str] = {
    "cache-control": "no-store",
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)",
}
"""On every answer. Not Strict-Transport-Security (ASVS 14.4.5): a browser takes that for every port of the name, and
so would shut out other programs of this computer; our port speaks TLS only, and the cookie is never sent without."""


class Guard:
    """Tells devices by their cookie, through a disk that fails: whom it knew, it still knows then."""

    def __init__(self, pairing: Pairing, wall: Callable[[], float] = time.time) -> None:
        self._pairing, self._wall = pairing, wall
        self._known: dict[str, Device] = {}

    def device(self, cookie: str | None) -> Device | None:
        """The paired device with this cookie, or None."""
        if not cookie:
            return None
        now = self._wall()
        try:
            found = self._pairing.device(cookie, now)
            if found is not None:
                self._pairing.saw(found, now)
        except RecordsError as error:
            LOG.warning("%s", error)
            return self._known.get(cookie)
        if found is None:
            self._known.pop(cookie, None)
        else:
            self._known[cookie] = found
        return found

    def pairing_open(self) -> bool:
        """Whether a code waits to be used."""
        try:
            return self._pairing.open(self._wall())
        except RecordsError as error:
            LOG.warning("%s", error)
            return False


class Gate:
    """The ASGI layer round the application; a device that is let in is in `scope["state"]["device"]`.

    names: the Host header's names (without port) that are this computer's, asked anew each time.
    """

    def __init__(self, app: "ASGIApp", guard: Guard, names: Callable[[], frozenset[str]], buckets: Buckets) -> None:
        self._app, self._guard, self._names, self._buckets = app, guard, names, buckets

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Let in or refuse."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no web sockets here: the server closes the connection
        refused = self._refusal(scope)
        sent = _with_headers(send)
        if refused is None:
            await self._app(scope, _bounded(receive), sent)
        else:
            await _refuse(sent, *refused)

    def _refusal(self, scope: "Scope") -> tuple[int, str] | None:
        """Status and sentence; None to let it in."""
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        peer = str((scope.get("client") or ("",))[0])
        if not near(peer):
            return 403, "This page is for the home's own network."
        if host_of(headers.get("host", "")) not in self._names():
            return 421, "This is not the page's address."
        if int(headers.get("content-length", "0") if headers.get("content-length", "0").isdigit() else BODY + 1) > BODY:
            return 413, "Too much at once."
        device = self._guard.device(cookie_of(headers.get("cookie", "")))
        if device is None:
            return self._stranger(scope, headers, peer)
        if scope["method"] not in ("GET", "HEAD") and not ours(headers):
            return 403, "Not from the page itself."
        scope.setdefault("state", {})["device"] = device
        return None

    def _stranger(self, scope: "Scope", headers: Mapping[str, str], peer: str) -> tuple[int, str] | None:
        """Not paired: a few at a time, and only what pairing needs."""
        if not self._buckets.take(peer):
            return 429, "Too many at once. Wait a minute."
        if scope["path"] in OPEN and self._guard.pairing_open():
            if scope["method"] in ("GET", "HEAD") or ours(headers):
                return None
            return 403, "Not from the page itself."
        return 401, UNPAIRED


UNPAIRED = (
    "This device is not paired, so it is told nothing and will not wake you. "
    "On the computer that listens, type: beepwatch paired --new"
)


def host_of(header: str) -> str:
    """The name in a Host header, lower case, without its port and trailing dot."""
    host = header.strip().lower()
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.partition(":")[0].rstrip(".")


def cookie_of(header: str) -> str | None:
    """Our cookie's value in a Cookie header."""
    for part in header.split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return None


def ours(headers: Mapping[str, str]) -> bool:
    """Whether our own page (or a program, which has no Origin) sends this: against forged requests (ASVS 13.2.3).

    The kind application/json keeps other sites' forms out, for they cannot send it without a preflight, which is
    refused. The Origin, where there is one, must be the Host. Neither lets anybody in: the cookie does.
    """
    kind = headers.get("content-type", "").partition(";")[0].strip()
    origin = headers.get("origin")
    same_site = headers.get("sec-fetch-site", "same-origin") == "same-origin"
    same_origin = origin is None or origin.lower() == f"https://{headers.get('host', '').lower()}"
    return kind == "application/json" and same_site and same_origin


def _with_headers(send: "Send") -> "Send":
    async def sent(message: "Message") -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message["headers"]}
            extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in own]
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return sent


def _bounded(receive: "Receive") -> "Receive":
    """No more of the body than `BODY`, even where its length was not told."""
    left = BODY

    async def received() -> "Message":
        nonlocal left
        message = await receive()
        left -= len(message.get("body", b""))
        return message if left >= 0 else {"type": "http.disconnect"}

    return received


async def _refuse(send: "Send", status: int, sentence: str) -> None:
    body = sentence.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    if status == 429:
        headers.append((b"retry-after", b"60"))
    await send({"type": "http.response.start", "status": status, "headers": [*headers, (b"connection", b"close")]})
    await send({"type": "http.response.body", "body": body})
