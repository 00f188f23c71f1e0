"""Puts a night together: source, recogniser, history, waker and screen, each opened while somebody reads the errors."""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from queue import SimpleQueue

from beepwatch.board.board import Board
from beepwatch.channels.command import CommandWay
from beepwatch.hub.link import Broker, Link
from beepwatch.hub.way import HubWay
from beepwatch.page import FOLDER
from beepwatch.page.names import Place
from beepwatch.page.server import PageServer, can_open
from beepwatch.page.way import BedsideWay, PageWay
from beepwatch.recognizer import Recognizer
from beepwatch.records.clipping import Clipper, Keeping
from beepwatch.records.journal import Journal
from beepwatch.records.store import Store, data_folder
from beepwatch.settings.file import data_set
from beepwatch.settings.household import Household
from beepwatch.settings.model import Clips, Hub
from beepwatch.sources.block import Samples
from beepwatch.sources.clock import ticking
from beepwatch.sources.library import fresh_name
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.recording import Recording
from beepwatch.sources.replay import Replay
from beepwatch.sources.soundserver import Whereabouts
from beepwatch.views.book import Book
from beepwatch.views.routes import views
from beepwatch.watch.awake import Awake
from beepwatch.watch.beside import Beside
from beepwatch.watch.callers import Callers, messages_of
from beepwatch.watch.caring import Caring
from beepwatch.watch.changes import HouseholdChanges
from beepwatch.watch.console import Console
from beepwatch.watch.lastresort import AGAIN_CODE, LastResort
from beepwatch.watch.live import LiveConsole, drawable
from beepwatch.watch.loop import Watch
from beepwatch.watch.minutes import Minutes
from beepwatch.watch.posting import Posting, Told
from beepwatch.watch.preview import Preview
from beepwatch.watch.pulse import Notify, Pulse, notify_of
from beepwatch.watch.selftest import SelfTest
from beepwatch.watch.sentinel import Sentinel
from beepwatch.watch.sounding import Sounding, chosen, voiced_of
from beepwatch.watch.upkeep import Helpers, Upkeep
from beepwatch.watch.waker import Report, Waker
from beepwatch.watch.ways import Ways

DEFAULTS = ("", "default", "pulse")
"""Names of the speaker that stand for the server's default sink."""


@dataclass(frozen=True, slots=True)
class Night:
    """What one run is made of."""

    source: Microphone | Replay
    watch: Watch
    console: Console
    folder: Path
    """Where the history and the log are."""
    board: Board
    """How it stands, for page, bedside and hub."""
    page: PageServer | None = None
    """Not started yet."""

    @property
    def offers(self) -> int:
        """Channels that the source has."""
        return self.source.offers if isinstance(self.source, Microphone) else self.source.channels

    def observe(self, take: Callable[[Samples], None]) -> None:
        """Let `take` have the samples of each block of a recording, too."""
        if isinstance(self.source, Replay):
            self.source.observe = take

    @property
    def warning(self) -> str | None:
        """What was wrong with a recording."""
        return self.source.warning if isinstance(self.source, Replay) else None


def prepare(
    file: Path | None,
    device: str | None,
    data: Path | None,
    *,
    tone: float | None,
    real_time: bool,
    silent: bool,
    home: Household,
    page: Place | None = None,
) -> Night:
    """Open everything. Raises one of our errors, with one line for a person, where something is missing.

    page: where the page is to be served; None: nowhere.
    device, data and tone, where given, go before what `home` has set.
    """
    folder = data_folder(data_set(home.settings, data))
    source = _source(file, device or home.settings.sound.microphone or None, real_time, page)
    making = Making(home, source, folder, silent=silent, fast=isinstance(source, Replay) and not real_time)
    watch = making.listening(tone)
    served = None if page is None else making.served(page, watch)
    making.link(watch)
    return Night(source, watch, making.console, folder, making.board, served)


