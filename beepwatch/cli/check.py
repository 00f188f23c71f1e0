"""`beepwatch check`: what spoils the listening here, and how much the beep has to spare at each place."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from beepwatch.cli import CAUTION
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.bedroom.places import Taught
    from beepwatch.settings.household import Household
    from beepwatch.sources.microphone import Microphone
    from beepwatch.sources.replay import Replay

STEPS = ("room", "tone", "echo", "match", "places")
TONES = (400.0, 5000.0)
"""Hz in which hearing looks for beeps."""
WAV_RATE = 48_000
EXAMPLES = """steps, in order; each can be done alone with --step:
  room     a quiet minute: noise, hum, whine, holes, a dead channel
  tone     a steady tone of 10 s: does it fade, do the loudness or the speed change?
  echo     a rising tone: how long does the room ring?
  match    a phone beside the device plays its beep
  places   the phone plays it from each place where the device may lie

examples:
  beepwatch check                              all of it
  beepwatch check --step tone                  one step
  beepwatch check --place 'under the blanket'  one place
  beepwatch check --beep beep.wav              write the taught beep as a file for the phone
  beepwatch check --steady steady.wav          write the steady tone for the phone
  beepwatch check night.wav                    what a recording of the quiet room tells
  beepwatch check --show                       what was found, with a plan of the places

Nobody has to take the cable off for this: the phone plays the beep in place of the device.
"""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "check",
        help="test the microphone and the room, and measure how much the beep has to spare",
        description="Find what spoils the listening, say what to do, and measure each place where the device may lie.",
        epilog=f"{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a recording instead of a microphone")
    verb.add_argument("--step", choices=STEPS, help="only this step")
    verb.add_argument("--place", metavar="NAME", help="measure only this place")
    verb.add_argument("--by", choices=("computer", "phone"), default="computer", help="who plays the steady tone")
    verb.add_argument("--seconds", type=float, default=60.0, metavar="S", help="of quiet room; default: 60")
    verb.add_argument("--device", metavar="NAME", help="the microphone: its number, or a part of its name")
    verb.add_argument("--speaker", metavar="NAME", help="the speaker that plays the tone")
    verb.add_argument("--tone", type=float, metavar="HZ", help="the device's tone, where none is taught")
    verb.add_argument("--data", type=Path, metavar="DIR", help="folder in which the result is kept")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings and the taught beeps")
    verb.add_argument("--beep", type=Path, metavar="WAV", help="write the beep for the phone and stop")
    verb.add_argument("--steady", type=Path, metavar="WAV", help="write the steady tone for the phone and stop")
    verb.add_argument("--show", action="store_true", help="show what was found before")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Do what was asked; return 0, or 1 where a fault was found. Raises one of our errors, one line."""
    _checked(arguments)
    if arguments.beep is not None or arguments.steady is not None:
        _write_sounds(arguments)
        return 0
    if arguments.show:
        return _show(arguments)
    return _go(arguments)


def _checked(arguments: argparse.Namespace) -> None:
    low, high = TONES
    if arguments.tone is not None and not low <= arguments.tone <= high:
        raise InputError(f"--tone {arguments.tone:g} is outside {low:g} to {high:g} Hz; give the tone in Hz")
    if not 3 <= arguments.seconds <= 3600:
        raise InputError(f"--seconds {arguments.seconds:g} is outside 3 to 3600; give seconds of quiet room")
    if arguments.file is not None and arguments.device is not None:
        raise InputError("give a FILE or a --device, not both")
    if arguments.place is not None and not arguments.place.strip():
        raise InputError("--place needs a name, such as --place 'under the blanket'")


def _home(arguments: argparse.Namespace) -> "Household":
    """What is set and taught here. Raises InputError, one line, for what cannot be understood."""
    from beepwatch.settings.file import config_folder  # noqa: PLC0415 - `beepwatch --help` stays quick
    from beepwatch.settings.household import household  # noqa: PLC0415

    return household(config_folder(arguments.config))


