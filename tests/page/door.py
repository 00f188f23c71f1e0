"""The page's application without a network: Starlette's own client at the door."""

from collections.abc import Mapping
from pathlib import Path
from typing import cast

from starlette.applications import Starlette
from starlette.testclient import TestClient

from beepwatch.board.board import Board
from beepwatch.board.state import State
from beepwatch.page.app import Surroundings, View, application
from beepwatch.page.gate import COOKIE, Guard
from beepwatch.page.pairing import Pairing
from beepwatch.page.stream import Hub
from beepwatch.page.watchers import Watchers
from beepwatch.waking.commands import Command
from tests.page.house import REST

EPOCH = 1_800_000_000.0
JSON = {"content-type": "application/json"}


class Door:
    """The application and a client of it at `peer`; time in the test's hand."""

    def __init__(
        self,
        folder: Path,
        peer: str = "192.168.7.30",
        views: tuple[View, ...] = (),
        told: list[Command] | None = None,
    ) -> None:
        self.now = EPOCH
        self.ticks = 100.0
        self.pairing = Pairing(folder)
        self.board = Board()
        self.board.post(REST)
        self.commands: list[Command] = [] if told is None else told
        self.watchers = Watchers(lambda: self.ticks)
        self.guard = Guard(self.pairing, lambda: self.now)
        self.app = application(Surroundings(
            self.pairing, self.guard, self.board, self.commands.append, self.watchers, _no_hub,
            lambda: b"-----BEGIN CERTIFICATE-----", lambda: frozenset({"nas.local", "192.168.7.5"}),
            lambda: self.ticks, lambda: self.now, views=views,
        ))  # fmt: skip
        self.client = self.at(peer)

    def at(self, peer: str, host: str = "nas.local:8443") -> TestClient:
        """A browser at this address, which calls the page by this name."""
        return TestClient(self.app, base_url=f"https://{host}", client=(peer, 50000), raise_server_exceptions=False)

    def pair(self, name: str = "Anna") -> str:
        """A paired device's token."""
        found = self.pairing.exchange(self.pairing.new_code(self.now), name, "phone", self.now)
        assert found is not None
        return found[1]

    def cookie(self, token: str) -> dict[str, str]:
        """The header of a browser with this token."""
        return {"cookie": f"{COOKIE}={token}"}

    def routes(self) -> list[tuple[str, str]]:
        """Method and path of every route that there is."""
        inner = cast("Starlette", self.app._app)
        return sorted(
            (method, str(getattr(route, "path", "")))
            for route in inner.routes
            for method in getattr(route, "methods", None) or ()
        )

    def show(self, state: State) -> None:
        """Put this on the board."""
        self.board.post(state)

    def send(self, path: str, body: object, token: str, more: Mapping[str, str] | None = None) -> int:
        """POST as the page does; the status."""
        headers = {**JSON, **self.cookie(token), "origin": "https://nas.local:8443", **(more or {})}
        return int(self.client.post(path, json=body, headers=headers).status_code)


def _no_hub() -> Hub:
    raise AssertionError("streams are tested at the real server")
