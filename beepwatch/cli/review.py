"""`beepwatch review`: hear recordings and tell their beeps and alarms."""

import argparse
import io
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from beepwatch.cli import CAUTION
from beepwatch.cli.reporting.order import InOrder, Known
from beepwatch.cli.reporting.picture import Pictures
from beepwatch.cli.reporting.progress import progress
from beepwatch.cli.reporting.quality import Quality
from beepwatch.cli.reporting.text import Text
from beepwatch.cli.reporting.words import count
from beepwatch.cli.reporting.writers import Heard, JsonLines, Several, Tsv, Writer
from beepwatch.errors import InputError

if TYPE_CHECKING:
    from beepwatch.sources.recording import Recording

WRITERS: dict[str, Callable[[TextIO], Writer]] = {"text": Text, "jsonl": JsonLines, "tsv": Tsv}
TONES = (400.0, 5000.0)
"""Hz in which hearing looks for beeps."""
BLOCK = 1 << 16
"""Samples read at once, all channels: 4 s at 16 kHz, two blocks of hearing's."""
MORE = 1 << 10
"""Samples more in the first: hearing's frames overlap by as many, and so end where a read ends."""
FORMATS = """formats:
  text   each alarm in words, when, how long and why, and a timeline
  jsonl  one JSON line a beep and one an alarm, in the order in which each became known
  tsv    a row a beep and a row an alarm: onset, offset, event_label, filename
"""

EXAMPLES = """examples:
  beepwatch review night.flac                       name the alarms in it
  beepwatch review --format jsonl night.flac        each beep and alarm as it became known
  beepwatch review --taught night.flac              with the beep that was taught here
  beepwatch review --picture pictures night.flac    save a picture of each alarm into the folder `pictures`
"""


@dataclass(frozen=True, slots=True)
class Ears:
    """How recordings are listened to."""

    tone: float | None = None
    """Hz of the device; None: not known."""
    disarmed: tuple[str, ...] = ()
    """Patterns that are not named."""
    aside: tuple[float, ...] = ()
    """Hz of beeps that are no evidence."""
    length: float | None = None
    """s of the device's breath-long beep, where it is taught."""


def add(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb to the command line."""
    verb = verbs.add_parser(
        "review",
        help="hear recordings and tell their beeps and alarms",
        description="Hear recordings (WAV, FLAC, OGG, MP3; 8 to 192 kHz) and tell their beeps and alarms.",
        epilog=f"{FORMATS}\n{EXAMPLES}\n{CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verb.add_argument("files", nargs="+", metavar="FILE")
    verb.add_argument("--format", choices=tuple(WRITERS), default="text", help="default: text")
    verb.add_argument("--tone", type=float, metavar="HZ", help="the device's tone, known to within 3 %%")
    verb.add_argument("--taught", action="store_true", help="with the tone, arming and ignored beeps of the settings")
    verb.add_argument("--config", type=Path, metavar="DIR", help="folder of the settings, for --taught")
    verb.add_argument("--picture", type=Path, metavar="DIR", help="save a picture (PNG) of each alarm into this folder")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Review each file; return 0, or 2 when one could not be read. Raises InputError for a bad tone."""
    low, high = TONES
    if arguments.tone is not None and not low <= arguments.tone <= high:
        raise InputError(f"--tone {arguments.tone:g} is outside {low:g} to {high:g} Hz; give the tone in Hz")
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", errors="backslashreplace")
    ears = _ears(arguments)
    pictures = None if arguments.picture is None else Pictures(arguments.picture)
    writer = WRITERS[arguments.format](sys.stdout)
    if pictures is not None:
        writer = Several(writer, pictures)
    bar = arguments.format == "text" or not sys.stdout.isatty()
    code = 0
    for file in arguments.files:
        try:
            _review(file, ears, writer, bar)
        except InputError as error:
            _say(str(error))
            code = 2
    writer.close()
    if pictures is not None:
        _say(f"{count(pictures.saved, 'picture')} saved in {pictures.folder}")
    return code


def _ears(arguments: argparse.Namespace) -> Ears:
    """How to listen. Without --taught nothing of this machine's settings counts, so that each review is the same.

    Raises InputError for settings with a mistake, and for --taught where there is nothing taught or set.
    """
    if not arguments.taught:
        if arguments.config is not None:
            raise InputError("--config is for --taught: give both, or neither")
        return Ears(arguments.tone)
    from beepwatch.settings.file import config_folder  # noqa: PLC0415
    from beepwatch.settings.household import household  # noqa: PLC0415
    from beepwatch.settings.sounder import aside  # noqa: PLC0415

    home = household(config_folder(arguments.config))
    tone = arguments.tone or home.tone
    if tone is None:
        raise InputError("--taught: no tone is taught or set here; use `beepwatch teach`, or give --tone HZ")
    _say(f"with the settings in {home.folder}: tone {tone:.1f} Hz")
    return Ears(tone, home.settings.disarmed, aside(home.sounders, tone).ignored, home.length_at(tone))


def _review(file: str, ears: Ears, writer: Writer, bar: bool) -> None:
    """Hear one file and write what is in it; notes go to standard error. Raises InputError."""
    from beepwatch.sources.recording import Recording  # noqa: PLC0415 - `beepwatch --help` stays quick

    with Recording(file) as recording:
        quality = Quality(recording.rate)
        for note in quality.before(ears.tone):
            _say(f"{file}: {note}")
        writer.begin(file)
        whole = None if recording.frames is None else recording.frames / recording.rate
        with progress(Path(file).name, whole, bar) as show:
            for known in heard(recording, ears, quality, show):
                writer.tell(known)
        writer.end(Heard(quality.seconds, quality.gaps))
        notes = [f"{file}: {note}" for note in quality.after()]
        for note in [*([recording.warning] if recording.warning else []), *notes]:
            _say(note)


def heard(recording: "Recording", ears: Ears, quality: Quality, show: Callable[[float], None]) -> Iterator[Known]:
    """All that becomes known in a recording, in order; `quality` counts and `show` is told along the way."""
    from beepwatch.recognizer import Recognizer  # noqa: PLC0415 - brings scipy in
    from beepwatch.sources.resample import Resampler  # noqa: PLC0415

    resampler = Resampler(recording.rate, recording.channels)
    recognizer = Recognizer(
        recording.channels, ears.tone, min(8000.0, recording.rate / 2),
        length=ears.length, disarmed=ears.disarmed, aside=ears.aside,
    )  # fmt: skip
    order = InOrder()
    for block in recording.blocks(max(BLOCK // recording.channels, 1), more=MORE):
        quality.take(block.samples)
        yield from order.hear(recognizer.push(resampler.push(block.samples)))
        show(quality.seconds)
    yield from order.hear(recognizer.push(resampler.flush()))
    yield from order.hear(recognizer.flush())
    yield from order.end()


def _say(note: str) -> None:
    """One line on standard error."""
    print(f"beepwatch: {note}", file=sys.stderr)
