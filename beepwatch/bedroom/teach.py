"""Teaching a beep: from a recording, from an alarm in the history, or live while the cable is off for care anyway."""

import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from beepwatch.bedroom.candidates import AROUND, DEVICE, Candidate, Listener, snippets, used
from beepwatch.bedroom.learning import LEAST, Learned, Snippet, learned
from beepwatch.bedroom.talk import Talk
from beepwatch.bedroom.words import NEVER_UNPLUG, few, in_figures, in_words, kept, picture
from beepwatch.errors import InputError
from beepwatch.events import Beep
from beepwatch.settings.file import change, keep_sounder
from beepwatch.settings.household import household
from beepwatch.settings.sounder import ROLES, Role, Sounder, refusal
from beepwatch.sources.block import Block

if TYPE_CHECKING:
    from beepwatch.records.reading import History
    from beepwatch.records.rows import LoggedAlarm

KEPT = 120.0
"""s of sound that are kept live: three 20 s beeps of a minute's period lie in the last 140 s, two whole ones here."""
STEP = 0.25
"""s that the live source is waited for."""
LONGEST = 600.0
"""s that is listened to live, unless told otherwise: care takes minutes (judgement)."""
BREATH = 0.4
"""s: the shortest beep of the cable alarm (its profile says why)."""
EVERY = 5.0
"""s between two looks into the history for the next alarm."""


class Live(Protocol):
    """A source that goes on."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def rate(self) -> int: ...  # noqa: D102
    @property
    def channels(self) -> int: ...  # noqa: D102
    def take(self, timeout: float) -> Block | None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Heard:
    """What teaching has to choose from."""

    candidates: Sequence[Candidate]
    sound: Callable[[Sequence[Beep]], list[Snippet]]
    """Gives the sound of some beeps; none where only the history tells of them."""
    where: str
    """The microphone or the recording."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for ahead, so that it need not be asked."""

    name: str | None = None
    role: Role | None = None
    sure: bool = False
    """The first that is found is taken without a question."""


# ---------------------------------------------------------------- where beeps come from


def from_recording(path: Path) -> Heard:
    """Hear a whole recording. Raises InputError for one that cannot be read."""
    from beepwatch.sources.recording import Recording  # noqa: PLC0415 - brings soundfile in

    with Recording(path) as recording:
        listener = Listener(recording.rate, recording.channels)
        for block in recording.blocks():
            listener.take(block)
        listener.end()

    def sound(beeps: Sequence[Beep]) -> list[Snippet]:
        with Recording(path) as again:
            return snippets(again.blocks(), again.rate, beeps)

    return Heard(listener.candidates, sound, str(path))


def from_history(folder: Path, since: float | None = None) -> Heard:
    """The household's newest alarm of the device; `since`: only one raised after this (s since 1970).

    Nothing but the beeps' figures is kept there, so harmonics and edges stay unknown. No alarm: no candidate.
    """
    from beepwatch.records.database import FILE  # noqa: PLC0415 - brings sqlite in
    from beepwatch.records.reading import History  # noqa: PLC0415

    if (folder / FILE).exists():
        with History(folder) as history:
            alarms = [alarm for alarm in history.alarms() if alarm.state.pattern in DEVICE]
            for alarm in reversed(alarms):
                if since is not None and alarm.raised.timestamp() <= since:
                    break
                heard = _of_alarm(history, alarm)
                if heard.candidates:
                    return heard
    return Heard([], lambda _: [], "")


def from_alarm(folder: Path, alarm: "LoggedAlarm") -> Heard:
    """One alarm of the history, of any pattern, by its beeps as they were kept. Too few of them: no candidate."""
    from beepwatch.records.reading import History  # noqa: PLC0415

    with History(folder) as history:
        return _of_alarm(history, alarm)


def _of_alarm(history: "History", alarm: "LoggedAlarm") -> Heard:
    near = [one for one in history.beeps(alarm) if abs(one.frequency / alarm.state.frequency - 1) < 0.01]
    beeps = tuple(
        Beep(one.onset, one.duration, one.frequency, one.level, one.snr, one.onset + one.duration) for one in near
    )
    named = alarm.state.pattern if alarm.state.pattern in DEVICE else None
    found = [Candidate(beeps, named)] if len(beeps) >= LEAST else []
    return Heard(found, lambda _: [], alarm.source)


def from_next_alarm(folder: Path, talk: Talk, seconds: float, sleep: Callable[[float], None] = time.sleep) -> Heard:
    """Wait for the next alarm of the device that `watch` writes into the history; at most `seconds`."""
    began, waited = time.time(), 0.0
    talk.say("I wait for the next alarm that watch hears. Ctrl-C ends the wait.")
    while waited < seconds:
        heard = from_history(folder, since=began)
        if heard.candidates:
            return heard
        sleep(EVERY)
        waited += EVERY
    return Heard([], lambda _: [], "")


def live(source: Live, talk: Talk, seconds: float = LONGEST) -> Heard:
    """Listen until three beeps of one tone were heard, or for `seconds` of sound; each beep is told as it ends."""
    held: deque[Block] = deque()
    listener = Listener(source.rate, source.channels, lambda beep: talk.say(_beep_line(beep)))
    silent = 0.0
    while silent < 10 and (not held or held[-1].end < seconds * source.rate):
        block = source.take(STEP)
        if block is None:
            silent += STEP
            continue
        silent = 0.0
        held.append(block)
        while held[0].end < held[-1].end - KEPT * source.rate:
            held.popleft()
        listener.take(block)
        if _enough(listener, block.end / source.rate):
            break
    listener.end()
    return Heard(listener.candidates, lambda beeps: snippets(held, source.rate, beeps), source.name)


