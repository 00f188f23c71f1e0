"""`beepwatch watch`: listen to a microphone all night, or send a recording through the same loop."""

import argparse
import os
import shlex
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.settings.household import Household
    from beepwatch.watch.assembly import Night
    from beepwatch.watch.summary import Summary

TONES = (400.0, 5000.0)
"""Hz in which hearing looks for beeps."""
EXAMPLES = """examples:
  beepwatch watch                         listen to this computer's microphone
  beepwatch watch --device 'USB'          to the one whose name holds USB
  beepwatch watch --guarded               with a second process that sounds if this one fails
  beepwatch watch --page                  and serve the page for phones of this home's network
  beepwatch watch samples/night.flac      what would have happened in a recorded night
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "watch",
        help="listen, name the alarms, wake somebody and keep the history",
        description=(
            "Listen to a microphone until Ctrl-C: name each alarm, wake somebody by tone and voice until a key is\n"
            "pressed, and keep the history. With FILE the same for a recording, as fast as it goes;\n"
            "what is heard in it is kept apart from the household's own history."
        ),
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a recording instead of a microphone")
    verb.add_argument("--device", metavar="NAME", help="the microphone: its number, or a part of its name")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder of the history")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.add_argument("--tone", type=float, metavar="HZ", help="the device's tone, to within 3 %% (else as taught)")
    verb.add_argument("--real-time", action="store_true", help="play FILE to the loop at its own speed")
    verb.add_argument("--silent", action="store_true", help="wake nobody: only show and write down")
    verb.add_argument(
        "--page", nargs="?", const="", metavar="HOST:PORT",
        help="serve the page for paired phones (default: every address of this computer, port 8443)",
    )  # fmt: skip
    verb.add_argument("--guarded", action="store_true", help="with a second process that sounds if this one fails")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Listen until told to stop; return 0. Raises one of our errors for what is wrong at the start."""
    from beepwatch.cli.reporting.quality import Quality  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.page.names import place  # noqa: PLC0415
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415
    from beepwatch.watch import assembly, process  # noqa: PLC0415

    _check(arguments)
    process.open_standard_streams()
    if arguments.guarded:
        return _guarded(arguments)
    home, drifts = _followed(household(config_folder(arguments.config)), arguments)
    night = assembly.prepare(
        arguments.file, arguments.device, arguments.data,
        tone=arguments.tone, real_time=arguments.real_time, silent=arguments.silent, home=home,
        page=None if arguments.page is None else place(arguments.page),
    )  # fmt: skip
    quality = Quality(night.source.rate)
    night.observe(quality.take)
    with process.listening(night.watch, night.source.live, night.folder, home.settings.sound.keypad) as usable:
        _say_how(night, usable, arguments, home)
        for line in drifts:
            night.console.plain(f"{line}.\n")
        summary = _with_page(night)
    notes = [] if arguments.file is None else [*quality.before(arguments.tone or home.tone), *quality.after()]
    _say_summary(night, summary, arguments, notes)
    if not summary.clean:  # a sound server that hangs would hold the ordinary end of the process too
        sys.stdout.flush()
        os._exit(0)
    return 0


def _with_page(night: "Night") -> "Summary":
    """Listen, with the page beside it where one is wanted."""
    if night.page is None:
        return night.watch.run()
    _say_page(night)
    night.page.start()
    try:
        return night.watch.run()
    finally:
        night.page.close()


def _say_page(night: "Night") -> None:
    """Where the page is, and how to pair a phone now."""
    import time  # noqa: PLC0415

    from beepwatch.page.server import urls  # noqa: PLC0415
    from beepwatch.page.showing import pairing_words  # noqa: PLC0415

    page = night.page
    if page is None:
        return
    for address in page.identity.outside:
        night.console.plain(
            f"Note: {address} is new since the household's certificate was made: open the page by its name."
        )
    night.console.plain("The page, for paired devices: " + "  ".join(urls(page)))
    known = any(one.valid(time.time()) for one in page.pairing.devices())
    if not known and sys.stdout.isatty():  # elsewhere it may end up in a log
        code = page.pairing.new_code(time.time())
        night.console.plain(pairing_words(page.address, page.port, code, page.identity.fingerprint))
    else:
        night.console.plain("To pair a device: beepwatch paired --new\n")