class Making:
    """The parts of one run, each made after those that it needs.

    silent: nothing sounds, and nobody is called. fast: a recording that is not played in real time.
    """

    def __init__(self, home: Household, source: Microphone | Replay, folder: Path, *, silent: bool, fast: bool) -> None:
        self._home, self._source, self._folder, self._fast = home, source, folder, fast
        self.board, self._messages = Board(), messages_of(home)
        self._posting = Posting(self.board, self._messages.caution, self._expected)
        self.console = Told(_console(home, source), self._posting, lambda: datetime.now().astimezone())
        self._sounds = None if silent else self._sounding()
        self._reports: SimpleQueue[Report] = SimpleQueue() if self._sounds is None else self._sounds.reports
        self._pages: list[PageServer] = []
        self._callers = Callers(home, _wall, lambda: any(one.beside for one in self._pages))
        self._ways = Ways(self._reports.put, ticking) if silent else _ways(home, self._reports)
        self._waker = _waker(self._callers, self._sounds, self._reports, self._ways, preview=fast)
        self._minutes = Minutes(self._expected) if source.live else None
        self._upkeep: Upkeep | None = None
        self._watch: Watch | None = None

    def listening(self, tone: float | None) -> Watch:
        """The loop, for a device of `tone` Hz where the command line says so."""
        source, settings = self._source, self._home.settings
        if self._sounds is not None and isinstance(source, Microphone):
            self._sounds.trial()
        notify = notify_of(os.environ) if isinstance(source, Microphone) else None
        self._upkeep = _upkeep(
            self._home, source, self._folder,
            sounds=self._sounds, notify=notify, sentinel=self._sentinel(), beside=Beside(self._pages, self._climb),
        )  # fmt: skip
        changes = HouseholdChanges(self._home, tone, self._waker.rename, self._taught, self._called)

        def hearing() -> Recognizer:
            made = Recognizer(source.channels, None, min(8000.0, source.rate / 2), disarmed=settings.disarmed)
            changes.heard_by(made)  # which tells it the tone
            return made

        self._watch = Watch(
            source,
            hearing,
            Journal(Store(self._folder), ticking),
            self._waker,
            self.console,
            changes=changes,
            posting=self._posting,
            upkeep=self._upkeep,
            pulse=None if notify is None else Pulse(notify.send),
            minutes=self._minutes,
            caring=Caring(self._folder, lambda: self._callers.home.settings) if source.live else None,
            clipper=_clipper(settings.clips, self._folder) if source.live else None,
            length=source.length if isinstance(source, Replay) and self._fast else 0.0,
            folder=self._folder,
        )
        return self._watch

    def served(self, page: Place, watch: Watch) -> PageServer:
        """The page, not started yet, and the ways that go by it."""
        shown = views(Book(self._folder, lambda: self._callers.home.settings), watch.command)
        server = PageServer(
            page, self._folder / FOLDER, self.board, watch.command, say=self._reports.put, views=shown
        )  # fmt: skip
        self._pages.append(server)
        for way in (PageWay, BedsideWay):
            self._ways.add(way(self.board, server.watchers, server.pairing, self._reports.put, ticking))
        self._climb()
        return server

    def link(self, watch: Watch) -> None:
        """Connect to the home's hub, where one is set and somebody may be called."""
        if self._sounds is None or not self._source.live:
            return
        linked = _hub(self._home.settings.hub, self.board, watch, self._reports)
        if linked is not None:
            self._ways.add(HubWay(linked, self.board, self._reports.put, ticking))
            linked.start()

    @property
    def _expected(self) -> tuple[float, float] | None:
        return _expected(self._home, self._source)

    def _sounding(self) -> Sounding:
        source, home = self._source, self._home
        hangs = source.hanging if isinstance(source, Microphone) else lambda: False
        return Sounding(self._folder, home.settings.sound, hangs, voiced=voiced_of(home), preview=self._fast)

    def _sentinel(self) -> Sentinel:
        """Who sounds where the loop stands still."""
        return Sentinel(
            lambda: 0 if self._watch is None else self._watch.beat,
            None if self._sounds is None else self._sounds.speaker,
            lambda: self._messages.lines("cannot-hear-slow"),
            self.console.plain,
        )

    def _taught(self, fresh: Household) -> None:
        """A beep was taught while it listens: the margin is of that one."""
        beep = _expected(fresh, self._source)
        self.console.expect(beep)
        if self._minutes is not None:
            self._minutes.expect(beep)
        if self._upkeep is not None:
            self._upkeep.expect(beep)

    def _called(self, fresh: Household) -> None:
        """Ladder, rota or names have changed."""
        self._callers.home = fresh
        self._climb()

    def _climb(self) -> None:
        self._waker.climb_by(self._callers.ladder)


