"""The page's routes: a few files, one stream, and what a paired device may ask of the loop."""

from collections.abc import Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, TypeVar

import msgspec

from beepwatch import __version__
from beepwatch.board.board import Board
from beepwatch.page.bodies import LONGEST_PAUSE, Answer, Exchange, Finding, Pausing, Shown
from beepwatch.page.gate import COOKIE, Gate, Guard
from beepwatch.page.limits import Buckets
from beepwatch.page.pairing import UNUSED, Device, Pairing
from beepwatch.page.stream import Hub
from beepwatch.page.watchers import Watchers
from beepwatch.waking.commands import Changed, Command, Found, Going, Pause, Resume

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

FILES = {
    "/": ("page.html", "text/html"),
    "/page.css": ("page.css", "text/css"),
    "/page.js": ("page.js", "text/javascript"),
    "/sound.js": ("sound.js", "text/javascript"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
    "/views.css": ("views.css", "text/css"),
    "/views.js": ("views.js", "text/javascript"),
    "/pair": ("pair.html", "text/html"),
    "/pair.js": ("pair.js", "text/javascript"),
}
VIA = "page"
Body = TypeVar("Body")


@dataclass(frozen=True, slots=True)
class View:
    """A further page behind the same gate, as tonight, week and month: a link on the main page, and its routes.

    path: "/week" or the like, one of `routes`. Their endpoints find the paired device in
    `request.state.device`, get the page's headers by themselves (no inline script or style) and may use /page.css.
    """

    path: str
    title: str
    routes: "tuple[Route, ...]"


@dataclass(frozen=True)
class Surroundings:
    """What the routes work with."""

    pairing: Pairing
    guard: Guard
    board: Board
    command: Callable[[Command], None]
    """`Watch.command`."""
    watchers: Watchers
    make_hub: Callable[[], Hub]
    """Called in the event loop."""
    authority: Callable[[], bytes]
    """The authority's certificate, PEM."""
    names: Callable[[], frozenset[str]]
    """Names in Host headers that are ours."""
    ticks: Callable[[], float]
    wall: Callable[[], float]
    """s of the epoch."""
    paired: Callable[[Device], None] = lambda device: None
    """Told of each new device."""
    views: Sequence[View] = ()


def application(around: Surroundings) -> Gate:
    """The whole application, gate included."""
    from starlette.applications import Starlette  # noqa: PLC0415 - heavy
    from starlette.routing import Route  # noqa: PLC0415

    routes = Routes(around)

    @asynccontextmanager
    async def lifespan(app: "Starlette") -> "AsyncIterator[None]":
        async with routes.running():
            yield

    table = [
        *(Route(path, routes.file, methods=["GET"]) for path in FILES),
        Route("/authority.crt", routes.authority, methods=["GET"]),
        Route("/pair", routes.pair, methods=["POST"]),
        Route("/events", routes.events, methods=["GET"]),
        Route("/going", routes.going, methods=["POST"]),
        Route("/pause", routes.pause, methods=["POST"]),
        Route("/resume", routes.resume, methods=["POST"]),
        Route("/found", routes.found, methods=["POST"]),
        Route("/changed", routes.changed, methods=["POST"]),
        Route("/seen", routes.seen, methods=["POST"]),
        *(route for view in around.views for route in view.routes),
    ]
    inner = Starlette(routes=table, lifespan=lifespan, exception_handlers={404: _plain, 405: _plain, 500: _plain})
    return Gate(inner, around.guard, around.names, Buckets(around.ticks))


class Routes:
    """The endpoints; see `FILES` and `application` for the table."""

    def __init__(self, around: Surroundings) -> None:
        self._around = around
        self._hub: Hub | None = None

    @asynccontextmanager
    async def running(self) -> "AsyncIterator[None]":
        """The hub and its heartbeat, while the server runs."""
        import asyncio  # noqa: PLC0415

        self._hub = self._around.make_hub()
        beat = asyncio.create_task(self._hub.beat())
        try:
            yield
        finally:
            beat.cancel()
            self._hub.close_all()

    async def file(self, request: "Request") -> "Response":
        """One of our own files; the main page renews the cookie's time."""
        name, kind = FILES[request.url.path]
        response = _response(files("beepwatch.page").joinpath("static", name).read_bytes(), kind)
        cookie = request.cookies.get(COOKIE)
        if request.url.path == "/" and cookie is not None:
            _set_cookie(response, cookie)
        return response

    async def authority(self, request: "Request") -> "Response":
        """The authority's certificate, in the form phones offer to install."""
        response = _response(self._around.authority(), "application/x-x509-ca-cert", charset="")
        response.headers["content-disposition"] = 'attachment; filename="beepwatch.crt"'
        return response

    async def pair(self, request: "Request") -> "Response":
        """A code for a cookie. The same answer for every code that does not hold."""
        asked = await body_of(request, Exchange)
        if asked is None:
            return json({"error": "not understood"}, 400)
        found = self._around.pairing.exchange(asked.code, asked.name, asked.kind, self._around.wall())
        if found is None:
            return json({"error": "this code does not hold"}, 403)
        device, token = found
        self._around.paired(device)
        response = json({"name": device.name})
        _set_cookie(response, token)
        return response

    async def events(self, request: "Request") -> "Response":
        """The stream: hello, then what stands now and tonight's events, again and again."""
        from starlette.responses import StreamingResponse  # noqa: PLC0415

        if self._hub is None:
            return json({"error": "not ready"}, 503)
        device, cookie = device_of(request), request.cookies.get(COOKIE)
        views = [{"path": view.path, "title": view.title} for view in self._around.views]
        hello = msgspec.json.encode({"you": device.name, "version": __version__, "views": views})
        frames = self._hub.stream(device, hello, lambda: self._around.guard.device(cookie) is not None)
        return StreamingResponse(frames, media_type="text/event-stream; charset=utf-8")

    async def going(self, request: "Request") -> "Response":
        """A person goes. Never limited, never refused to a paired device: 409 only where that alarm is not open."""
        asked = await body_of(request, Answer)
        if asked is None:
            return json({"error": "not understood"}, 400)
        number = self._open_number(asked.alarm)
        if number is None:
            return json({"taken": False}, 409)
        return self._order(Going(device_of(request).name, VIA, number))

    async def found(self, request: "Request") -> "Response":
        """What an alarm turned out to be."""
        asked = await body_of(request, Finding)
        number = None if asked is None else self._number(asked.alarm)
        if asked is None or number is None:
            return json({"error": "not understood"}, 400)
        return self._order(Found(number, asked.what, device_of(request).name, VIA))

    async def changed(self, request: "Request") -> "Response":
        """The main battery was changed."""
        return self._order(Changed(device_of(request).name, VIA))

    async def pause(self, request: "Request") -> "Response":
        """A planned pause."""
        asked = await body_of(request, Pausing)
        if asked is None or not 1 <= asked.minutes <= LONGEST_PAUSE:
            return json({"error": "not understood"}, 400)
        return self._order(Pause(60.0 * asked.minutes, asked.purpose, device_of(request).name, VIA))

    async def resume(self, request: "Request") -> "Response":
        """The end of a pause."""
        return self._order(Resume(device_of(request).name, VIA))

    async def seen(self, request: "Request") -> "Response":
        """A page shows these alarms."""
        asked = await body_of(request, Shown)
        if asked is None or len(asked.alarms) > 20:
            return json({"error": "not understood"}, 400)
        device = device_of(request)
        if asked.leaving:
            self._around.watchers.left(device.number)
        elif device.kind == "bedside":
            self._around.watchers.there(device.name, device.number)
        for alarm in asked.alarms:
            self._around.watchers.confirm(
                alarm[:60], device.name, device.number, visible=asked.visible, sounding=asked.sounding
            )
        return json({})

    def _order(self, command: Command) -> "Response":
        """Pass it to the loop; what came of it is on the board."""
        self._around.command(command)
        return json({"taken": True}, 202)

    def _number(self, alarm: str) -> int | None:
        """The number in an alarm's id, if it is of this run."""
        run, _, number = alarm.rpartition(":")
        if run != self._around.board.posted.state.run or not number.lstrip("-").isdecimal() or len(number) > 9:
            return None
        return int(number)

    def _open_number(self, alarm: str) -> int | None:
        """The same, if that alarm is on the board."""
        number = self._number(alarm)
        return number if any(one.number == number for one in self._around.board.posted.state.alarms) else None


def device_of(request: "Request") -> Device:
    """The paired device that the gate let in."""
    device = request.state.device
    assert isinstance(device, Device)  # noqa: S101 - the gate lets nobody else here
    return device


async def body_of(request: "Request", kind: type[Body]) -> Body | None:
    """The JSON body as this type; None where it is none, or too long."""
    from starlette.requests import ClientDisconnect  # noqa: PLC0415

    try:
        return msgspec.json.decode(await request.body(), type=kind)
    except (msgspec.DecodeError, msgspec.ValidationError, UnicodeDecodeError, ClientDisconnect):
        return None


def _set_cookie(response: "Response", token: str) -> None:
    response.set_cookie(COOKIE, token, max_age=int(UNUSED), path="/", secure=True, httponly=True, samesite="strict")


def _response(body: bytes, kind: str, charset: str = "; charset=utf-8") -> "Response":
    from starlette.responses import Response  # noqa: PLC0415

    return Response(body, headers={"content-type": kind + charset})


def html(text: str) -> "Response":
    """A page that was made here."""
    return _response(text.encode("utf-8", "backslashreplace"), "text/html")


def json(told: dict[str, object], status: int = 200) -> "Response":
    """JSON; as an attachment, so that no browser ever shows it as a page (ASVS 14.4.2)."""
    from starlette.responses import Response  # noqa: PLC0415

    headers = {"content-type": "application/json; charset=utf-8"}
    headers["content-disposition"] = 'attachment; filename="api.json"'
    return Response(msgspec.json.encode(told), status, headers=headers)


async def _plain(request: "Request", error: Exception) -> "Response":
    """A refusal says what, never why inside (ASVS 14.3.1)."""
    status = getattr(error, "status_code", 500)
    words = {404: "There is no such page.", 405: "Not in this way."}
    body = words.get(status, "Something failed here. It is in the log.")
    response = _response(body.encode(), "text/plain")
    response.status_code = status
    return response