def _guarded(arguments: argparse.Namespace) -> int:
    """Be the second process; return the exit code of the first."""
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415
    from beepwatch.watch.guard import guarded  # noqa: PLC0415
    from beepwatch.watch.guarding import guard_of  # noqa: PLC0415

    home = household(config_folder(arguments.config))
    code = guarded(guard_of(sys.argv[1:], arguments.data, home, silent=arguments.silent))
    sys.stdout.flush()
    os._exit(code)  # a sound server that hangs would hold the ordinary end of the process too


def _followed(home: "Household", arguments: argparse.Namespace) -> "tuple[Household, list[str]]":
    """The household with its device's tone as it is now, and what there is to tell of that."""
    from beepwatch.bedroom.following import follow_device  # noqa: PLC0415
    from beepwatch.records.store import default_folder  # noqa: PLC0415
    from beepwatch.settings.file import data_set  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415

    if arguments.file is not None or arguments.tone is not None or home.settings.device.tone is not None:
        return home, []
    history = data_set(home.settings, arguments.data) or default_folder()
    lines = follow_device(home, history, datetime.now().astimezone().date())
    return household(home.folder), lines


def _check(arguments: argparse.Namespace) -> None:
    low, high = TONES
    if arguments.tone is not None and not low <= arguments.tone <= high:
        raise InputError(f"--tone {arguments.tone:g} is outside {low:g} to {high:g} Hz; give the tone in Hz")
    if arguments.file is not None and arguments.device is not None:
        raise InputError("give a FILE or a --device, not both")
    if arguments.file is not None and arguments.guarded:
        raise InputError("--guarded is for a microphone; a recording needs no second process")
    if arguments.file is None and arguments.real_time:
        raise InputError("--real-time is for a FILE; a microphone is always heard in real time")


def _say_how(night: "Night", usable: bool, arguments: argparse.Namespace, home: "Household") -> None:
    """The caution, what is heard, and how to answer."""
    source = night.source
    lines = [
        f"{CAUTION}\n",
        f"Listening to {source.name!r}: {source.rate} Hz, {_channels(night)}.",
        f"The history is in {night.folder}.",
        _tone_line(arguments.tone, home),
        *(f"Not heard for, as set: {pattern}." for pattern in home.settings.disarmed),
        *(f"Note: {note}." for note in home.notes),
    ]
    if arguments.silent:
        lines.append("Nobody is woken by sound: --silent.")
    if usable:
        lines.append("Press any key when you are going: it ends the wake sound.")
    else:
        lines.append("There is no terminal here, so no key can answer an alarm.")
    lines.append("Ctrl-C (or SIGTERM) ends the listening.\n")
    night.console.plain("\n".join(lines))


def _tone_line(tone: float | None, home: "Household") -> str:
    """Which tone is known, and from where."""
    if tone is not None:
        return f"Your device's tone: {tone:g} Hz (command line)."
    if home.tone is None:
        return "Your device's tone is not known yet: `beepwatch teach` lets me be sure sooner."
    origin = f"taught as {home.device.name}" if home.device and not home.settings.device.tone else "settings"
    return f"Your device's tone: {home.tone:.0f} Hz ({origin})."


def _channels(night: "Night") -> str:
    heard, offers = night.source.channels, night.offers
    if offers > heard:
        return f"the first {heard} of its {offers} channels"
    return "1 channel" if heard == 1 else f"{heard} channels"


def _say_summary(night: "Night", summary: "Summary", arguments: argparse.Namespace, notes: list[str]) -> None:
    """What it came to, and where to read more."""
    from beepwatch.watch.console import length  # noqa: PLC0415

    paused = f"; paused as planned: {length(summary.paused)}" if summary.paused else ""
    lines = [f"\nListened for {length(summary.seconds)}{paused}; not heard: {length(summary.unheard)}."]
    lines += [f"  {alarm}" for alarm in summary.alarms] or ["  No alarm was heard."]
    if not summary.written:
        lines.append("NOT ALL OF IT could be written into the history.")
    lines += [f"Note: {note}." for note in ([night.warning] if night.warning else []) + notes]
    command = "beepwatch history"
    if arguments.data is not None:
        command += f" --data {shlex.quote(str(arguments.data))}"
    if arguments.file is not None:
        command += " --recordings"
    lines.append(f"Silence does not mean all is well. To read the history: {command}")
    night.console.plain("\n".join(lines))
