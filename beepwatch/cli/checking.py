"""The steps of `beepwatch check` as a talk in the terminal: say, ask, play, record, judge, keep, tell."""

import contextlib
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import msgspec
from rich.progress import Progress

from beepwatch.bedroom import plan, sounds
from beepwatch.bedroom.check import LEAST, room_check
from beepwatch.bedroom.decay import room_decay, sweep
from beepwatch.bedroom.findings import Finding, finding
from beepwatch.bedroom.hold import Hold, hold
from beepwatch.bedroom.places import MOVE, PLACES, Match, Taught, margin, match, measure
from beepwatch.bedroom.playing import SLACK, Captured, Player, Sound, record
from beepwatch.bedroom.results import (
    FILE,
    RECORDINGS,
    Beside,
    Kept,
    Place,
    Quiet,
    Rings,
    Tested,
    for_microphone,
    load,
    put_place,
    save,
)
from beepwatch.bedroom.tone import echo_finding, tone_findings
from beepwatch.errors import CannotWake, InputError
from beepwatch.sources.microphone import Microphone
from beepwatch.sources.replay import Replay

PHONE = 6.0
"""s more to record when a person starts the sound on a phone (judgement)."""
ROOM_FOR_BEEPS = 1.0 + sounds.BEEPS * (sounds.BEEP + sounds.PAUSE) + PHONE
STEADY = 21.0
"""s to record the steady tone of 15 s in (judgement)."""


