"""The routes of the views: read in a thread of the server's pool, answered as whole pages; a note goes to the loop."""

import asyncio
import logging
from collections.abc import Callable
from datetime import date, datetime
from typing import TYPE_CHECKING, TypeVar

import msgspec

from beepwatch.errors import RecordsError
from beepwatch.page.app import VIA, View, body_of, device_of, html, json
from beepwatch.page.gate import POLICY
from beepwatch.report.page import harmless
from beepwatch.views.book import FIRST, Book, Evidence
from beepwatch.views.evidence import WORDS, evidence, playable
from beepwatch.views.frame import PLACES, Place, page
from beepwatch.views.night import period
from beepwatch.waking.commands import Cause, Command, Noted

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

LOG = logging.getLogger("beepwatch")
SOUND_POLICY = POLICY.replace("img-src 'self'", "img-src 'self'; media-src 'self'")
"""For a page with a clip on it, and no other."""
WRITTEN = 3.0
"""s to wait until the loop has written a note (judgement: it looks four times a second, a slow disk takes longer)."""
LOOK = 0.1
"""s from look to look (judgement)."""
Result = TypeVar("Result")


class Writing(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Body of POST /alarm/N/note."""

    what: Cause | None = None
    words: str = ""


def views(book: Book, command: Callable[[Command], None]) -> tuple[View, ...]:
    """Tonight (with the evidence of every alarm), week, month, for `PageServer`. command: `Watch.command`."""
    from starlette.routing import Route  # noqa: PLC0415 - heavy

    routes = Routes(book, command)
    alarms = (
        Route("/alarm/{number:int}", routes.alarm, methods=["GET"]),
        Route("/alarm/{number:int}/clip/{clip:int}", routes.clip, methods=["GET"]),
        Route("/alarm/{number:int}/note", routes.note, methods=["POST"]),
    )
    return tuple(
        View(
            place.path, place.title,
            (
                Route(place.path, routes.night, methods=["GET"]),
                Route(f"{place.path}/{{day}}", routes.night, methods=["GET"]),
                *(alarms if place is PLACES[0] else ()),
            ),
        )
        for place in PLACES
    )  # fmt: skip


class Routes:
    """The endpoints."""

    def __init__(self, book: Book, command: Callable[[Command], None]) -> None:
        self._book, self._command = book, command

    async def night(self, request: "Request") -> "Response":
        """A period up to tonight, or to the night of a given evening."""
        place = next(one for one in PLACES if request.url.path.split("/")[1] == one.path[1:])
        tonight = self._book.night()
        last = _day(request.path_params.get("day"), tonight)
        if last is None:
            return _nothing()
        return await _read(lambda: html(period(self._book.period(last, place.nights), _titled(place, last, tonight))))

    async def alarm(self, request: "Request") -> "Response":
        """All that belongs to one alarm."""
        number, noted = _number(request, "number"), request.url.query == "noted"

        def made() -> "Response":
            told = self._book.evidence(number)
            if told is None:
                return _nothing()
            answered = html(evidence(told, noted))
            if playable(told):
                answered.headers["content-security-policy"] = SOUND_POLICY
            return answered

        return await _read(made)

    async def clip(self, request: "Request") -> "Response":
        """The sound of an alarm; in ranges where a browser asks so."""
        from starlette.responses import FileResponse  # noqa: PLC0415 - heavy

        def made() -> "Response":
            path = self._book.clip(_number(request, "number"), _number(request, "clip"))
            return _nothing() if path is None else FileResponse(path, media_type="audio/flac")

        return await _read(made)

    async def note(self, request: "Request") -> "Response":
        """What it was, or a note: told to the loop; 200 once it is in the history, 202 while it is on its way."""
        asked = await body_of(request, Writing)
        words = "" if asked is None else asked.words.strip()
        if asked is None or len(words) > WORDS or not (words or asked.what):
            return json({"error": "not understood"}, 400)
        number, by = _number(request, "number"), device_of(request).name
        try:
            before = await _threaded(lambda: self._book.evidence(number))
            if before is None:
                return json({"error": "no such alarm"}, 404)
            changed = await _threaded(lambda: self._book.changed(before.alarm, asked.what, by))
        except RecordsError as error:
            LOG.warning("a note: %s", error)
            return json({"error": "the history cannot be read"}, 503)
        noted = Noted(number, asked.what, words, by, VIA, changed)
        self._command(noted)
        written = await self._written(noted, before)
        return json({"taken": True, "written": written}, 200 if written else 202)

    async def _written(self, noted: Noted, before: Evidence) -> bool:
        """Whether it is in the history within `WRITTEN` s."""
        for _ in range(round(WRITTEN / LOOK)):
            await asyncio.sleep(LOOK)
            try:
                after = await _threaded(lambda: self._book.evidence(noted.alarm))
            except RecordsError:
                continue
            if after is not None and _holds(noted, before, after):
                return True
        return False


def _holds(noted: Noted, before: Evidence, after: Evidence) -> bool:
    """Whether the history has a new finding and a new note, as far as they were given."""
    old = {note.id for note in before.notes}
    note = not noted.words or any(one.id not in old and one.who == noted.by for one in after.notes)
    newest = (0 if before.found is None else before.found.id, 0 if after.found is None else after.found.id)
    return note and (noted.what is None or newest[1] > newest[0])


def _titled(place: Place, last: date, tonight: date) -> Place:
    """Of an earlier night nobody says "tonight"."""
    return place if last == tonight or place.nights > 1 else Place(place.path, "One night", 1)


def _number(request: "Request", name: str) -> int:
    """A number of the path: beyond what the file can hold it is no row's."""
    number = request.path_params[name]
    assert isinstance(number, int)  # noqa: S101 - the route's own pattern
    return number if number < 2**63 else 0


def _day(given: str | None, tonight: date) -> date | None:
    """The evening that a path names, tonight where it names none; None for what is no evening up to tonight."""
    if given is None:
        return tonight
    try:
        found = datetime.strptime(given, "%Y-%m-%d").date()  # noqa: DTZ007 - a day, as a person counts it
    except ValueError:
        return None
    return min(found, tonight) if found >= FIRST.replace(year=FIRST.year + 1) else None


async def _threaded(read: Callable[[], Result]) -> Result:
    from starlette.concurrency import run_in_threadpool  # noqa: PLC0415 - heavy

    return await run_in_threadpool(read)


async def _read(made: Callable[[], "Response"]) -> "Response":
    """What reading made; a plain page where the history cannot be read now."""
    try:
        return await _threaded(made)
    except RecordsError as error:
        LOG.warning("a view: %s", error)
        told = html(page("The history cannot be read now", [f"<p>{harmless(str(error))}</p>"]))
        told.status_code = 503
        return told


def _nothing() -> "Response":
    told = html(page("There is no such page", ["<p>Neither a night nor an alarm of that number is here.</p>"]))
    told.status_code = 404
    return told
