"""The page's server: uvicorn in a thread of its own. Nothing that fails here reaches the loop; it is logged, and told.

The port is opened before `watch` listens, so that one in use is one clear line then. If the server ends by a fault it
is started again on the same sockets: the pages meanwhile say by themselves that nobody listens.
"""

import asyncio
import logging
import socket
import ssl
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING

from beepwatch.board.board import Board
from beepwatch.errors import BeepwatchError, InputError
from beepwatch.page.app import Surroundings, View, application
from beepwatch.page.authority import Identity, identity
from beepwatch.page.entrance import Entrance
from beepwatch.page.gate import Guard
from beepwatch.page.names import Place, host_name, own_addresses
from beepwatch.page.pairing import Device, Pairing
from beepwatch.page.stream import Hub
from beepwatch.page.watchers import Watchers
from beepwatch.waking.commands import Command

if TYPE_CHECKING:
    import uvicorn

LOG = logging.getLogger("beepwatch")
RENEW_EACH = 600.0
"""s between two looks whether certificate and addresses are still right."""
AGAIN = (1.0, 60.0)
"""s until a server that fell is started again: at first, and at most."""
LOOK_EACH = 5.0
"""s between two looks at who is paired."""
CLOSE = 3.0
"""s to wait for it at the end."""


class PageServer:
    """The page, from `start` to `close`.

    folder: of certificates and pairing. command: `Watch.command`. say: a line for the person at the computer, from
    any thread. views: further pages behind the same gate.
    """

    def __init__(
        self,
        place: Place,
        folder: Path,
        board: Board,
        command: Callable[[Command], None],
        *,
        say: Callable[[str], None] = lambda text: None,
        views: Sequence[View] = (),
    ) -> None:
        """Make what is missing and open the port. Raises InputError or RecordsError: one line, nothing listens yet."""
        self._place, self._folder, self._board = place, folder, board
        self._command, self._say, self._views = command, say, tuple(views)
        self.identity: Identity = identity(folder)
        self.pairing = Pairing(folder)
        self.watchers = Watchers(time.monotonic)
        self._guard = Guard(self.pairing)
        self._context = self._tls()
        self._socket = _opened(place)
        self._ending = Event()
        self._beside, self._look_at = False, 0.0
        self._server: uvicorn.Server | None = None
        self._thread = Thread(target=self._run, name="page", daemon=True)

    @property
    def port(self) -> int:
        """The port that is open."""
        port = self._socket.getsockname()[1]
        return int(port)

    @property
    def address(self) -> str:
        """What a phone best opens: the computer's name, which stays when its address changes."""
        return host_name() if self._place.host == "" else self._place.host

    @property
    def beside(self) -> bool:
        """Whether a bedside computer is paired; looked at anew each few seconds, and as before where it cannot be."""
        now = time.monotonic()
        if now >= self._look_at:
            self._look_at = now + LOOK_EACH
            try:
                devices = self.pairing.devices()
            except BeepwatchError as error:
                LOG.warning("%s", error)
                return self._beside
            self._beside = any(one.kind == "bedside" and one.valid(time.time()) for one in devices)
            for one in devices:
                if one.revoked is not None:
                    self.watchers.left(one.number)
        return self._beside

    def start(self) -> None:
        """Serve from now on."""
        self._thread.start()

    def close(self) -> bool:
        """End; False if it hangs (its thread is a daemon, so the process ends all the same)."""
        self._ending.set()
        if self._server is not None:
            self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(CLOSE)
        self._socket.close()
        return not self._thread.is_alive()

    def names(self) -> frozenset[str]:
        """Names in Host headers that are this computer's."""
        return frozenset((*self.identity.names, *self.identity.outside, self._place.host)) - {""}

    def _run(self) -> None:
        """The thread: serve, and again after a fault."""
        pause = AGAIN[0]
        while not self._ending.is_set():
            began = time.monotonic()
            try:
                asyncio.run(self._serve())
            except Exception as error:  # a fault of the page must not be the listening's
                LOG.exception("the page failed")
                self._say(f"The page failed ({type(error).__name__}: {error}). I start it again; I listen meanwhile.")
            except SystemExit:  # uvicorn's way to say that it could not start
                LOG.exception("the page's server gave up")
            pause = AGAIN[0] if time.monotonic() - began > AGAIN[1] else min(2 * pause, AGAIN[1])
            self._ending.wait(pause)

    async def _serve(self) -> None:
        import uvicorn  # noqa: PLC0415 - heavy

        config = uvicorn.Config(
            application(self._surroundings()),
            access_log=False,  # it would hold addresses of pages; what matters is logged by us
            log_config=None, log_level="critical", server_header=False, proxy_headers=False, ws="none", http="h11",
            loop="asyncio", lifespan="on", interface="asgi3", timeout_keep_alive=30, timeout_graceful_shutdown=1,
        )  # fmt: skip
        config.load()
        config.ssl = self._context
        connections: set[asyncio.BaseTransport] = set()
        config.http_protocol_class = _counted(connections)
        self._server = uvicorn.Server(config)
        if self._ending.is_set():
            return
        renewing = asyncio.create_task(self._renew())
        try:
            await self._server.serve(sockets=[self._socket.dup()])
        finally:
            renewing.cancel()
            await _cut(connections)

    def _surroundings(self) -> Surroundings:
        return Surroundings(
            self.pairing, self._guard, self._board, self._command, self.watchers, self._hub,
            self._authority, self.names, time.monotonic, time.time,
            paired=self._tell_paired, views=self._views,
        )  # fmt: skip

    def _hub(self) -> Hub:
        return Hub(self._board, lambda: datetime.now().astimezone())

    def _authority(self) -> bytes:
        return self.identity.authority.read_bytes()

    def _tell_paired(self, device: Device) -> None:
        self._say(f"Paired: {device.name} ({device.kind}, number {device.number}).")

    def _tls(self) -> ssl.SSLContext:
        """TLS 1.2 and 1.3 alone (ASVS 9.1.3); of 1.2 only forward-secret authenticated ciphers (RFC 7525, 4.2)."""
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.set_ciphers("ECDHE+AESGCM:ECDHE+CHACHA20")
        context.load_cert_chain(self.identity.certificate, self.identity.key)
        return context

    async def _renew(self) -> None:
        """A certificate near its end, or another address: a new one, for the connections from now on."""
        while True:
            await asyncio.sleep(RENEW_EACH)
            try:
                fresh = identity(self._folder)
                if fresh != self.identity:
                    self._context.load_cert_chain(fresh.certificate, fresh.key)
                    self.identity = fresh
            except (BeepwatchError, OSError) as error:
                LOG.warning("the page's certificate could not be renewed: %s", error)


