"""The report for a person: each alarm in words, a small timeline, what was heard, and the caution once."""

from typing import TextIO

from beepwatch.cli import CAUTION
from beepwatch.cli.reporting.order import Known
from beepwatch.cli.reporting.timeline import Timeline
from beepwatch.cli.reporting.words import clock, count, lasted, named, printable, tone
from beepwatch.cli.reporting.writers import Heard
from beepwatch.events import Alarm, Beep, SteadyTone

MOST_TONES = 5
"""Steady tones named one by one; the others are counted."""


class Text:
    """A calm summary of each file; it keeps a file's alarms, and one byte for each second of it."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._files = 0
        self._seconds = 0.0
        self._start("")

    def begin(self, file: str) -> None:
        """Forget the file before."""
        self._start(file)

    def _start(self, file: str) -> None:
        self._file = printable(file)
        self._alarms: list[Alarm] = []
        self._tones: list[SteadyTone] = []
        self._beeps = 0
        self._timeline = Timeline()

    def tell(self, known: Known) -> None:
        """Keep it for the end of the file."""
        match known:
            case Beep():
                self._beeps += 1
                self._timeline.mark(known.onset, known.end)
            case SteadyTone():
                self._tones.append(known)
            case Alarm():
                self._alarms.append(known)

    def end(self, heard: Heard) -> None:
        """Write the file's summary."""
        self._files += 1
        self._seconds += heard.seconds - heard.gaps
        lines = [f"{self._file}: {self._headline(heard)}"]
        for alarm in sorted(self._alarms, key=lambda alarm: alarm.onset):
            lines += ["", *_told(alarm, heard.seconds)]
        lines += ["", *self._rest()]
        if self._beeps:
            lines += ["", *self._timeline.drawn(self._alarms, heard.seconds)]
        self._out.write("\n".join(lines) + "\n\n")
        self._out.flush()

    def _headline(self, heard: Heard) -> str:
        """How much was heard, and how many alarms in it: the one means nothing without the other."""
        listened = f"{lasted(heard.seconds - heard.gaps)} of sound heard"
        gaps = f" ({lasted(heard.gaps)} missing)" if heard.gaps else ""
        return f"{listened}{gaps}, {count(len(self._alarms), 'alarm') if self._alarms else 'no alarm'} found."

    def _rest(self) -> list[str]:
        """Beeps outside of alarms, and hums."""
        others = max(self._beeps - sum(alarm.beeps for alarm in self._alarms), 0)
        lines = [f"  {count(self._beeps, 'beep')} in all, {others} of them outside of these alarms."]
        if not self._alarms:
            lines = [f"  {count(self._beeps, 'beep')} in all; they make no alarm that is known."]
        if not self._beeps:
            lines = ["  No beep was found."]
        for hum in self._tones[:MOST_TONES]:
            lines.append(f"  A steady tone of {tone(hum.frequency)} from {clock(hum.onset)} on: a hum, no beep.")
        if len(self._tones) > MOST_TONES:
            lines.append(f"  {len(self._tones) - MOST_TONES} more steady tones.")
        return lines

    def close(self) -> None:
        """Write the sum of several files, and the caution."""
        if self._files > 1:
            self._out.write(f"{count(self._files, 'file')}, {lasted(self._seconds)} of sound heard.\n\n")
        self._out.write(CAUTION + "\n")


def _told(alarm: Alarm, seconds: float) -> list[str]:
    """One alarm: what, when, how long, why, how sure."""
    end = alarm.last if alarm.ended is None else alarm.ended
    when = f"from {clock(alarm.onset)} to {clock(end)}"
    still = "" if alarm.ended is not None else f"; still open when the file ends at {clock(seconds)}"
    return [
        f"  {clock(alarm.onset)}  {named(alarm.pattern)} ({alarm.priority} priority)",
        f"      Beeping {when}, {lasted(end - alarm.onset)}{still}.",
        f"      Why: {printable(alarm.why)}.",
        f"      Confidence {_percent(alarm.confidence)}; raised at {clock(alarm.raised)}.",
    ]


def _percent(probability: float) -> str:
    """A probability that never reads as certainty."""
    if probability > 0.99:
        return "over 99 %"
    return f"{max(probability, 0.01):.0%}".replace("%", " %")