def _wall(now: float) -> datetime:
    """Local wall time of a clock reading."""
    return datetime.now().astimezone() + timedelta(seconds=now - ticking())


def _source(file: Path | None, device: str | None, real_time: bool, page: Place | None) -> Microphone | Replay:
    """Microphone or recording, once it is known that the page can be opened: nothing has to be closed then."""
    if page is not None:
        can_open(page)
    return _microphone(device) if file is None else Replay(Recording(file), real_time)


def _hub(hub: Hub, board: Board, watch: Watch, reports: "SimpleQueue[Report]") -> Link | None:
    """The link to the home's hub, where one is set."""
    if not hub.host:
        return None
    files = [Path(name).expanduser() if name else None for name in (hub.password_file, hub.ca_file)]
    broker = Broker(hub.host, hub.port, hub.topic, hub.user, files[0], hub.tls == "yes", files[1])
    return Link(broker, board, watch.command, reports.put)


def _clipper(clips: Clips, folder: Path) -> Clipper | None:
    """Who saves a short sound of each alarm, unless that is not wanted; a recording has its sound already."""
    return Clipper(folder, Keeping(clips.days, clips.megabytes)) if clips.keep == "yes" else None


def _console(home: Household, source: Microphone | Replay) -> Console:
    """A live line where a terminal and a microphone are."""
    if not source.live or not drawable(sys.stdout):
        return Console(sys.stdout)
    return LiveConsole(sys.stdout, _expected(home, source))


def _expected(home: Household, source: Microphone | Replay) -> tuple[float, float] | None:
    """(tone, level) of the taught beep where it was taught at this microphone: only then the margin is known."""
    one = home.device
    known = one is not None and one.microphone == source.name
    return (one.now, one.level) if one is not None and known else None


def _upkeep(
    home: Household, source: Microphone | Replay, folder: Path,
    *, sounds: Sounding | None, notify: Notify | None, sentinel: Sentinel, beside: Beside,
) -> Upkeep | None:  # fmt: skip
    """What else is to be looked after, for a microphone."""
    if not isinstance(source, Microphone):
        return None
    place, awake, sound = Whereabouts(os.getpid()).start(), Awake().start(), home.settings.sound
    hour = "" if sounds is None else home.settings.watching.self_test
    same = home.settings.home.same_room == "yes"
    helpers = Helpers(
        asleep=lambda: awake.trouble,
        muted=lambda: place.muted and sounds is not None and sound.speaker in DEFAULTS,
        alone=lambda: notify is not None and notify.gone,
        missing=beside.missing,
        trial=(lambda: None) if sounds is None else sounds.trial,
        test=SelfTest(hour, same_room=same, rate=source.rate, device=chosen(sound.speaker)),
        resort=None if notify is None else LastResort(source.hanging, lambda: answers(source), leave),
        closing=(sentinel.start().close, awake.close),
    )
    return Upkeep(folder, source.name, _expected(home, source), place=place, helpers=helpers)


def answers(source: Microphone) -> bool:
    """Whether a fresh process finds this microphone."""
    return fresh_name(source.name, "input") is not None


def leave() -> None:
    """End at once: another process starts this one anew. What was written is written; the span stays open, as told."""
    print("The sound system answers a fresh process, but not this one: I end, to be started anew.", flush=True)
    os._exit(AGAIN_CODE)


def _microphone(device: str | None) -> Microphone:
    return Microphone(chosen(device))


def _waker(
    callers: Callers, sounds: Sounding | None, reports: "SimpleQueue[Report]", ways: Ways, *, preview: bool
) -> Waker | Preview:
    """The waker with what sounds (None: nothing) and every other way."""
    messages = messages_of(callers.home)
    speaker, voice = (None, None) if sounds is None else (sounds.speaker, sounds.voice)
    if voice is not None:
        voice.prepare(messages.all_lines())
    if preview:
        return Preview(speaker, reports, messages, voice)
    return Waker(speaker, reports, messages, voice, ways=ways, ladder=callers.ladder, duty=callers.duty)


def _ways(home: Household, reports: "SimpleQueue[Report]") -> Ways:
    """The family's own commands."""
    commands = [
        CommandWay(one.name, one.run, reports.put, quiet=one.quiet, seconds=one.seconds)
        for one in home.settings.command
    ]
    return Ways(reports.put, ticking, commands)
