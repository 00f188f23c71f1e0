"""Draws the picture of one alarm: what sounded, which beeps were heard, when they were due, when it was named.

Made for a nurse and a black-and-white printer: dark is loud, no colour carries a meaning, large type.
"""

import textwrap
import warnings
from pathlib import Path

import librosa
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MultipleLocator
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from beepwatch.cli.reporting.expected import Mark, expected, own
from beepwatch.cli.reporting.picture import Page
from beepwatch.cli.reporting.words import clock, lasted, named, printable
from beepwatch.events import Alarm, Beep
from beepwatch.patterns.profiles import packaged
from beepwatch.sources.block import Samples
from beepwatch.sources.recording import Recording
from beepwatch.sources.resample import TARGET, Resampler

SIZE = (14.0, 8.6)
DPI = 100
"""Inches and dots: 1400 x 860 pixels, a page across at 130 dots an inch."""
WINDOW = 1024
"""Samples a spectrum: 64 ms, so that pulses of 0.1 s stay apart; lines are 31 Hz wide (Hann)."""
STEP = 256
TOP = 6000.0
"""Hz: highest pitch shown; tones are looked for up to 5 kHz."""
RANGE = 40.0
"""dB from white to black at most; less where the room is louder than that."""
FRAME = 0.2
"""kHz from a beep's pitch to the frame round it."""
GRID = (1.0, 2.0, 5.0, 10.0, 15.0)
"""s between times on the axis, of which the first is taken that gives ten times or fewer."""
KEY = "Framed: beeps of this alarm; lines above them are their overtones. Expected: when the next beep was due."
CAUTION = "beepwatch is not a medical device. Silence does not mean that all is well."


def draw(page: Page, seconds: float) -> None:
    """Save the picture of one alarm; `seconds`: length of the whole stream. Raises OSError, InputError."""
    begin, end = page.span.begin, min(page.span.end, seconds)
    profile = next((profile for profile in packaged() if profile.name == page.alarm.pattern), None)
    mine = own(page.alarm, profile, page.beeps)
    figure = Figure(figsize=SIZE, dpi=DPI, layout="constrained")
    sound, rows = figure.subplots(2, 1, sharex=True, height_ratios=(4, 1.25))
    samples, top = _heard_again(page.file, begin, end)
    _spectrogram(sound, samples, top, begin, mine)
    _gaps(sound, samples, begin)
    _frames(sound, mine)
    _raise(sound, rows, page)
    others = [beep for beep in page.beeps if beep not in mine]
    _rows(rows, mine, expected(page.alarm, profile, mine, end), others)
    _words(figure, sound, rows, page)
    sound.set(xlim=(begin, end), ylim=(0.0, top / 1000))
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph", UserWarning)  # a file's name may hold any letter
        figure.savefig(page.target)


def _heard_again(file: str, begin: float, end: float) -> tuple[Samples, float]:
    """The sound from `begin` to `end` s at 16 kHz (NaN: a gap), and the highest pitch that can be in it, Hz."""
    with Recording(file) as recording:
        resampler = Resampler(recording.rate, recording.channels)
        start, wanted = int(begin * recording.rate), int((end - begin) * recording.rate)
        parts: list[Samples] = []
        for block in recording.blocks(start=start):
            parts.append(resampler.push(block.samples[: start + wanted - block.start]))
            if block.end >= start + wanted:
                break
        return np.concatenate([*parts, resampler.flush()]), min(TOP, recording.rate / 2)