def _enough(listener: Listener, now: float) -> bool:
    """Three beeps of one tone whose edges have been heard out."""
    best = listener.candidates[:1]
    return bool(best) and len(best[0].beeps) >= LEAST and now > best[0].beeps[-1].end + 2 * AROUND


def _beep_line(beep: Beep) -> str:
    return f"  a beep: {beep.frequency:.0f} Hz, {beep.duration:.1f} s, {beep.snr:+.0f} dB to the noise"


def consent(talk: Talk) -> bool:
    """Tell that nothing is to be unplugged for this; whether the cable comes off for care now, with somebody awake."""
    talk.say(NEVER_UNPLUG)
    return talk.yes("Does the cable come off for care now, with a trained person awake beside them?", default=False)


# ---------------------------------------------------------------- asking and keeping


def teach(heard: Heard, talk: Talk, folder: Path, wish: Wish, *, pen: str, today: date) -> Sounder | None:
    """Show each candidate, ask "was that it?", and keep the one that was; None where none was.

    Raises InputError where the role that was asked for is refused.
    """
    for one in heard.candidates:
        if len(one.beeps) < LEAST:
            talk.say(few(one))
            continue
        beeps = used(one)
        found = learned(beeps, heard.sound(beeps))
        talk.say(f"\n{in_words(found, one.alarm)}\n\n{picture(one, found, pen)}\n  {in_figures(found)}\n")
        if wish.sure or talk.yes("Was that it?", default=_likely(one, found)):
            return _keep(heard, found, talk, folder, wish, today=today)
    talk.say(_nothing(heard))
    return None


def _likely(one: Candidate, found: Learned) -> bool:
    """Whether it may well be the device: it was named as its alarm, or its beeps are as long as breaths at least."""
    return one.alarm is not None or found.length >= BREATH


def _nothing(heard: Heard) -> str:
    if not heard.candidates:
        return "I heard no beep to learn from. Nothing was kept."
    return "Nothing was kept. A longer or louder recording may help."


def _keep(heard: Heard, found: Learned, talk: Talk, folder: Path, wish: Wish, *, today: date) -> Sounder | None:
    home = household(folder)
    device = wish.role in (None, "wake") and (wish.sure or talk.yes("Is it the breathing device?", default=True))
    role = wish.role or ("wake" if device else _role(talk))
    check_role(role, found.tone, home.tone)
    name = wish.name or _name(talk, role, {one.name for one in home.sounders})
    if name is None:
        talk.say("Nothing was kept.")
        return None
    sounder = described(found, name, role, heard.where, today)
    keep_sounder(folder, sounder)
    if device:
        change(folder, "device.sounder", name)
    talk.say(kept(sounder))
    _tell_what_follows(talk, folder, device)
    return sounder


def _tell_what_follows(talk: Talk, folder: Path, device: bool) -> None:
    """What a person might not expect: a tone set by hand goes first, another beep is no longer set aside."""
    home = household(folder)
    if device and home.settings.device.tone is not None:
        talk.say(f"But device.tone is set to {home.settings.device.tone:g} Hz by hand, and that goes first.")
    for note in home.notes:
        talk.say(f"Note: {note}.")


def _role(talk: Talk) -> Role:
    answer = talk.choose("Another beep, then. Is it to wake you, to be logged, or to be ignored?", ROLES, "log")
    return next(role for role in ROLES if role == answer)


def _name(talk: Talk, role: Role, taken: set[str]) -> str | None:
    """A name; None where one of that name is to stay as it is."""
    name = talk.ask("A short name for it, without spaces?", "device" if role == "wake" else "other", fits=is_name)
    if name in taken and not talk.yes(f"There is a beep named {name}. Put this one in its place?", default=True):
        return None
    return name


def is_name(text: str) -> bool:
    """Whether a sounder may have this name: letters, digits, - and _, up to 40."""
    return 0 < len(text) <= 40 and text.isascii() and text.replace("-", "a").replace("_", "a").isalnum() and (
        text[0].isalnum()
    )  # fmt: skip


def check_role(role: Role, tone: float, device: float | None) -> None:
    """Raise InputError where a beep of this tone cannot have this role."""
    why = refusal(role, tone, device)
    if why is not None:
        raise InputError(why)


def described(found: Learned, name: str, role: Role, where: str, today: date) -> Sounder:
    """What is kept of it."""
    return Sounder(
        name=name,
        role=role,
        tone=round(found.tone, 2),
        tone_spread=round(found.spread, 6),
        steadiness=None if found.steadiness is None else round(min(found.steadiness, 1.0), 3),
        harmonics=tuple("hidden" if level is None else round(level, 1) for level in found.harmonics),
        rise=None if found.rise is None else round(found.rise, 4),
        fall=None if found.fall is None else round(found.fall, 4),
        length=round(found.length, 3),
        level=round(found.level, 1),
        microphone=where,
        beeps=found.beeps,
        taught=today.isoformat(),
    )