def _beep(arguments: argparse.Namespace, home: "Household") -> "tuple[float | None, Taught | None]":
    """(tone in Hz or None, the taught beep or None); the command line goes first."""
    from beepwatch.bedroom.places import Taught  # noqa: PLC0415

    device = home.device
    if arguments.tone is not None or device is None:
        return (arguments.tone or home.tone, None)
    harmonics = tuple(each if isinstance(each, float) else -60.0 for each in device.harmonics)
    return (device.now, Taught(device.now, device.level, harmonics, device.microphone))


def _write_sounds(arguments: argparse.Namespace) -> None:
    """The beep, the steady tone, or both, as 16-bit WAV."""
    from beepwatch.bedroom import sounds  # noqa: PLC0415

    tone, taught = _beep(arguments, _home(arguments))
    hertz = tone or sounds.UNTAUGHT
    if arguments.beep is not None:
        _write(arguments.beep, sounds.beeps(hertz, WAV_RATE, harmonics=taught.harmonics if taught else ()))
    if arguments.steady is not None:
        _write(arguments.steady, sounds.steady(hertz, WAV_RATE))
    if tone is None:
        print(f"No beep is taught, so this is a tone of {hertz:.0f} Hz. It tests the room, but gives no margin.")
    print("Play it on the phone as it is, with no sound effects. Leave the phone's volume alone after the match.")


def _write(path: Path, samples: object) -> None:
    import soundfile  # noqa: PLC0415

    try:
        soundfile.write(path, samples, WAV_RATE, "PCM_16", format="WAV")
    except (OSError, soundfile.LibsndfileError) as error:
        raise InputError(f"cannot write {path}: choose another folder") from error
    print(f"Written: {path}")


def _show(arguments: argparse.Namespace) -> int:
    from beepwatch.bedroom import plan, results  # noqa: PLC0415
    from beepwatch.records.store import default_folder  # noqa: PLC0415
    from beepwatch.settings.file import data_set  # noqa: PLC0415

    folder = data_set(_home(arguments).settings, arguments.data) or default_folder()
    print("\n".join(plan.shown(results.load(folder))))
    return 0


def _go(arguments: argparse.Namespace) -> int:
    """Open the microphone or the file, do the steps, keep the result."""
    from beepwatch.cli.checking import Checking  # noqa: PLC0415
    from beepwatch.records.store import data_folder  # noqa: PLC0415
    from beepwatch.settings.file import data_set  # noqa: PLC0415

    home = _home(arguments)
    sound, (tone, taught) = home.settings.sound, _beep(arguments, home)
    folder = data_folder(data_set(home.settings, arguments.data))
    source = _source(arguments, sound.microphone)
    try:
        checking = Checking(
            source, folder, tone, taught,
            speaker=_number(arguments.speaker or sound.speaker or None), seconds=arguments.seconds,
            ask=sys.stdin is not None and sys.stdin.isatty() and arguments.file is None,
        )  # fmt: skip
        return checking.go(_steps(arguments), arguments.place, arguments.by)
    finally:
        source.close()


def _steps(arguments: argparse.Namespace) -> tuple[str, ...]:
    if arguments.place is not None:
        return ("places",)
    if arguments.step is not None:
        return (arguments.step,)
    return STEPS if arguments.file is None else ("room",)


def _source(arguments: argparse.Namespace, microphone: str) -> "Microphone | Replay":
    from beepwatch.sources.microphone import Microphone  # noqa: PLC0415
    from beepwatch.sources.recording import Recording  # noqa: PLC0415
    from beepwatch.sources.replay import Replay  # noqa: PLC0415

    if arguments.file is not None:
        return Replay(Recording(arguments.file))
    return Microphone(_number(arguments.device or microphone or None))


def _number(name: str | None) -> str | int | None:
    return int(name) if name is not None and name.isdecimal() else name