def _counted(connections: set[asyncio.BaseTransport]) -> "type[asyncio.Protocol]":
    """uvicorn's protocol, with its open connections kept in `connections`."""
    from uvicorn.protocols.http.h11_impl import H11Protocol  # noqa: PLC0415

    class Counted(H11Protocol):
        """One connection."""

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # narrower, as in uvicorn
            """It begins."""
            connections.add(transport)
            super().connection_made(transport)

        def connection_lost(self, exc: Exception | None) -> None:
            """It is over."""
            connections.discard(self.transport)
            super().connection_lost(exc)

    return Counted


async def _cut(connections: set[asyncio.BaseTransport]) -> None:
    """End what is still open: TLS would wait up to half a minute for a phone that has gone."""
    for transport in list(connections):
        if isinstance(transport, asyncio.Transport):
            transport.abort()
    for _ in range(20):
        if not connections:
            break
        await asyncio.sleep(0.01)


def can_open(place: Place) -> None:
    """Raise InputError, one line, where the page cannot be served: asked before microphone and speaker are opened."""
    _opened(place).close()


def _opened(place: Place) -> socket.socket:
    """The listening socket; one line where that cannot be."""
    family = socket.AF_INET6 if ":" in place.host else socket.AF_INET
    listening = Entrance(family, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((place.host, place.port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        where = f"{place.host or 'any address'} port {place.port}"
        raise InputError(
            f"the page cannot be opened at {where} ({error.strerror}): is another watch running? "
            f"Give another port, as in --page :{place.port + 1}"
        ) from error
    listening.setblocking(False)
    return listening


def urls(server: PageServer) -> list[str]:
    """Addresses of the page, the best first."""
    hosts = [server.address]
    if server.address.endswith(".local"):
        hosts += [one for one in own_addresses() if one in server.identity.names]
    return [f"https://{f'[{host}]' if ':' in host else host}:{server.port}/" for host in hosts]