def _power(samples: Samples) -> NDArray[np.float32]:
    """Power in each channel summed: rows of frequency from 0 to 8 kHz, columns of time."""
    whole = np.pad(np.nan_to_num(samples), ((0, max(WINDOW - len(samples), 0)), (0, 0)))
    total = np.zeros((1 + WINDOW // 2, 1 + len(whole) // STEP), np.float32)
    for channel in whole.T:
        total += np.abs(librosa.stft(channel, n_fft=WINDOW, hop_length=STEP)) ** 2
    return total


def _spectrogram(axes: Axes, samples: Samples, top: float, begin: float, mine: list[Beep]) -> None:
    """Dark is loud: black is the alarm's loudest beep, white the room's usual noise, or `RANGE` dB below black."""
    rows = round(top / TARGET * WINDOW)
    level = np.asarray(librosa.power_to_db(_power(samples)[:rows], amin=1e-12, top_db=None))
    level = maximum_filter1d(level, 3, axis=0)  # a line of one row is too thin to be seen on paper
    spans = [level[:, _column(beep.onset - begin) : _column(beep.end - begin) + 1] for beep in mine]
    high = max((float(span.max(initial=-120.0)) for span in spans), default=float(level.max()))
    low = max(float(np.median(level)), high - RANGE)
    axes.imshow(
        level,
        origin="lower",
        aspect="auto",
        cmap="Greys",
        vmin=low,
        vmax=max(high, low + 1.0),
        extent=(begin, begin + level.shape[1] * STEP / TARGET, 0.0, top / 1000),
    )


def _column(seconds: float) -> int:
    """The column of a spectrogram at `seconds` from its begin."""
    return max(round(seconds * TARGET / STEP), 0)


def _gaps(axes: Axes, samples: Samples, begin: float) -> None:
    """Hatch what nobody could hear, so that it does not look like silence."""
    missing = np.isnan(samples).all(axis=1)
    for at, end in np.flatnonzero(np.diff(missing, prepend=False, append=False)).reshape(-1, 2) / TARGET:
        axes.axvspan(begin + at, begin + end, facecolor="0.9", edgecolor="black", hatch="//", lw=0)
        place, white = begin + (at + end) / 2, {"facecolor": "white", "lw": 0}
        axes.text(place, 0.2, "no sound was recorded", rotation=90, fontsize=14, ha="center", bbox=white, clip_on=True)


def _frames(axes: Axes, mine: list[Beep]) -> None:
    """A thin frame round each beep of the alarm."""
    for beep in mine:
        corner = (beep.onset, beep.frequency / 1000 - FRAME)
        axes.add_patch(Rectangle(corner, beep.duration, 2 * FRAME, fill=False, lw=1.2, ec="black"))


def _raise(sound: Axes, rows: Axes, page: Page) -> None:
    """The moment at which it was named, through both parts of the picture."""
    for axes in (sound, rows):
        axes.axvline(page.alarm.raised, color="black", lw=2.5, ls="--")
    after = page.alarm.raised - page.alarm.onset
    late = page.alarm.raised > (page.span.begin + page.span.end) / 2
    sound.annotate(
        f"alarm named at {clock(page.alarm.raised)}, {lasted(after)} after it began",
        (page.alarm.raised, 0.985),
        xycoords=("data", "axes fraction"),
        xytext=(-10 if late else 10, 0),
        textcoords="offset points",
        ha="right" if late else "left",
        va="top",
        fontsize=16,
        bbox={"facecolor": "white", "edgecolor": "black", "pad": 5.0},
    )


def _rows(axes: Axes, mine: list[Beep], due: list[Mark], others: list[Beep]) -> None:
    """Beeps that were heard above those that were expected; other beeps in a row of their own."""
    axes.broken_barh([(beep.onset, beep.duration) for beep in mine], (2.15, 0.7), color="black")
    axes.broken_barh(due, (1.15, 0.7), facecolor="white", edgecolor="black", lw=1.5)
    names = ["other beeps", "expected", "heard"]
    axes.broken_barh([(beep.onset, beep.duration) for beep in others], (0.15, 0.7), color="0.55")
    axes.set_yticks([0.5, 1.5, 2.5], names, fontsize=17)
    axes.set_ylim(0 if others else 1, 3)


def _words(figure: Figure, sound: Axes, rows: Axes, page: Page) -> None:
    """Title, sentence, axes and the line below."""
    alarm = page.alarm
    figure.suptitle(
        f"{named(alarm.pattern)} ({alarm.priority} priority), {_when(alarm)}",
        fontsize=24,
        fontweight="bold",
    )
    why = textwrap.fill(f"Heard: {printable(alarm.why)}.", 95)
    sound.set_title(why if page.span.whole else f"{why}\n{_cut(page)}", fontsize=17)
    sound.set_ylabel("pitch, kHz (dark = loud)", fontsize=17)
    sound.tick_params(labelsize=16)
    rows.tick_params(axis="x", labelsize=16)
    wanted = (page.span.end - page.span.begin) / 10
    rows.xaxis.set_major_locator(MultipleLocator(next((step for step in GRID if step >= wanted), GRID[-1])))
    rows.xaxis.set_major_formatter(FuncFormatter(lambda at, _: clock(at)))
    rows.set_xlabel(f"time in {_short(page.file)}, minutes:seconds", fontsize=17, parse_math=False)
    figure.supxlabel(f"{KEY}\n{CAUTION}", fontsize=14)


def _when(alarm: Alarm) -> str:
    """From when to when it was heard."""
    if alarm.ended is None:
        return f"from {clock(alarm.onset)} on"
    return f"{clock(alarm.onset)} to {clock(alarm.ended)}"


def _short(file: str) -> str:
    """A file's name without its folder, in a length that fits below the axis."""
    name = printable(Path(file).name)
    return name if len(name) <= 60 else f"{name[:30]}...{name[-27:]}"


def _cut(page: Page) -> str:
    """Said where the alarm is longer than its picture."""
    last = page.alarm.last if page.alarm.ended is None else page.alarm.ended
    whole, shown = lasted(last - page.alarm.onset), lasted(page.span.end - page.span.begin)
    return f"It went on for {whole}; the picture shows only {shown} around the moment when it was named."