class Checking:
    """One run of `check` on one source."""

    def __init__(
        self, source: Microphone | Replay, folder: Path, tone: float | None, taught: Taught | None, *,
        speaker: str | int | None = None, seconds: float = 60.0, ask: bool = False,
        answer: Callable[[str], str] = input,
    ) -> None:  # fmt: skip
        self._source, self._folder, self._tone = source, folder, tone
        self._taught = taught if taught is None or self._holds_here(taught) else None
        self._speaker, self._seconds, self._ask, self._answer = speaker, seconds, ask, answer
        self._file = FILE if isinstance(source, Microphone) else RECORDINGS
        name = source.name if isinstance(source, Microphone) else "recordings"
        self._kept = msgspec.structs.replace(for_microphone(load(folder, self._file), name), tone=tone)
        self._found: list[Finding] = []

    def go(self, steps: tuple[str, ...], place: str | None, by: str) -> int:
        """Do the steps; return 0, or 1 where one found a fault."""
        for step in steps:
            alone = len(steps) == 1
            if step == "room":
                self._room()
            elif step == "tone":
                self._steady(by)
            elif step == "echo":
                self._echo()
            elif not alone and not self._ask:
                self._say(f"Left out: {step}. It needs a person with a phone: beepwatch check --step {step}")
            elif not alone and self._taught is None:
                self._say(f"Left out: {step}. It needs a beep that is taught here. Then: beepwatch check --step {step}")
            elif step == "match":
                self._match()
            else:
                self._places((place,) if place is not None else PLACES)
        again = "" if self._file == RECORDINGS else " To see it again: beepwatch check --show"
        self._say(f"\nKept in {save(self._folder, self._kept, self._file)}.{again}")
        return int(any(each.weight == "fault" for each in self._found))

    def _room(self) -> None:
        if not self._ready(f"The room. Keep quiet for {self._seconds:.0f} seconds, with all that runs at night on."):
            return
        heard = self._record(self._seconds)
        if len(heard.samples) < LEAST * heard.rate:
            raise InputError(f"{len(heard.samples) / heard.rate:.1f} s is too short: give {LEAST:g} s or more")
        room = room_check(heard.samples, heard.rate, self._tone)
        self._keep(quiet=Quiet(_now(), room))
        self._say("\n".join(plan.floor_lines(room.floor)))
        self._tell(room.findings)

    def _steady(self, by: str) -> None:
        if not self._ready(f"The steady tone. The {by} plays it for 15 seconds. Put the speaker near the microphone."):
            return
        expected = self._tone or sounds.UNTAUGHT
        heard = self._record_tone(by, expected)
        found = tuple(tone_findings(heard.samples, heard.rate, expected))
        if by == "computer" and any(each.kind == "fades" for each in found) and self._asked_phone():
            found = self._by_phone(found, _strongest(heard, expected), expected)
        self._keep(tested=Tested(_now(), "phone" if by == "phone" else "computer", found))
        self._tell(found)

    def _by_phone(self, found: tuple[Finding, ...], own: Hold | None, expected: float) -> tuple[Finding, ...]:
        """The same with a phone: does only this computer's own tone fade? Then it is taken for an echo."""
        phone = _strongest(self._record_tone("phone", expected), expected)
        echo = echo_finding(own, phone) if own is not None and phone is not None else None
        return found if echo is None else (echo, *(each for each in found if each.kind != "fades"))

    def _asked_phone(self) -> bool:
        return self._ask and self._ready("It faded. Let a phone play the steady tone too, to see why (--steady FILE).")

    def _echo(self) -> None:
        if not self._ready("The echo. The computer plays a rising tone for 6 seconds. Turn it up and keep quiet."):
            return
        heard = self._played(sweep, 8.0)
        decays = room_decay(heard.samples[:, 0], heard.rate)
        self._keep(rings=Rings(_now(), {round(hertz): each for hertz, each in decays.items()}))
        self._say(f"The room rings (T60): {plan.ring_words(self._kept)}")

    def _match(self) -> None:
        if not self._ready("The match. Put the phone beside the device and let it play the beep (--beep FILE) now."):
            return
        heard = self._record(ROOM_FOR_BEEPS)
        phone = measure(heard.samples, heard.rate, self._tone or sounds.UNTAUGHT)
        if phone is None:
            raise InputError(
                "the phone's beep was not heard: turn the phone up, play the file of --beep, and try again"
            )
        matched = None if self._taught is None else match(phone, self._taught)
        self._keep(beside=Beside(_now(), phone, matched, self._taught))
        self._say("\n".join(plan.match_words(self._kept)))
        self._say("From now on leave the phone's volume as it is.")
        spare = MOVE if matched is None else margin(phone, matched).spare
        if spare < MOVE:
            self._tell((finding("far", spare),))

    def _places(self, names: tuple[str, ...]) -> None:
        for name in names:
            if self._ready(f"{name.capitalize()}. Put the phone there and let it play. {plan.ADVICE.split('. ')[1]}"):
                self._kept = put_place(self._kept, self._place(name))
                self._say(plan.place_line(self._kept.places[[p.name for p in self._kept.places].index(name)]))
        self._say("\n".join(plan.drawn(self._kept.places)) if self._kept.places else "No place was measured.")
        if any(place.margin is None and place.phone is not None for place in self._kept.places):
            self._say(plan.match_words(self._kept)[0])

    def _place(self, name: str) -> Place:
        heard = self._record(ROOM_FOR_BEEPS)
        phone = measure(heard.samples, heard.rate, self._tone or sounds.UNTAUGHT)
        matched = self._matched()
        return Place(name, _now(), phone, margin(phone, matched) if phone is not None and matched is not None else None)

    def _matched(self) -> Match | None:
        """The match, as long as the beep that it was made to is the one taught now."""
        beside = self._kept.beside
        return beside.match if beside is not None and beside.taught == self._taught else None

    def _holds_here(self, taught: Taught) -> bool:
        """Whether the taught level is of this microphone; says so where it is not. Recordings are taken as they are."""
        if isinstance(self._source, Replay) or taught.microphone in ("", self._source.name):
            return True
        self._say(
            f"The beep was taught at {taught.microphone!r}. Its level says nothing about {self._source.name!r}.\n"
            "So each margin is unknown. To have one, teach it at this microphone: beepwatch teach"
        )
        return False

    def _record_tone(self, by: str, expected: float) -> Captured:
        if by == "phone" or isinstance(self._source, Replay):
            return self._record(STEADY + PHONE)
        return self._played(lambda rate: sounds.steady(expected, rate), STEADY)

    def _played(self, sound: Sound, seconds: float) -> Captured:
        """Play it here and record it; a recording holds it already."""
        if isinstance(self._source, Replay):
            return self._record(3600.0)
        try:
            return self._record(seconds + SLACK, Player(sound, self._speaker))
        except CannotWake as error:
            raise InputError(f"{error}; or let a phone play: --by phone") from error

    def _record(self, seconds: float, player: Player | None = None) -> Captured:
        """Record, with a bar in a terminal."""
        bar = Progress(transient=True, disable=not sys.stdout.isatty())
        with bar:
            task = bar.add_task("listening", total=seconds)
            return record(self._source, seconds, player, lambda done: bar.update(task, completed=done))

    def _ready(self, text: str) -> bool:
        """Say what comes; where somebody can answer, wait for Enter (True) or s (False)."""
        self._say(f"\n{text}" if isinstance(self._source, Microphone) else f"\n{text.split('. ', maxsplit=1)[0]}:")
        if not self._ask:
            return True
        with contextlib.suppress(EOFError):
            return self._answer("  Enter: go on. s: leave it out. > ").strip().lower() not in ("s", "skip", "n", "no")
        return False

    def _tell(self, found: tuple[Finding, ...]) -> None:
        self._found += found
        self._say("\n".join(plan.finding_lines(found)))

    def _keep(self, **parts: Quiet | Tested | Rings | Beside) -> None:
        self._kept = msgspec.structs.replace(self._kept, **parts)

    @property
    def kept(self) -> Kept:
        """As it stands."""
        return self._kept

    def _say(self, text: str) -> None:
        print(text, flush=True)


def _strongest(heard: Captured, expected: float) -> Hold | None:
    holds = [each for each in (hold(channel, heard.rate, expected) for channel in heard.samples.T) if each is not None]
    return max(holds, key=lambda each: each.level, default=None)


def _now() -> datetime:
    return datetime.now().astimezone()
